"""Whatever is played, every figure is a finite number or is not there, and the score is one."""

import json
from collections.abc import Callable
from dataclasses import replace
from math import isfinite

import numpy as np
import pytest
from hypothesis import given

from playalong.grading.gauges import Gauges
from playalong.grading.grade_run import judged_hits
from playalong.grading.text import as_json, figures
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Dynamic, Pattern, Stroke
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.voices import VOICES
from tests.helpers.exact_takes import faultless, law

from .making import grade_and_run, groove, numbers_in, of_strokes, runs_with_takes

FULL = groove(
    hi_hat="xxxx xxxo xxxx xxxx", snare="--g- X--g fg-- d--x?", kick="x--x ---x --x- ----"
)
ONE_STROKE = groove(kick="x--- ---- ---- ----")
DENSE = groove(snare="xxxxxxxx xxxxxxxx xxxxxxxx xxxxxxxx", kick="xxxxxxxx xxxx xxxx xxxx")
ODD = groove(meter="2+2+3/8", hi_hat="xx xx xxx", snare="-- x- g-x")
PATTERNS = {"full": FULL, "one stroke": ONE_STROKE, "dense": DENSE, "odd": ODD}

Play = Callable[[Targets], Hits]


def _crowd(count: int, begin_s: float, end_s: float) -> Play:
    def play(_: Targets) -> Hits:
        chance = np.random.default_rng(3)
        return Hits.sorted(
            chance.uniform(begin_s, end_s, count),
            chance.integers(0, len(VOICES), count).astype(np.int16),
            chance.integers(1, 128, count).astype(np.float64),
        )

    return play


def _at(time_s: float, count: int = 12) -> Play:
    def play(targets: Targets) -> Hits:
        return Hits.of(Hit(time_s, name, 84.0) for name in targets.voices for _ in range(count))

    return play


def _velocities(*velocity: float) -> Play:
    def play(targets: Targets) -> Hits:
        told = np.resize(np.array(velocity, np.float64), len(targets))
        return Hits.sorted(targets.time_s, targets.voice, told)

    return play


def _half_way(targets: Targets) -> Hits:
    """Every hit in the middle between two instants."""
    instants = np.unique(targets.time_s)
    middles = (instants[:-1] + instants[1:]) / 2.0
    return Hits.of(
        Hit(float(time), name, 84.0) for time in middles for name in targets.voices for _ in "ab"
    )


PLAYS: dict[str, Play] = {
    "nothing": lambda _: Hits.of(()),
    "one hit": _at(0.0, 1),
    "one hit, late": _at(0.08, 1),
    "all at one instant": _at(0.0),
    "all half-way between two strokes": _at(0.0375),
    "all half-way between two slower strokes": _at(0.075),
    "everything half-way": _half_way,
    "before bar 1": _at(-5.0),
    "after the last": _at(1000.0),
    "100,000 hits in a second": _crowd(100_000, 0.0, 1.0),
    "hits everywhere": _crowd(300, -2.0, 30.0),
    "all too soft": _velocities(1.0),
    "all too loud": _velocities(127.0),
    "softest and loudest": _velocities(1.0, 127.0),
    "faultless": faultless,
}


def _checked(pattern: Pattern, targets: Targets, hits: Hits, *, every_hit: bool = True) -> None:
    grade, run = grade_and_run(pattern, targets, hits)
    told = as_json(grade, judged_hits(run) if every_hit else None)
    json.dumps(told, allow_nan=False)
    assert all(isfinite(number) for number in numbers_in(told))
    for part in told["score"].values():
        assert 0.0 <= part <= 100.0
    assert told["counts"]["targets"] == sum(
        told["counts"][kind] for kind in ("matched", "missed", "wrong_drum")
    )
    for what, figure in figures(grade):
        assert what
        assert "nan" not in figure
        assert "inf" not in figure
    assert grade.advice[-1] in ".?"
    if every_hit:
        assert len(told["hits"]) == len(hits)
    gauges = Gauges(targets, run.rules, pattern.tempo)
    for word in run.verdicts[:2000].events():
        gauges.heard(word, None if word.hit is None else hits[word.hit])
    shown = (gauges.timing.mean_ms, gauges.ghosts.contrast_db, gauges.steadiness.last_bpm)
    assert all(figure is None or isfinite(figure) for figure in shown)


@pytest.mark.parametrize("bars", [1, 7])
@pytest.mark.parametrize("name", PATTERNS)
@pytest.mark.parametrize("play", PLAYS)
def test_every_figure_is_finite_or_missing(name: str, play: str, bars: int) -> None:
    pattern = PATTERNS[name]
    targets = lay_out(pattern, pattern.tempo, bars)
    hits = PLAYS[play](targets)
    _checked(pattern, targets, hits, every_hit=len(hits) < 10_000)


def test_every_hit_at_one_instant_between_two_strokes_has_no_tempo() -> None:
    """Strokes of two voices, all played half-way between them: time would stand still."""
    pattern = replace(groove(snare="xx-- ---- ---- ----", kick="xx-- ---- ---- ----"), tempo=100.0)
    targets = lay_out(pattern, 100.0, 1)
    hits = Hits.of(Hit(0.075, name, 84.0) for name in ("snare", "snare", "kick", "kick"))
    grade, _ = grade_and_run(pattern, targets, hits)
    assert grade.counts.matched == 4
    assert grade.steadiness.tempo_bpm is None
    _checked(pattern, targets, hits)


@law(150)
@given(runs_with_takes())
def test_every_figure_of_any_take(case: tuple[Pattern, Targets, list[Hit]]) -> None:
    pattern, targets, hits = case
    _checked(pattern, targets, Hits.of(hits))


def test_a_run_broken_off_before_its_first_stroke() -> None:
    targets = lay_out(groove(snare="---- x--- ---- ----"), 100.0, 2).until(0.1)
    assert len(targets) == 0
    pattern = groove(snare="---- x--- ---- ----")
    for hits in (Hits.of(()), Hits.of([Hit(0.0, "kick", 84.0), Hit(0.05, "snare", 84.0)])):
        _checked(pattern, targets, hits)
        grade, _ = grade_and_run(pattern, targets, hits)
        assert grade.score.total == 0.0


def test_only_optional_strokes_and_nothing_played() -> None:
    pattern = of_strokes(
        [Stroke(at=FULL.bars[0].strokes[0].at, voice="kick", dynamic=Dynamic.NORMAL, optional=True)]
    )
    grade, _ = grade_and_run(pattern, lay_out(pattern, 100.0, 2), Hits.of(()))
    assert grade.counts.targets == 0
    assert grade.score.total == 0.0


@pytest.mark.parametrize(
    ("capture_ms", "tolerance_ms"), [(100.0, 100.0), (1.0, 0.0), (1000.0, 0.0)]
)
def test_every_figure_with_rules_at_their_limits(capture_ms: float, tolerance_ms: float) -> None:
    targets = lay_out(FULL, FULL.tempo, 2)
    chance = np.random.default_rng(4)
    hits = Hits.sorted(
        targets.time_s + chance.normal(0.0, 0.02, len(targets)),
        targets.voice,
        chance.integers(1, 128, len(targets)).astype(np.float64),
    )
    grade, _ = grade_and_run(
        FULL, targets, hits, rules=Rules(capture_ms=capture_ms, tolerance_ms=tolerance_ms)
    )
    told = as_json(grade)
    json.dumps(told, allow_nan=False)
    assert 0.0 <= grade.score.total <= 100.0
    if tolerance_ms == capture_ms:
        assert grade.counts.early == grade.counts.late == 0


def test_json_has_the_keys_that_scripts_rely_on() -> None:
    """The table in DESIGN: what a script may rely on."""
    targets = lay_out(FULL, FULL.tempo, 2)
    grade, run = grade_and_run(FULL, targets, faultless(targets))
    told = as_json(grade, judged_hits(run))
    assert told.keys() >= {
        "pattern", "tempo_bpm", "bars", "counts", "timing", "steadiness", "dynamics", "unison",
        "score", "advice", "hits",
    }  # fmt: skip
    assert told["counts"].keys() == {
        "targets", "matched", "on_time", "early", "late", "missed", "extra", "wrong_drum",
        "too_loud", "too_soft", "not_open", "not_closed",
        "flam_flat", "flam_wide", "drag_open", "grace_loud", "grace_missing",
        "roll_short", "roll_long", "roll_broken", "roll_uneven",
    }  # fmt: skip
    assert told["timing"].keys() >= {"mean_ms", "sd_ms", "median_ms", "by_voice"}
    assert told["timing"]["by_voice"]["snare"].keys() == {"n", "mean_ms", "sd_ms"}
    assert told["steadiness"].keys() >= {"tempo_bpm", "drift_percent", "residual_sd_ms"}
    assert told["dynamics"].keys() >= {"ghost_contrast_db", "by_voice"}
    assert told["unison"].keys() >= {"n", "median_ms", "p90_ms", "pairs"}
    assert told["unison"]["pairs"][0].keys() == {"first", "second", "n", "mean_ms", "sd_ms"}
    assert told["level"] == "intermediate"
    assert told["hits"][0].keys() >= {
        "time_s", "voice", "velocity", "target", "error_ms", "verdict", "loudness",
    }  # fmt: skip
    assert "hits" not in as_json(grade)
