"""Faults that every teacher knows by name, on human timing: each is what is told first, in words
that fit it."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest

from playalong.grading.grade import Finding
from playalong.pattern.voices import STAFF_ORDER, Limb
from tests.helpers import faults
from tests.helpers.faults import ELSEWHERE, Faulty, Injection, Scene
from tests.helpers.grooves import grooves
from tests.helpers.told import graded
from tests.long.faults import simulated

#: Patterns that each fault is put into, as far as they have a place for it.
PATTERNS = 2


@dataclass(frozen=True, kw_only=True)
class Named:
    """A fault, its size, and words of its sentence."""

    name: str
    inject: Injection
    size: float = 1.0
    words: str = ""


def kick_at_one_place(scene: Scene, by_ms: float) -> Faulty | None:
    rows = scene.a_place(scene.limb(Limb.KICK_FOOT))
    if rows is None:
        return None
    played = scene.played.moved(np.where(rows, by_ms / 1000.0, 0.0))
    return Faulty(played, frozenset({"stroke_late"}))


def wrong_drum_in_every_bar(scene: Scene, _: float) -> Faulty | None:
    """At changing places, on a drum that the pattern does not have."""
    targets = scene.targets
    rows = np.zeros(len(targets), np.bool_)
    for bar in range(targets.bars):
        there = (targets.bar == bar) & scene.played.answered & (targets.graces == 0)
        rows[scene.chance.choice(np.flatnonzero(there))] = True
    free = next(name for name in ELSEWHERE if name not in targets.voices)
    voice = np.where(rows, STAFF_ORDER[free], scene.played.voice).astype(np.int16)
    return Faulty(replace(scene.played, voice=voice), frozenset({"wrong_drum"}))


def one_in_eight(scene: Scene, _: float) -> Faulty | None:
    """A place missed twice in sixteen times is no habit."""
    rows = scene.a_place(~scene.targets.optional)
    if rows is None:
        return None
    gone = np.zeros(len(rows), np.bool_)
    gone[np.flatnonzero(rows)[::8]] = True
    return Faulty(scene.played.without(gone), frozenset({"clean"}))


NAMED = (
    Named(name="all late", inject=faults.everything_off, size=40.0, words="measure the latency"),
    Named(name="all early", inject=faults.everything_off, size=-40.0, words="ahead of the click"),
    Named(name="all far late", inject=faults.everything_off, size=110.0, words="everything is"),
    Named(name="all far early", inject=faults.everything_off, size=-110.0, words="everything is"),
    Named(name="a little faster", inject=faults.another_tempo, size=0.4, words="0.4 % faster"),
    Named(name="faster", inject=faults.another_tempo, size=1.0, words="faster than the click"),
    Named(name="far faster", inject=faults.another_tempo, size=4.0, words="4.0 % faster"),
    Named(name="creeping", inject=faults.creeping_tempo, size=4.0, words="you rush: the tempo"),
    Named(name="dragging", inject=faults.creeping_tempo, size=-4.0, words="you drag: the tempo"),
    Named(name="kick late at one place", inject=kick_at_one_place, size=30.0, words="late"),
    Named(name="one ghost note up", inject=faults.one_ghost_loud, size=0.75, words="is too loud"),
    Named(name="all ghost notes up", inject=faults.all_ghosts_loud, size=0.75, words="too near"),
    Named(name="ghosts as back-beats", inject=faults.all_ghosts_loud, words="too near"),
    Named(name="scatter", inject=faults.uneven_time, size=32.0, words="unevenly"),
    Named(name="swing straight", inject=faults.played_straight, words="too straight"),
    Named(name="straight swung", inject=faults.played_swung, words="written straight"),
    Named(name="all closed", inject=faults.hats_closed, words="stays closed"),
    Named(name="all open", inject=faults.hats_open, words="is open where"),
    Named(name="flat flams", inject=faults.flam_at, size=5.0, words="flat"),
    Named(name="wide flams", inject=faults.flam_at, size=90.0, words="wide"),
    Named(name="grace as loud", inject=faults.grace_loud, size=0.0, words="as loud as the main"),
    Named(name="missing grace", inject=faults.grace_missing, words="no grace stroke is heard"),
    Named(name="open drags", inject=faults.drag_open, words="like measured notes"),
    Named(name="one voice missing", inject=faults.missed_voice, words="not heard"),
    Named(name="stopped", inject=faults.stopped_after, size=4.0, words="heard after bar 4"),
    Named(name="lost an eighth", inject=faults.lost_an_eighth, size=3.0, words="in bar 3"),
    Named(name="a stop, and on", inject=faults.hesitated, size=0.4, words="0.4 s"),
    Named(name="half tempo", inject=faults.half_tempo, words="half the tempo"),
    Named(name="double tempo", inject=faults.double_tempo, words="twice the tempo"),
    Named(name="double triggers", inject=faults.double_triggers, size=0.15, words="not you"),
    Named(name="accents under taps", inject=faults.accents_flat, size=-0.4, words="softer than"),
    Named(name="another pattern", inject=faults.another_pattern, words="another pattern"),
    Named(name="nothing", inject=faults.nothing_played, words="nothing was heard"),
    Named(name="wrong drums", inject=wrong_drum_in_every_bar, words="now here and now there"),
    Named(name="uneven kick or snare", inject=faults.uneven_loudness, size=11.0, words="uneven"),
    Named(name="kick gone soft", inject=faults.kick_soft_under_ghosts, size=12.0, words="softer"),
    Named(name="one in eight", inject=one_in_eight, words="to be a habit"),
)


def told_of(named: Named) -> Iterator[tuple[str, frozenset[str], Finding]]:
    """The pattern, the honest codes, and what is told first."""
    made = 0
    for number, (name, pattern) in enumerate(sorted(grooves().items())):
        if made == PATTERNS:
            return
        chance = np.random.default_rng([5, number])
        played = simulated(pattern, "professional", number)
        scene = Scene(pattern=pattern, played=played, chance=chance)
        fault = named.inject(scene, named.size)
        if fault is not None:
            made += 1
            first = graded(pattern, scene.targets, fault.hits).findings[0]
            yield name, fault.codes, first


@pytest.mark.parametrize("named", NAMED, ids=lambda named: named.name)
def test_a_fault_with_a_name_is_told_first_and_in_its_words(named: Named) -> None:
    found = list(told_of(named))
    assert found
    for pattern, honest, first in found:
        assert str(first.code) in honest, (pattern, first.text)
        assert named.words in first.text[0].lower() + first.text[1:], (pattern, first.text)
        if first.low is not None and first.high is not None and first.value is not None:
            assert first.low <= first.value <= first.high, (pattern, first)
