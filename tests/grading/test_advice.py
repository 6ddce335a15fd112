"""Advice names the fault that was made: its voice, its place, and its figure."""

import re
from dataclasses import replace

import numpy as np
import pytest

from playalong.grading.levels import Level
from playalong.grading.text import as_json, figures, sided
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER, VOICES

from .making import FITTING, faultless, graded, groove, groove_of, joined, without

PATTERN = groove(
    hi_hat="x-x- x-x- x-x- x-x-", snare="--g- X--g ---- X---", kick="x--- --x- x--- ----"
)
BARS = 8
TARGETS = lay_out(PATTERN, PATTERN.tempo, BARS)


def rows(voice: str, count: str | None = None) -> np.ndarray:
    """The targets of a voice, at one spoken count if it is given."""
    meter = PATTERN.meter
    return np.array(
        [
            row
            for row in range(len(TARGETS))
            if TARGETS.names[row] == voice
            and count in (None, meter.count(TARGETS.places[TARGETS.place[row]].stroke.at))
        ]
    )


def take(
    late_ms: tuple[np.ndarray, float] | None = None,
    velocity: tuple[np.ndarray, float] | None = None,
    missed: np.ndarray | None = None,
    moved_to: tuple[np.ndarray, str] | None = None,
) -> Hits:
    """A faultless take with one kind of fault."""
    hits = faultless(TARGETS)
    time_s, voice, level = hits.time_s.copy(), hits.voice.copy(), hits.velocity.copy()
    if late_ms is not None:
        time_s[late_ms[0]] += late_ms[1] / 1000.0
    if velocity is not None:
        level[velocity[0]] = velocity[1]
    if moved_to is not None:
        voice[moved_to[0]] = STAFF_ORDER[moved_to[1]]
    kept = without(Hits(time_s, voice, level), [] if missed is None else missed)
    return Hits.sorted(kept.time_s, kept.voice, kept.velocity)


def told(hits: Hits, pattern: Pattern = PATTERN, targets: Targets = TARGETS) -> str:
    advice = graded(pattern, targets, hits, Rules.at(Level.PROFESSIONAL)).advice
    assert advice[0] == advice[0].upper()
    assert advice.endswith(".")
    assert "{" not in advice
    return advice


@pytest.mark.parametrize(
    ("hits", "parts"),
    [
        (take(missed=rows("kick", "& of 2")), ("kick on the & of 2", "missed", "every time")),
        (take(missed=rows("kick", "& of 2")[:3]), ("kick on the & of 2", "missed", "3 of 8 times")),
        (take(missed=rows("snare", "2")), ("accent of the snare on 2", "missed", "every time")),
        (take(missed=rows("snare", "a of 2")), ("ghost note of the snare on the a of 2", "missed")),
        (take(missed=rows("hi-hat")[::5]), ("strokes of the hi-hat are missed",)),
        (take(late_ms=(rows("snare", "4"), 44.0)), ("snare on 4", "44 ms late", "every time")),
        (take(late_ms=(rows("kick", "1"), -38.0)), ("kick on 1", "38 ms early", "every time")),
        (take(late_ms=(rows("kick"), -41.0)), ("The kick rushes", "41 ms early", "24 times")),
        (take(late_ms=(rows("hi-hat"), 52.0)), ("The hi-hat drags", "52 ms late", "64 times")),
        (
            take(velocity=(rows("snare", "& of 1"), 100.0)),
            ("ghost note of the snare on the & of 1", "dB too loud", "every time"),
        ),
        (take(velocity=(rows("snare", "2"), 33.0)), ("accent of the snare on 2", "dB too soft")),
        (
            take(moved_to=(rows("snare", "2"), "high-tom")),
            ("accent of the snare on 2", "another drum", "every time"),
        ),
        (
            take(moved_to=(rows("hi-hat"), "ride")),
            ("64 strokes of the hi-hat land on another drum",),
        ),
    ],
)
def test_the_one_fault_is_named(hits: Hits, parts: tuple[str, ...]) -> None:
    advice = told(hits)
    for part in parts:
        assert part in advice


@pytest.mark.parametrize(("count", "words"), [(1, "1 hit too many"), (5, "5 hits too many")])
def test_hits_that_answer_nothing_are_named_with_their_drum(count: int, words: str) -> None:
    more = [Hit(2.4 * bar + 1.95, "crash", 84.0) for bar in range(count)]
    assert f"{words} on the crash" in told(joined(faultless(TARGETS), more))


def test_the_dearest_fault_comes_first() -> None:
    # Eight missed strokes cost eight points, eight that are 40 ms late about four.
    late = take(late_ms=(rows("kick", "1"), 40.0), missed=rows("snare", "4"))
    assert "snare on 4 is missed" in told(late)
    one_missed = take(late_ms=(rows("kick", "1"), 40.0), missed=rows("snare", "4")[:1])
    assert "kick on 1 comes 40 ms late" in told(one_missed)


def test_a_drift_is_told_instead_of_the_lateness_that_it_makes() -> None:
    written_s = TARGETS.written * TARGETS.seconds_per_whole
    half = TARGETS.end_s / 2.0
    errors = 0.09 * ((written_s - half) / half) ** 2 - 0.03  # slower, then faster, then slower
    hits = faultless(TARGETS)
    slowing = told(Hits.sorted(hits.time_s + errors, hits.voice, hits.velocity))
    assert "slowing down" in slowing
    first, last = map(float, re.findall(r"\d+\.\d", slowing))
    assert first > 100.0 > last
    speeding = told(Hits.sorted(hits.time_s - errors, hits.voice, hits.velocity))
    assert "speeding up" in speeding


def test_a_missing_grace_stroke_is_named() -> None:
    pattern = groove(snare="f--- x--- x--- x---")
    targets = lay_out(pattern, 100.0, 4)
    advice = told(faultless(targets), pattern, targets)
    assert "The snare on 1 lacks its grace stroke, every time" in advice


@pytest.mark.parametrize(
    ("line", "velocity", "words"),
    [
        # All inside their bands, so nothing else is to be said; 40 log10(48 / 24) = 12 dB.
        ({"snare": "g-g- g-g- g-g- g-g-", "kick": "x--- x--- x--- x---"}, (24.0, 48.0, 84.0),
         r"ghost note of the snare gets 12 dB louder with the kick"),
        # 40 log10(100 / 50) = 12 dB.
        ({"kick": "x-x- x-x- x-x- x-x-", "snare": "g--- g--- g--- g---"}, (100.0, 50.0, 30.0),
         r"The kick goes 12 dB softer under the ghost note of the snare"),
    ],
)  # fmt: skip
def test_levels_that_change_where_strokes_fall_together(
    line: dict[str, str], velocity: tuple[float, float, float], words: str
) -> None:
    """Levels of the first voice apart and together, and of the second."""
    pattern = groove_of(line)
    targets = lay_out(pattern, 100.0, 4)
    alone, together, other = velocity
    first = next(iter(line))
    on_beat = targets.written % 0.25 == 0.0
    levels = np.where(
        targets.voice == STAFF_ORDER[first], np.where(on_beat, together, alone), other
    )
    advice = told(Hits.sorted(targets.time_s, targets.voice, levels), pattern, targets)
    assert re.search(words, advice)


def test_a_clean_take_tells_the_limb_that_leads_or_the_spread() -> None:
    hits = faultless(TARGETS)
    assert told(hits) == "All clean, 0 ms spread. Try it a little faster."
    kick = np.where(hits.voice == STAFF_ORDER["kick"], -0.012, 0.0)
    leading = told(Hits.sorted(hits.time_s + kick, hits.voice, hits.velocity))
    assert "the kick foot leads by 12 ms" in leading


def test_no_answer_at_all() -> None:
    assert "count-in" in told(Hits.of(()))
    assert "count-in" in told(Hits.of([Hit(1.0, "cowbell", 84.0)]))


def test_every_advice_fits_a_line_for_every_voice() -> None:
    """Short enough to be read from the stool, whatever the names."""
    for voice in VOICES:
        for symbol, dynamic in (("x", Dynamic.NORMAL), ("g", Dynamic.GHOST), ("X", Dynamic.ACCENT)):
            pattern = groove_of({voice.name: f"{symbol}--{symbol} {symbol}--- ---- ----"})
            targets = lay_out(pattern, 100.0, 4)
            assert {DYNAMICS[code] for code in targets.dynamic.tolist()} == {dynamic}
            plain = faultless(targets)
            for hits in (
                without(plain, np.arange(1, len(plain), 3)),
                Hits.sorted(plain.time_s + 0.05, plain.voice, plain.velocity),
            ):
                advice = told(hits, pattern, targets)
                assert voice.label in advice
                assert len(advice) <= 120


# The table of figures.


def table(hits: Hits) -> dict[str, str]:
    rows_told = figures(graded(PATTERN, TARGETS, hits))
    told_rows = dict(rows_told)
    assert len(told_rows) == len(rows_told)  # no row is told twice
    return {what.strip(): figure for what, figure in told_rows.items()}


def test_figures_of_a_faultless_take() -> None:
    shown = table(faultless(TARGETS))
    count = len(TARGETS)
    assert shown["on time"] == f"{count} of {count}"
    assert shown["early and late"] == shown["missed and extra"] == shown["loudness"] == "none"
    assert shown["timing"] == "on the click on average, 0 ms spread"
    assert shown["unisons"].startswith("0 ms apart")
    assert shown["swing"] == "50 % played, straight written"
    assert shown["least even"].endswith(", 0.0 dB spread")
    assert shown["tempo kept"] == "100.0 bpm (+0.0 %)"
    # Ghost notes at 30, the snare's other strokes are accents at 112: 40 log10(30/112).
    assert (FITTING[Dynamic.GHOST], FITTING[Dynamic.ACCENT]) == (30.0, 112.0)
    assert shown["snare ghost notes"] == "23 dB under the other strokes"


def test_figures_of_a_take_with_faults() -> None:
    hits = take(
        late_ms=(rows("kick", "1"), -48.0),
        velocity=(rows("snare", "& of 1"), 100.0),
        missed=rows("snare", "4"),
    )
    shown = table(joined(hits, [Hit(1.95, "crash", 84.0)]))
    assert shown["early and late"] == "8 early"
    assert shown["missed and extra"] == "8 missed, 1 extra"
    assert shown["loudness"] == "8 too loud"
    assert shown["kick foot"].startswith("16 ms ahead")  # a third of the kicks, 48 ms


def test_the_least_even_strokes_are_named() -> None:
    """Ghost notes at 24 and 36 in turn: levels 7.04 dB apart, so a spread of half of that."""
    ghosts = np.sort(np.append(rows("snare", "& of 1"), rows("snare", "a of 2")))
    hits = faultless(TARGETS)
    velocity = hits.velocity.copy()
    velocity[ghosts] = np.where(np.arange(len(ghosts)) % 2, 24.0, 36.0)
    shown = table(Hits.sorted(hits.time_s, hits.voice, velocity))
    assert shown["least even"] == "snare ghost, 3.5 dB spread"


def test_json_is_rounded_and_has_null_for_what_is_not_there() -> None:
    grade = graded(PATTERN, TARGETS, faultless(TARGETS))
    odd = replace(grade, score=replace(grade.score, total=1.23456789, timing=float("nan")))
    odd = replace(odd, timing=replace(odd.timing, mean_ms=float("inf"), sd_ms=-1e-9))
    told = as_json(odd)
    assert told["score"]["total"] == 1.234568
    assert told["score"]["timing"] is None
    assert told["timing"]["mean_ms"] is None
    assert str(told["timing"]["sd_ms"]) == "0.0"  # no minus before nothing


def test_figures_name_a_trend_and_who_leads() -> None:
    chance = np.random.default_rng(8)
    into = TARGETS.time_s / TARGETS.end_s
    errors = 0.25 * (into**2 - into) + chance.normal(0.0, 0.002, len(TARGETS))
    errors += np.where(TARGETS.voice == STAFF_ORDER["snare"], -0.02, 0.0)
    hits = faultless(TARGETS)
    shown = table(Hits.sorted(hits.time_s + errors, hits.voice, hits.velocity))
    assert shown["snare hand"].endswith(", leads")
    assert re.fullmatch(r"from \d+\.\d to \d+\.\d bpm", shown["slowing down"])


@pytest.mark.parametrize(
    ("error_ms", "words"),
    [(6.2, "6 ms behind"), (-6.2, "6 ms ahead"), (0.4, "on the click"), (-0.4, "on the click")],
)
def test_an_error_as_it_is_said(error_ms: float, words: str) -> None:
    assert sided(error_ms) == words
