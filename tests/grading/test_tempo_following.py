"""A player without a click: start and tempo found, drift told as drift, habits kept."""

from collections.abc import Sequence

import numpy as np
import pytest

from playalong.grading.grade_run import grade
from playalong.grading.matching.lag_path import lag_path
from playalong.grading.matching.tempo_following import FASTEST, SLOWEST, StartAndTempo, find, follow
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import STAFF_ORDER
from tests.helpers.exact_takes import faultless, with_graces
from tests.helpers.shipped import CHOSEN, SHIPPED

from .making import groove, joined, moved, without

TEMPO = 100.0
PATTERN = groove(
    hi_hat="x-x- x-x- x-x- x-x-", snare="--g- X--g ---- X---", kick="x--- --x- x--- ----"
)
TARGETS = lay_out(PATTERN, TEMPO, 24)


def played(seed: int, start_s: float, ratio: float, *, sd_s: float = 0.008) -> Hits:
    """The pattern from ``start_s`` on, ``ratio`` times as fast, a twentieth left out."""
    chance = np.random.default_rng(seed)
    time_s = start_s + TARGETS.time_s / ratio + chance.normal(0.0, sd_s, len(TARGETS))
    hits = Hits(time_s, TARGETS.voice, faultless(TARGETS).velocity)
    kept = without(hits, 1 + np.flatnonzero(chance.random(len(TARGETS) - 1) < 0.05))
    return Hits.sorted(kept.time_s, kept.voice, kept.velocity)


@pytest.mark.parametrize("seed", range(20))
def test_the_start_is_found(seed: int) -> None:
    start_s = float(np.random.default_rng(seed).uniform(0.0, 8.0))
    found = find(TARGETS, played(seed, start_s, 1.0), ratio=1.0)
    assert found.ratio == 1.0
    assert found.start_s == pytest.approx(start_s, abs=0.03)


@pytest.mark.parametrize("seed", range(20))
def test_start_and_tempo_are_found(seed: int) -> None:
    chance = np.random.default_rng(50 + seed)
    start_s, ratio = float(chance.uniform(0.0, 8.0)), float(chance.uniform(0.8, 1.25))
    found = find(TARGETS, played(seed, start_s, ratio))
    assert SLOWEST <= found.ratio <= FASTEST
    assert found.ratio == pytest.approx(ratio, rel=0.02)
    assert found.start_s == pytest.approx(start_s, abs=0.1)


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_hits_says_nothing(seed: int) -> None:
    """Those that a mended run has more of come last, and those it moves stay in their place."""
    hits = played(seed, 0.4, 1.03)
    order = np.random.default_rng(seed).permutation(len(hits))
    mixed = Hits(hits.time_s[order], hits.voice[order], hits.velocity[order])
    one, other = (follow(TARGETS, each, StartAndTempo(0.4, 1.03)) for each in (hits, mixed))
    assert np.array_equal(one.time_s, other.time_s)
    assert one.end_s == other.end_s


def test_what_is_given_is_kept() -> None:
    hits = played(1, 2.0, 1.1)
    assert find(TARGETS, hits, start_s=2.0).start_s == 2.0
    assert find(TARGETS, hits, ratio=1.1).ratio == 1.1
    assert find(TARGETS, hits, start_s=2.0, ratio=1.1) == StartAndTempo(2.0, 1.1)


@pytest.mark.parametrize("seed", range(12))
def test_the_tempo_alone_is_found_of_a_take_full_of_holes(seed: int) -> None:
    """Where the start is given, few places get votes: late, and three strokes of ten missing."""
    chance = np.random.default_rng(seed)
    ratio = float(chance.uniform(0.9, 1.1))
    whole = played(seed, 0.028, ratio, sd_s=0.012)
    hits = without(whole, np.flatnonzero(chance.random(len(whole)) < 0.3))
    found = find(TARGETS, hits, start_s=0.0)
    assert found.start_s == 0.0
    assert found.ratio == pytest.approx(ratio, rel=0.01)
    for each in (found, StartAndTempo(0.0, 1.0)):
        assert len(follow(TARGETS, hits, each)) == len(TARGETS)


def counted_in(hits: Hits, beat_s: float, voice: str, *, before_s: Sequence[float]) -> Hits:
    """The hits, which begin at second 10, with strokes so long before."""
    taps = [Hit(10.0 - beats * beat_s, voice, 70.0) for beats in before_s]
    return joined(moved(hits, 10.0), taps)


@pytest.mark.parametrize("before", ["a bar", "two bars", 0.4, 1.0, 2.3])
@pytest.mark.parametrize("name", CHOSEN)
def test_bar_1_is_found_behind_a_count_in_or_an_early_note(name: str, before: str | float) -> None:
    """Tapped on the rim, or one note that slipped, of every shipped pattern; spread of 12 ms."""
    pattern = SHIPPED[name]
    targets = lay_out(pattern, pattern.tempo, 4 * len(pattern.bars))
    chance = np.random.default_rng(5)
    errors_s = chance.normal(0.0, 0.012, len(targets))
    hits = Hits.sorted(targets.time_s + errors_s, targets.voice, faultless(targets).velocity)
    beat_s = targets.seconds_per_whole * float(pattern.meter.unit)
    beats = len(pattern.meter.beats)
    bar = list(range(beats, 0, -1))
    if before == "a bar":
        taken = counted_in(hits, beat_s, "cross-stick", before_s=bar)
    elif before == "two bars":
        taken = counted_in(hits, beat_s, "cross-stick", before_s=[2 * beats, 1.5 * beats, *bar])
    else:
        taken = counted_in(hits, beat_s, "snare", before_s=[float(before)])
    for ratio in (1.0, None):
        found = find(targets, taken, ratio=ratio)
        assert found.start_s == pytest.approx(10.0, abs=0.08)
        assert found.ratio == pytest.approx(1.0, rel=0.01)
    # Where nobody says how many bars were played the targets go on, and so might a start too early.
    longer = lay_out(pattern, pattern.tempo, 6 * len(pattern.bars))
    found = find(longer, taken, ratio=1.0, open_end=True)
    assert found.start_s == pytest.approx(10.0, abs=0.08)


@pytest.mark.parametrize("beats", [(4, 3, 2, 1), (0.4,), (1.0,), (2.3,)])
@pytest.mark.parametrize(
    "name",
    ["flam", "drag", "flam-accent", "single-drag-tap", "six-stroke-roll", "ledger-fourth-page"],
)
@pytest.mark.parametrize("seed", [1, 3])
def test_bar_1_is_found_where_all_is_on_one_drum(
    name: str, beats: tuple[float, ...], seed: int
) -> None:
    """A count-in on the rim is none of it; a stroke that lacks the grace of the others slipped; in
    a roll there are as many likely starts as strokes."""
    pattern = SHIPPED[name]
    targets, longer = (
        lay_out(pattern, pattern.tempo, rounds * len(pattern.bars)) for rounds in (4, 6)
    )
    errors_s = np.random.default_rng(seed).normal(0.0, 0.012, len(targets))
    main = Hits(targets.time_s + errors_s, targets.voice, faultless(targets).velocity)
    voice = "cross-stick" if len(beats) > 1 else "snare"
    beat_s = targets.seconds_per_whole * float(pattern.meter.unit)
    taken = counted_in(with_graces(targets, main), beat_s, voice, before_s=beats)
    for found in (
        find(targets, taken, ratio=1.0),
        find(targets, taken),
        find(longer, taken, ratio=1.0, open_end=True),
    ):
        assert found.start_s == pytest.approx(10.0, abs=0.08)


def test_what_goes_on_for_bars_counts_nothing_in() -> None:
    """The first two bars are played on the rim: bar 1 is theirs."""
    pattern = SHIPPED["single-stroke-roll"]
    targets = lay_out(pattern, pattern.tempo, 4)
    hits = moved(faultless(targets), 10.0)
    rim = np.int16(STAFF_ORDER["cross-stick"])
    voice = np.where(targets.bar < 2, rim, hits.voice).astype(np.int16)
    found = find(targets, Hits(hits.time_s, voice, hits.velocity), ratio=1.0)
    assert found.start_s == pytest.approx(10.0, abs=0.03)


def test_a_place_that_was_lost_is_a_leap_of_the_path() -> None:
    """An eighth left out in bar 9: everything after comes an eighth early."""
    eighth_s = TARGETS.seconds_per_whole / 8.0
    late = TARGETS.bar >= 8
    hits = Hits.sorted(
        TARGETS.time_s - np.where(late, eighth_s, 0.0)
        + np.random.default_rng(3).normal(0.0, 0.01, len(TARGETS)),
        TARGETS.voice,
        faultless(TARGETS).velocity,
    )  # fmt: skip
    path = lag_path(TARGETS, hits, reach_s=1.0, leaps=True)
    lags = path.lags_s(TARGETS.time_s)
    assert path.stretch.max() == 1
    assert lags[TARGETS.bar < 7] == pytest.approx(0.0, abs=0.02)
    assert lags[TARGETS.bar > 9] == pytest.approx(-eighth_s, abs=0.02)
    assert lag_path(TARGETS, hits, reach_s=1.0).stretch.max() == 0


def test_a_hit_of_a_drum_that_is_not_written_gives_the_start_alone() -> None:
    hits = Hits.sorted(np.array([3.0]), np.array([STAFF_ORDER["cowbell"]], np.int16), np.ones(1))
    assert find(TARGETS, hits) == StartAndTempo(3.0, 1.0)
    followed = follow(TARGETS, hits, StartAndTempo(3.0, 1.0))
    assert followed.time_s == pytest.approx(TARGETS.time_s + 3.0)


def test_a_limb_that_is_always_early_is_still_early() -> None:
    """The course follows the player's time, not the habit of one limb."""
    late_s = np.where(TARGETS.voice == STAFF_ORDER["kick"], 0.02, 0.0)
    hits = Hits.sorted(TARGETS.time_s / 0.97 + late_s, TARGETS.voice, faultless(TARGETS).velocity)
    followed = follow(TARGETS, hits, StartAndTempo(0.0, 1.0))
    told, _ = grade(PATTERN, TEMPO, targets=followed, hits=hits, rules=Rules())
    by_voice = told.timing.by_voice
    lead_ms = (by_voice["kick"].mean_ms or 0.0) - (by_voice["hi-hat"].mean_ms or 0.0)
    assert lead_ms == pytest.approx(20.0, abs=1.0)
    assert told.counts.matched == told.counts.targets == len(TARGETS)


def test_a_player_who_speeds_up_is_followed_and_told_so() -> None:
    """From 95 to 105 bpm over 24 bars: seconds away from a click, and nothing missed."""
    pace = 1.0 / (0.95 + 0.10 * TARGETS.time_s / TARGETS.end_s)
    time_s = np.cumsum(np.diff(TARGETS.time_s, prepend=0.0) * pace)
    hits = Hits.sorted(time_s, TARGETS.voice, faultless(TARGETS).velocity)
    assert np.abs(time_s - TARGETS.time_s).max() > 0.5
    followed = follow(TARGETS, hits, StartAndTempo(0.0, 1.0))
    told, _ = grade(PATTERN, TEMPO, targets=followed, hits=hits, rules=Rules())
    assert told.counts.matched == len(TARGETS)
    assert told.steadiness.trend == "speeding up"
    assert told.steadiness.first_bpm == pytest.approx(95.0, abs=1.0)
    assert told.steadiness.last_bpm == pytest.approx(105.0, abs=1.0)
    # A twentieth for each per cent between the ends, never below a half.
    first, last = told.steadiness.first_bpm or 1.0, told.steadiness.last_bpm or 1.0
    assert told.score.steadiness == pytest.approx(
        100.0 * max(0.5, 1.0 - 100.0 * abs(last / first - 1.0) / 20.0)
    )


def test_followed_or_not_a_faultless_take_scores_100() -> None:
    hits = faultless(TARGETS)
    followed = follow(TARGETS, hits, find(TARGETS, hits, start_s=0.0, ratio=1.0))
    told, _ = grade(PATTERN, TEMPO, targets=followed, hits=hits, rules=Rules())
    assert told.score.total == 100.0
