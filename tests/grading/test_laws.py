"""Laws of the grade: what a change of the take must do, and must not do, to its figures."""

from dataclasses import astuple, replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from playalong.grading.grade import Score
from playalong.grading.levels import Level
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.score import Credits, score
from playalong.grading.measures.steadiness import Strokes, steadiness
from playalong.grading.verdicts import Rules, Verdict
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.targets import DYNAMICS, GRACE_S, Targets, lay_out, limbs
from playalong.pattern.voices import STAFF_ORDER
from tests.helpers.exact_takes import FITTING, as_list, faultless, law

from .making import (
    graded,
    groove,
    measured,
    moved,
    patterns,
    placed,
    runs,
    runs_with_takes,
    without,
)

Case = tuple[Pattern, Targets, list[Hit]]
RULES = Rules()
NEVER_WRITTEN = "cowbell"


@st.composite
def answered(draw: st.DrawFn, faults: bool = True) -> tuple[Pattern, Targets, Hits]:
    """A run in which every hit answers its own target, and of a fitting loudness.

    No optional strokes (leaving a bad one out mends a take) and no grace strokes.
    """
    pattern, targets = draw(runs(graces=False, optional=False))
    step_ms = float(targets.seconds_per_whole) / 16.0 * 1000.0
    reach_ms = min(90.0, 0.45 * step_ms)
    error = (
        st.floats(-reach_ms, reach_ms)
        if faults
        else st.floats(-1.0, 1.0).map(lambda part: part * (min(45.0, step_ms * 0.4) - 0.001))
    )
    count = len(targets)
    errors = draw(st.lists(error, min_size=count, max_size=count))
    played = faultless(targets)
    time_s = targets.time_s + np.array(errors) / 1000.0
    return pattern, targets, Hits(time_s, targets.voice, played.velocity)  # row i answers target i


def total(targets: Targets, hits: Hits) -> float:
    """The score, of hits in any order."""
    return scored(targets, hits).total


def scored(targets: Targets, hits: Hits) -> Score:
    """The score and its parts, as in the grade, but without the findings, which cost far more."""
    ordered = Hits.sorted(hits.time_s, hits.voice, hits.velocity)
    return score(MatchedRun.of(targets, ordered, RULES))


def strokes_alone(score: Score) -> float:
    """The score without what habits cost: they weigh many strokes together."""
    return score.total / score.habits


# Shifts and scales.


@law(100)
@given(runs(graces=False), st.integers(-12_000, 12_000), st.data())
def test_all_hits_later_makes_the_mean_later_and_nothing_else(
    run: tuple[Pattern, Targets], shift_us: int, data: st.DataObject
) -> None:
    pattern, targets = run
    count = len(targets)
    errors_us = data.draw(st.lists(st.integers(-12_000, 12_000), min_size=count, max_size=count))
    hits = Hits(
        targets.time_s + np.array(errors_us) / 1e6, targets.voice, faultless(targets).velocity
    )
    before = graded(pattern, targets, moved(hits, 0.0))
    after = graded(pattern, targets, moved(hits, shift_us / 1e6))
    assert before.timing.mean_ms is not None
    # Times are kept to the nanosecond.
    near = 1e-5
    assert after.timing.mean_ms == pytest.approx(before.timing.mean_ms + shift_us / 1e3, abs=near)
    assert after.timing.median_ms == pytest.approx(
        (before.timing.median_ms or 0.0) + shift_us / 1e3, abs=near
    )
    assert after.timing.sd_ms == pytest.approx(before.timing.sd_ms, abs=near)
    assert after.unison.median_ms == pytest.approx(before.unison.median_ms, abs=near)
    assert after.counts == before.counts == replace(before.counts, on_time=count)
    assert after.dynamics == before.dynamics
    if before.steadiness.drift_percent is not None:
        assert after.steadiness.drift_percent == pytest.approx(
            before.steadiness.drift_percent, abs=1e-4
        )


@st.composite
def on_the_millisecond(draw: st.DrawFn) -> tuple[Pattern, list[tuple[int, str, int]]]:
    """A pattern at 125 bpm, whose sixteenths are 120 ms, and hits on whole milliseconds."""
    pattern = replace(draw(patterns(graces=False)), tempo=125.0)
    names = st.sampled_from(("hi-hat", "snare", "kick", NEVER_WRITTEN))
    near = st.builds(lambda step, off: 120 * step + off, st.integers(0, 31), st.integers(-60, 60))
    hits = st.lists(st.tuples(near, names, st.integers(1, 127)), max_size=40)
    return pattern, draw(hits)


@law(150)
@given(on_the_millisecond())
def test_half_the_tempo_and_twice_the_windows_is_the_same_take(
    case: tuple[Pattern, list[tuple[int, str, int]]],
) -> None:
    pattern, rows = case
    slow = replace(pattern, tempo=62.5)
    twice = Rules(capture_ms=2.0 * RULES.capture_ms, tolerance_ms=2.0 * RULES.tolerance_ms)
    quick = measured(
        lay_out(pattern, pattern.tempo, 2),
        Hits.of(Hit(ms / 1000.0, name, level) for ms, name, level in rows),
    )
    slower = measured(
        lay_out(slow, slow.tempo, 2),
        Hits.of(Hit(2 * ms / 1000.0, name, level) for ms, name, level in rows),
        twice,
    )
    assert slower.counts == quick.counts
    assert slower.dynamics == quick.dynamics
    assert astuple(slower.score) == pytest.approx(astuple(quick.score))
    for name in ("mean_ms", "sd_ms", "median_ms"):
        one, two = getattr(quick.timing, name), getattr(slower.timing, name)
        assert two == (None if one is None else pytest.approx(2.0 * one, abs=1e-5))
    # On the click: a course of the player's own is found at the scatter that people have.
    kept = steadiness(Strokes.of(quick.run), pattern.tempo)
    slowly = steadiness(Strokes.of(slower.run), slow.tempo)
    assert slowly.drift_percent == (
        None if kept.drift_percent is None else pytest.approx(kept.drift_percent, abs=1e-4)
    )
    assert slowly.trend == kept.trend


@law(100)
@given(patterns(graces=False), st.data())
def test_the_same_errors_at_another_tempo_are_the_same_grade(
    pattern: Pattern, data: st.DataObject
) -> None:
    """Slow enough that windows do not touch, an error is an error whatever the tempo."""
    bars = 2
    grades = []
    count = len(lay_out(pattern, 60.0, bars))
    errors = data.draw(st.lists(st.integers(-90, 90), min_size=count, max_size=count))
    for tempo in (40.0, 60.0, 72.0):
        own = replace(pattern, tempo=tempo)
        targets = lay_out(own, tempo, bars)
        hits = moved(faultless(targets), 0.0)
        played = Hits.sorted(targets.time_s + np.array(errors) / 1e3, targets.voice, hits.velocity)
        grades.append(measured(targets, played))
    for grade in grades[1:]:
        assert grade.counts == grades[0].counts
        assert grade.score.total == pytest.approx(grades[0].score.total, abs=1e-6)
        assert grade.timing.mean_ms == pytest.approx(grades[0].timing.mean_ms, abs=1e-5)


# The score.


@law(150)
@given(patterns(), st.sampled_from((50.0, 84.0, 120.0)), st.booleans(), st.integers(1, 3))
def test_a_faultless_take_scores_100(
    pattern: Pattern, tempo: float, optional: bool, bars: int
) -> None:
    """With every grace stroke; optional strokes played or left out."""
    pattern = replace(pattern, tempo=tempo)
    targets = lay_out(pattern, tempo, bars)
    hits = faultless(targets)
    if not optional:
        hits = without(hits, np.flatnonzero(targets.optional))
        assume(len(hits))
    played = as_list(hits)
    answers = range(len(targets)) if optional else np.flatnonzero(~targets.optional).tolist()
    graces = [
        Hit(float(targets.time_s[row]) - GRACE_S * place, targets.names[row], 20.0)
        for row in answers
        for place in range(1, int(targets.graces[row]) + 1)
    ]
    grade = graded(pattern, targets, Hits.of([*played, *graces]))
    assert grade.score.total == 100.0
    assert astuple(grade.score) == (100.0,) * len(astuple(grade.score))
    assert grade.counts.on_time == grade.counts.targets == len(hits)
    assert grade.counts.extra == grade.counts.missed == grade.counts.wrong_drum == 0
    assert [finding.code for finding in grade.findings] == ["clean"]


@law(150)
@given(answered(faults=False))
def test_within_tolerance_and_band_nothing_is_lost(case: tuple[Pattern, Targets, Hits]) -> None:
    assert total(*case[1:]) == 100.0


@law(300)
@given(runs_with_takes())
def test_the_score_stays_between_0_and_100(case: Case) -> None:
    _, targets, hits = case
    assert all(0.0 <= part <= 100.0 for part in astuple(scored(targets, Hits.of(hits))))


@law(150)
@given(answered(), st.data())
def test_a_hit_left_out_lowers_the_score(
    case: tuple[Pattern, Targets, Hits], data: st.DataObject
) -> None:
    _, targets, hits = case
    chosen = data.draw(st.integers(0, len(hits) - 1))
    before, after = total(targets, hits), total(targets, without(hits, [chosen]))
    assert after <= before
    if before > 0.0:
        assert after < before


@law(150)
@given(answered(), st.data())
def test_a_hit_farther_off_never_raises_the_score(
    case: tuple[Pattern, Targets, Hits], data: st.DataObject
) -> None:
    _, targets, hits = case
    chosen = data.draw(st.integers(0, len(hits) - 1))
    error_s = float(hits.time_s[chosen] - targets.time_s[chosen])
    reach_s = min(0.099, 0.49 * targets.seconds_per_whole / 16.0)
    farther_s = data.draw(st.floats(abs(error_s), max(reach_s, abs(error_s))))
    time_s = hits.time_s.copy()
    time_s[chosen] = targets.time_s[chosen] + np.copysign(farther_s, error_s)
    other = Hits(time_s, hits.voice, hits.velocity)
    before, after = (strokes_alone(scored(targets, played)) for played in (hits, other))
    assert after <= before + 1e-6  # times are rounded to the nanosecond
    tolerance_s = min(0.045, targets.seconds_per_whole / 16.0 * 2.0 / 5.0)
    if abs(error_s) <= tolerance_s - 0.0001 and farther_s > 0.0451 and before > 0.0:
        assert after < before  # it has left the tolerance


@law(150)
@given(answered(), st.data())
def test_a_stroke_louder_or_softer_than_its_kind_never_raises_the_score(
    case: tuple[Pattern, Targets, Hits], data: st.DataObject
) -> None:
    """A ghost note louder, an accent softer, a plain stroke either way; the others as they fit."""
    _, targets, hits = case
    chosen = data.draw(st.integers(0, len(hits) - 1))
    dynamic, fitting = DYNAMICS[targets.dynamic[chosen]], float(hits.velocity[chosen])
    louder = dynamic is Dynamic.GHOST or (dynamic is Dynamic.NORMAL and data.draw(st.booleans()))
    end = 127.0 if louder else 1.0
    ways = sorted(data.draw(st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0))))
    scores = []
    for way in ways:
        velocity = hits.velocity.copy()
        velocity[chosen] = fitting + way * (end - fitting)
        scores.append(total(targets, Hits(hits.time_s, hits.voice, velocity)))
    assert scores[1] <= scores[0] + 1e-9


@law(150)
@given(answered(), st.sampled_from((1.0, 3.0, 6.0)), st.integers(0, 1 << 30), st.data())
def test_among_uneven_strokes_too_one_that_leaves_its_kind_never_raises_the_score(
    case: tuple[Pattern, Targets, Hits], spread_db: float, seed: int, data: st.DataObject
) -> None:
    """As far as the others are heard as before: they are heard against it, and a plain stroke that
    becomes softer may be what an accent needed."""
    _, targets, hits = case
    chance = np.random.default_rng(seed)
    away_db = spread_db * chance.standard_normal(len(hits))
    uneven = np.clip(hits.velocity * 10.0 ** (away_db / 40.0), 1.0, 127.0)
    chosen = data.draw(st.integers(0, len(hits) - 1))
    dynamic = DYNAMICS[targets.dynamic[chosen]]
    louder = dynamic is Dynamic.GHOST or (dynamic is Dynamic.NORMAL and data.draw(st.booleans()))
    runs_of = []
    for way in sorted(data.draw(st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)))):
        velocity = uneven.copy()
        velocity[chosen] += way * ((127.0 if louder else 1.0) - velocity[chosen])
        played = Hits.sorted(hits.time_s, hits.voice, velocity)
        runs_of.append(MatchedRun.of(targets, played, RULES))
    before, after = runs_of
    if not others_heard_better(before, after, chosen):
        assert score(after).total <= score(before).total + 1e-9


def others_heard_better(before: MatchedRun, after: MatchedRun, chosen: int) -> bool:
    """Whether the loudness of any target but ``chosen`` is worth more than before."""
    worth = np.full((2, len(before.targets)), np.nan)
    for row, run in enumerate((before, after)):
        worth[row, run.target] = Credits.of(run).loudness
    worth[:, chosen] = np.nan
    return bool(np.any(worth[1] > worth[0] + 1e-12))


@law(60)
@given(runs(graces=False, optional=False), st.integers(0, 1 << 30), st.data())
def test_a_limb_farther_off_never_raises_the_score(
    run: tuple[Pattern, Targets], seed: int, data: st.DataObject
) -> None:
    """A habit as well as its strokes: the limb that lies farthest from the others, still farther,
    among strokes that are as even as people's; as long as each is nearest to its own target, and
    not on its way to the next."""
    pattern, targets = run
    targets = lay_out(pattern, pattern.tempo, 8)
    gaps_s = [np.diff(targets.time_s[targets.voice == code]) for code in set(targets.voice)]
    most_s = min(0.08, float(np.concatenate(gaps_s).min()) / 2.0 - 0.03)
    assume(most_s > 0.012)
    chance = np.random.default_rng(seed)
    error_s = 0.008 * chance.standard_normal(len(targets))
    limb = limbs(targets)
    own = limb == data.draw(st.sampled_from(np.unique(limb).tolist()))
    side = data.draw(st.sampled_from((-1.0, 1.0)))
    ways_s = sorted(data.draw(st.tuples(*2 * [st.floats(0.012, most_s)])))
    totals = []
    for way_s in ways_s:
        time_s = targets.time_s + error_s + np.where(own, side * way_s, 0.0)
        played = Hits.sorted(time_s, targets.voice, faultless(targets).velocity)
        totals.append(total(targets, played))
    assert totals[1] <= totals[0] + 1e-6


@law(150)
@given(runs_with_takes(graces=False), st.floats(0.0, 1.0))
def test_a_hit_that_answers_nothing_never_raises_the_score(case: Case, share: float) -> None:
    """Whatever else was played; it may make a missed stroke a wrong drum, which is worse."""
    _, targets, hits = case
    before = total(targets, Hits.of(hits))
    more = [*hits, Hit(share * (targets.end_s - 0.101), NEVER_WRITTEN, 84.0)]
    after = total(targets, Hits.of(more))
    assert after <= before
    if before > 0.0:
        assert after < before


@law(150)
@given(answered(), st.data())
def test_another_drum_lowers_the_score(
    case: tuple[Pattern, Targets, Hits], data: st.DataObject
) -> None:
    _, targets, hits = case
    chosen = data.draw(st.integers(0, len(hits) - 1))
    assume(0.0 <= hits.time_s[chosen] < targets.end_s - 0.1)  # inside the run
    voices = hits.voice.copy()
    voices[chosen] = STAFF_ORDER[NEVER_WRITTEN]
    other = Hits(hits.time_s, voices, hits.velocity)
    before, after = total(targets, hits), total(targets, other)
    left_out = total(targets, without(hits, [chosen]))
    assert after <= left_out <= before
    if left_out > 0.0:
        assert after < left_out


@law(80)
@given(runs_with_takes(graces=False, optional=False))
def test_leaving_out_a_faultless_stroke_never_raises_the_score(case: Case) -> None:
    """In any take at all, if no other hit can take its place, and as far as the others are heard
    as before: ghost notes as loud as plain strokes can no longer be told from them where the plain
    strokes are left out."""
    _, targets, hits = case
    # One stroke at least is as written.
    own = Hit(float(targets.time_s[0]), targets.names[0], FITTING[DYNAMICS[targets.dynamic[0]]])
    run = MatchedRun.of(targets, Hits.of([*hits, own]), RULES)
    before = score(run).total
    for chosen in _faultless_and_alone(run)[:3]:
        left = MatchedRun.of(targets, without(run.hits, [chosen]), RULES)
        answered_by = int(run.target[run.hit == chosen][0])
        if not others_heard_better(run, left, answered_by):
            assert score(left).total <= before + 1e-9


def _faultless_and_alone(run: MatchedRun) -> list[int]:
    """Hits on time and of the right loudness that no extra of the voice could replace."""
    on_time = set(run.verdicts.hit[run.by_verdict[Verdict.ON_TIME]].tolist())
    right = set(run.hit[run.verdicts.loudness[run.answered] == 0].tolist())
    others = run.hits.time_s[
        run.verdicts.hit[
            np.concatenate([run.by_verdict[Verdict.EXTRA], run.by_verdict[Verdict.WRONG_DRUM]])
        ]
    ]
    return [
        hit
        for hit in sorted(on_time & right)
        if not np.any(np.abs(others - run.hits.time_s[hit]) <= 0.2)
        and not np.any(np.abs(np.delete(run.hits.time_s, hit) - run.hits.time_s[hit]) < 0.05)
    ]


@law(60)
@given(answered(faults=False), st.data())
def test_a_grace_stroke_left_out_lowers_the_score(
    case: tuple[Pattern, Targets, Hits], data: st.DataObject
) -> None:
    pattern, targets, hits = case
    chosen = data.draw(st.integers(0, len(targets) - 1))
    asked = targets.graces.copy()
    asked[chosen] = data.draw(st.integers(1, 2))
    grade = graded(pattern, replace(targets, graces=asked), moved(hits, 0.0))
    assert grade.score.total < 100.0
    assert grade.score.ornaments == pytest.approx(100.0 * (1.0 - 0.5 / len(targets)))
    assert grade.graces is not None
    assert (grade.graces.asked, grade.graces.played) == (asked[chosen], 0)
    assert grade.counts.grace_missing == 1


def test_the_score_is_its_formula() -> None:
    """Worked by hand from the head of the module score."""
    pattern = groove(snare="x--- x--- x--- x---", kick="x--- ---- x--- ----")
    targets = lay_out(pattern, 100.0, 1)  # a target of the snare every 600 ms
    hits = [
        Hit(0.067, "snare", 84.0),  # 22 ms beyond the tolerance, of 55 to the edge
        Hit(0.600, "snare", 84.0),
        Hit(1.200, "hi-hat", 84.0),  # a wrong drum
        Hit(1.400, "hi-hat", 84.0),  # an extra
        # the last stroke of the snare 5 ms beyond its window: missed, and an extra hit
        Hit(1.905, "snare", 84.0),
        Hit(0.000, "kick", 84.0),
        Hit(1.200, "kick", 84.0),
    ]
    grade = graded(pattern, targets, Hits.of(hits))
    assert (grade.counts.missed, grade.counts.wrong_drum, grade.counts.extra) == (1, 1, 2)
    late = (1.0 - 22.0 / 55.0) ** 2
    snare, kick = (late + 1.0) / 4.0, 1.0
    weights = np.array([4.0, 2.0]) ** 0.7
    played = (np.sum(weights * np.sqrt([snare, kick])) / weights.sum()) ** 2
    # 105 ms is beyond the 55 ms after the tolerance: the last stroke keeps nothing, but the hit
    # is not quite another one.
    complete = (1.0 + 1.0 + 1.0 + 1.0) / 6.0
    x = (2.0 + 5.0 / 20.0) / 6.0
    clean = 0.95 / (1.0 + 0.4 * x + (4.0 * x) ** 2.2) + 0.05 / (1.0 + 0.3 * x)
    assert grade.score.total == pytest.approx(100.0 * played * complete * clean)
    assert grade.score.strokes == pytest.approx(100.0 * 4 / 6)
    assert grade.score.timing == pytest.approx(100.0 * (late + 3.0) / 4)
    assert grade.score.extras == pytest.approx(100.0 * clean)
    assert grade.score.loudness == grade.score.habits == grade.score.steadiness == 100.0


@pytest.mark.parametrize("level", list(Level))
@pytest.mark.parametrize("gap_s", [0.08, 0.125, 0.2, 1.0])
def test_no_millisecond_costs_a_stroke_more_than_a_twentieth(level: Level, gap_s: float) -> None:
    """From on time to where the hit answers nothing any more, over every edge on the way.

    Of three strokes the middle one comes later by one millisecond more each time; the times lie so
    far apart in one run that none hears of another.
    """
    rules, apart_s = Rules.at(level), 10.0
    late_ms = np.arange(int(gap_s * 1000.0) + 150)
    targets = placed(
        [
            (apart_s * time + 1.0 + gap_s * number, "snare")
            for time in range(len(late_ms))
            for number in range(3)
        ]
    )
    hits = faultless(targets)
    time_s = hits.time_s.copy()
    time_s[1::3] += late_ms / 1000.0
    run = MatchedRun.of(targets, Hits.sorted(time_s, hits.voice, hits.velocity), rules)
    credits = Credits.of(run)
    won = credits.target.reshape(-1, 3).sum(axis=1)
    at_s = run.hits.time_s[run.verdicts.hit[run.by_verdict[Verdict.EXTRA]]]
    extra = np.bincount((at_s // apart_s).astype(np.int64), credits.extra, len(late_ms))
    for kind in (won, extra):
        assert np.abs(np.diff(kind)).max() <= 0.05 + 1e-9, np.abs(np.diff(kind)).argmax()
    assert (won[-1], extra[-1]) == (2.0, 1.0)


@pytest.mark.parametrize("power", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("chosen", [0, 1, 2])
def test_no_step_of_velocity_costs_a_stroke_more_than_a_twentieth(
    chosen: int, power: float
) -> None:
    """A ghost note, a plain stroke, an accent, from the softest to the loudest."""
    pattern = groove(snare="gxXg xgxX gxgX xgxX")
    targets = lay_out(pattern, 100.0, 4)
    chance = np.random.default_rng(5)
    level = np.array([-26.0, -8.0, -1.5])[targets.dynamic] + chance.normal(0.0, 2.0, len(targets))
    velocity = np.clip(np.rint(127.0 * 10.0 ** (power * level / 40.0)), 1.0, 127.0)
    last = None
    for step in range(1, 128):
        velocity[chosen] = step
        run = MatchedRun.of(targets, Hits(targets.time_s, targets.voice, velocity.copy()), RULES)
        won = Credits.of(run).target
        if last is not None:
            assert abs(won[chosen] - last[chosen]) <= 0.05 + 1e-9, step
        last = won
