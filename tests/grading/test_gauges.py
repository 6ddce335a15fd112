"""The gauges while the run goes on, fed by a live grader."""

import statistics

import numpy as np
import pytest

from playalong.grading.gauges import WINDOW_BARS, Gauges
from playalong.grading.loudness import Band, Bands, level_db
from playalong.grading.matching.live_grader import Grader
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.steadiness import Strokes, steadiness
from playalong.grading.verdicts import Rules, Verdict, VerdictEvent
from playalong.midi.hits import Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER
from tests.helpers.exact_takes import faultless

from .making import groove, placed

PATTERN = groove(
    hi_hat="x-x- x-x- x-x- x-x-", snare="--g- X--g ---- X---", kick="x--- --x- x--- ----"
)
RULES = Rules()


def watched(targets: Targets, hits: Hits) -> Gauges:
    """The gauges after a whole run, fed as the realtime loop feeds them."""
    gauges, grader = Gauges(targets, RULES, 100.0), Grader(targets, RULES)

    def tell(words: list[VerdictEvent]) -> None:
        for word in words:
            if word.settled:
                gauges.heard(word, None if word.hit is None else hits[word.hit])

    number, now_s = 0, -0.5
    while now_s < targets.end_s + 0.5:
        now_s += 0.05
        while number < len(hits) and hits.time_s[number] < now_s:
            tell(grader.hit(hits[number]))
            number += 1
        tell(grader.time_passed(now_s))
    tell(grader.finish())
    return gauges


def spread_out(targets: Targets, seed: int, tempo_ratio: float = 1.0) -> Hits:
    chance = np.random.default_rng(seed)
    errors = chance.normal(-0.004, 0.008, len(targets))
    velocity = (faultless(targets).velocity + chance.normal(0.0, 4.0, len(targets))).clip(1, 127)
    return Hits.sorted(targets.time_s / tempo_ratio + errors, targets.voice, velocity)


def test_timing_is_that_of_the_last_hits() -> None:
    """statistics.fmean and pstdev of the last answered targets."""
    targets = lay_out(PATTERN, 100.0, 6)
    hits = spread_out(targets, 1)
    gauge = watched(targets, hits).timing
    run = MatchedRun.of(targets, hits, RULES)
    kept = gauge.errors_ms.maxlen
    assert kept is not None
    assert len(gauge.errors_ms) == kept < len(targets)
    # Words are settled in order of time but for what falls nearly together.
    assert set(gauge.errors_ms) <= set(run.error_ms[-kept - 6 :].tolist())
    assert gauge.mean_ms == pytest.approx(statistics.fmean(gauge.errors_ms))
    assert gauge.sd_ms == pytest.approx(statistics.pstdev(gauge.errors_ms))
    assert gauge.tolerance_ms == RULES.tolerance_ms


def test_ghost_notes_against_the_strong_strokes_of_the_same_voice() -> None:
    targets = lay_out(PATTERN, 100.0, 4)
    hits = spread_out(targets, 2)
    gauge = watched(targets, hits).ghosts
    # 16 strokes of the snare in four bars, fewer than the gauge keeps; the other voices have no
    # ghost notes and do not count.
    snare = targets.voice == STAFF_ORDER["snare"]
    ghost = targets.dynamic == DYNAMICS.index(Dynamic.GHOST)
    run = MatchedRun.of(targets, hits, RULES)
    level = run.level_db
    assert len(gauge.levels) == snare.sum()
    assert gauge.contrast_db == pytest.approx(
        float(np.median(level[snare & ghost]) - np.median(level[snare & ~ghost]))
    )


def test_the_line_that_a_ghost_note_should_stay_under() -> None:
    assert watched(lay_out(PATTERN, 100.0, 1), Hits.of(())).ghosts.soft_db == level_db(50.0)
    own = Bands(
        {dynamic: Band(1, 127) for dynamic in Dynamic}, {("snare", Dynamic.GHOST): Band(1, 36)}
    )
    gauges = Gauges(lay_out(PATTERN, 100.0, 1), Rules(bands=own), 100.0)
    assert gauges.ghosts.soft_db == level_db(36.0)


def test_that_line_is_drawn_from_the_players_own_strokes() -> None:
    """Where a ghost note begins to be too loud, as the grade hears it, on any kit."""
    targets = lay_out(PATTERN, 100.0, 4)
    hits = spread_out(targets, 2)
    run = MatchedRun.of(targets, hits, RULES)
    border = run.borders.high[STAFF_ORDER["snare"], DYNAMICS.index(Dynamic.GHOST)]
    assert watched(targets, hits).ghosts.soft_db == pytest.approx(level_db(float(border)))


def test_the_course_of_the_tempo_is_that_of_the_bars_that_are_over() -> None:
    """The same fit as the grade's, over the bars before the last."""
    targets = lay_out(PATTERN, 100.0, 6)
    hits = spread_out(targets, 3, tempo_ratio=1.002)
    gauge = watched(targets, hits).steadiness
    assert gauge.written_bpm == 100.0
    assert gauge.course[-1][0] == 4
    run = MatchedRun.of(targets, hits, RULES)
    whole = Strokes.of(run)
    before = whole.bar < 5
    alone = Strokes(
        written_s=whole.written_s[before],
        error_s=whole.error_s[before],
        voice=whole.voice[before],
        bar=whole.bar[before],
        bar_starts_s=whole.bar_starts_s[:6],
    )
    told = dict(steadiness(alone, 100.0).course)
    for bar, bpm in gauge.course:
        assert bpm == pytest.approx(told[bar], abs=0.05)
    assert gauge.trend == "steady"


def test_speeding_up_is_told_while_it_happens() -> None:
    targets = lay_out(PATTERN, 100.0, 8)
    into = targets.time_s / targets.end_s
    ahead_s = 0.3 * (into**2 - into)  # never out of the windows
    hits = faultless(targets)
    gauge = watched(
        targets, Hits.sorted(hits.time_s - ahead_s, hits.voice, hits.velocity)
    ).steadiness
    assert gauge.trend == "speeding up"
    assert gauge.first_bpm is not None
    assert gauge.last_bpm is not None
    assert gauge.last_bpm > gauge.first_bpm


def test_a_long_run_keeps_the_last_bars_only() -> None:
    targets = lay_out(PATTERN, 200.0, 3 * WINDOW_BARS)
    gauge = watched(targets, spread_out(targets, 4)).steadiness
    bars = [bar for bar, _ in gauge.course]
    assert len(bars) <= WINDOW_BARS
    assert bars == sorted(bars)
    assert bars[-1] == targets.bars - 2


def test_only_answers_move_the_gauges() -> None:
    gauges = Gauges(placed([(1.0, "snare")]), RULES, 100.0)
    for word in (
        VerdictEvent(verdict=Verdict.MISSED, target=0, hit=None, settled=True),
        VerdictEvent(verdict=Verdict.EXTRA, target=None, hit=0, settled=True),
        VerdictEvent(verdict=Verdict.WRONG_DRUM, target=0, hit=0, error_ms=20.0, settled=True),
        VerdictEvent(
            verdict=Verdict.ON_TIME, target=0, hit=0, error_ms=-30.0, grace=True, settled=True
        ),
    ):
        gauges.heard(word, faultless(placed([(1.0, "snare")]))[0])
    assert gauges.timing.mean_ms is None
    assert gauges.ghosts.contrast_db is None
    assert not gauges.steadiness.course


def test_a_stroke_may_settle_after_one_of_the_next_bar_in_a_long_run() -> None:
    """Beyond the bars kept: the kick of bar 33 is told after the hi-hat of bar 34."""
    targets = lay_out(groove(hi_hat="x-x- x-x- x-x- x-x-", kick="x--- ---- ---- --x-"), 100.0, 48)
    hits = faultless(targets)
    gauges = Gauges(targets, RULES, 100.0)
    order = np.argsort(targets.time_s + 0.9 * (targets.voice == STAFF_ORDER["kick"]))
    for row in order.tolist():
        word = VerdictEvent(
            verdict=Verdict.ON_TIME, target=row, hit=row, error_ms=0.0, settled=True
        )
        gauges.heard(word, hits[row])
    bars = [bar for bar, _ in gauges.steadiness.course]
    assert bars == list(range(47 - WINDOW_BARS, 47))
    assert all(tempo == pytest.approx(100.0) for _, tempo in gauges.steadiness.course)
