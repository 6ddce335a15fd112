"""Faults that are put into a take: each does what it says, and nothing else."""

from functools import cache

import numpy as np
import pytest

from playalong.grading.loudness import level_db
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import STAFF_ORDER, Limb
from playalong.simulation.skills import SKILLS
from tests.helpers import faults
from tests.helpers.fault_order import BARS, GROOVES, ORDER, takes
from tests.helpers.fault_table import ROWS
from tests.helpers.faults import Scene
from tests.helpers.grooves import grooves
from tests.helpers.played import Played
from tests.helpers.steady_player import EXACT


@cache
def played_by(name: str, skill: str, seed: int) -> Played:
    """Sixteen bars by somebody; nobody may write into them."""
    pattern = grooves()[name]
    targets = lay_out(pattern, pattern.tempo, 16)
    played = Played.by(targets, SKILLS[skill] if skill else EXACT, seed)
    for column in (played.time_s, played.velocity, played.voice, played.grace_s):
        column.setflags(write=False)
    return played


def scene_of(name: str, seed: int = 1, level_out: bool = False, *, skill: str = "") -> Scene:
    chance = np.random.default_rng(seed)
    return Scene(
        pattern=grooves()[name],
        played=played_by(name, skill, seed),
        chance=chance,
        level_out=level_out,
    )


def made(fault: faults.Injection, name: str, size: float) -> tuple[Scene, Played]:
    scene = scene_of(name)
    found = fault(scene, size)
    assert found is not None
    return scene, found.played


def differing(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    same = (one == other) | (np.isnan(one) & np.isnan(other))
    return np.flatnonzero(~same)


@pytest.mark.parametrize("name", ["late-bus-home", "thick-rope", "rope-ladder", "two-doors"])
def test_what_was_played_comes_back_stroke_by_stroke(name):
    """Grace strokes, open hi-hats and all: the hits are those that went in."""
    pattern = grooves()[name]
    targets = lay_out(pattern, pattern.tempo, 8)
    played = Played.by(targets, SKILLS["beginner"], 3)
    hits = played.hits()
    again = Played.of(targets, hits)
    for column in ("time_s", "voice", "velocity"):
        np.testing.assert_array_equal(getattr(again.hits(), column), getattr(hits, column))
    assert len(played.extra) < 0.2 * len(hits)


def test_a_limb_is_late_and_no_other():
    scene, late = made(faults.limb_off, "late-bus-home", 45.0)
    rows = differing(late.time_s, scene.played.time_s)
    limbs = [limb for limb in Limb if set(rows) == set(np.flatnonzero(scene.limb(limb)))]
    assert len(limbs) == 1
    np.testing.assert_allclose(late.error_ms[rows], 45.0, atol=1e-6)


def test_a_place_is_late_in_every_bar():
    scene, late = made(faults.stroke_off, "late-bus-home", 24.0)
    rows = differing(late.time_s, scene.played.time_s)
    assert len(rows) == 16
    assert len(np.unique(scene.group[rows])) == 1


def test_ghost_notes_come_up_to_the_others():
    scene, loud = made(faults.all_ghosts_loud, "late-bus-home", 1.0)
    ghost = scene.dynamic(faults.GHOST)
    assert set(differing(loud.velocity, scene.played.velocity)) == set(np.flatnonzero(ghost))
    snare = scene.voice("snare")
    soft, other = (level_db(loud.velocity[snare & rows]) for rows in (ghost, ~ghost))
    assert np.median(soft) == pytest.approx(np.median(other), abs=0.5)


def test_a_stop_moves_all_that_comes_after():
    scene, after = made(faults.hesitated, "late-bus-home", 0.4)
    by_s = after.time_s - scene.played.time_s
    assert set(np.round(by_s, 6)) == {0.0, 0.4}
    assert (np.diff(by_s) >= -1e-9).all()


def test_a_creeping_tempo_ends_as_much_faster_as_it_says():
    scene, after = made(faults.creeping_tempo, "late-bus-home", 4.0)
    beats = scene.voice("hi-hat")
    gaps_s = np.diff(np.sort(after.time_s[beats]))
    written_s = np.diff(np.sort(scene.played.time_s[beats]))
    ratio = written_s / gaps_s
    assert ratio[:8].mean() == pytest.approx(1.0, abs=0.004)
    assert ratio[-8:].mean() == pytest.approx(1.04, abs=0.004)


def test_flams_lie_where_they_are_put():
    for size, low, high in ((5.0, 1.0, 10.0), (90.0, 40.0, 150.0)):
        _, after = made(faults.flam_at, "thick-rope", size)
        there = ~np.isnan(after.grace_s[:, 0])
        gaps_ms = (after.time_s[there] - after.grace_s[there, 0]) * 1000.0
        assert gaps_ms.mean() == pytest.approx(size, rel=0.15)
        assert low <= gaps_ms.min() <= gaps_ms.max() <= high


def test_the_own_habit_at_a_place_is_taken_out_first():
    scene = scene_of("late-bus-home", 5, level_out=True, skill="beginner")
    late = faults.limb_off(scene, 45.0)
    assert late is not None
    rows = differing(late.played.time_s, scene.played.time_s)
    others = np.setdiff1d(np.flatnonzero(scene.played.answered), rows)
    apart = np.nanmean(late.played.error_ms[rows]) - np.nanmean(late.played.error_ms[others])
    assert apart == pytest.approx(45.0, abs=1e-6)


@pytest.mark.parametrize("row", ROWS, ids=[row.name for row in ROWS])
def test_every_fault_has_its_place_in_some_pattern_and_changes_the_take(row):
    """Whatever the chance, a fault that is put in is in, and the hits stay hits."""
    found = 0
    for number, name in enumerate(sorted(grooves())):
        scene = scene_of(name, number, skill="professional")
        for size in (*row.small, *row.clear):
            faulty = row.inject(scene, size)
            if faulty is None:
                continue
            found += 1
            hits, before = faulty.hits, scene.played.hits()
            same = len(hits) == len(before) and all(
                np.array_equal(getattr(hits, column), getattr(before, column))
                for column in ("time_s", "voice", "velocity")
            )
            assert not same
            assert faulty.codes
            assert np.isfinite(hits.time_s).all()
            assert (np.diff(hits.time_s) >= 0.0).all()
            assert ((hits.velocity >= 1.0) & (hits.velocity <= 127.0)).all()
    assert found


def test_the_takes_of_the_order_are_what_they_are_called():
    for name in GROOVES:
        made_of = takes(name, 1)
        assert list(made_of) == list(ORDER)
        _, targets, own = made_of["the professional as he is"]
        counts = {what: len(hits) for what, (_, _, hits) in made_of.items()}
        assert counts["with two misses"] == len(own) - 2
        assert counts["with eight extras"] == len(own) + 8
        assert counts["one note"] == 1
        assert counts["chance"] == len(targets)
        assert abs(counts["half the strokes missing"] - len(targets) / 2) <= 1
        wrong = made_of["a wrong drum in every bar"][2]
        assert (wrong.voice == STAFF_ORDER["floor-tom"]).sum() == BARS
