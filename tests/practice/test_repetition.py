"""Repetitions: what a grade comes to, from runs whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from playalong.grading.grade_run import grade
from playalong.grading.levels import LEVELS, Level
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import lay_out
from playalong.practice.excerpts import excerpt, whole_bars
from playalong.practice.phrases import text
from playalong.practice.repetition import (
    REQUIRED,
    UNLUCKY_OF,
    Lack,
    Repetition,
    Tally,
    lacks,
    repetition,
    together,
)
from tests.helpers.exact_takes import as_list, faultless

from .making import FOUR_BEATS, pattern

GROOVE = pattern(FOUR_BEATS)
#: The bar, and a bar of rest after it.
ONCE = excerpt(GROOVE, whole_bars(GROOVE), with_rest=True)
#: The strokes of the snare: 2, the ghost note on 3, 4, and the ghost note on the & of 4.
TARGETS = lay_out(ONCE, 90.0)
SNARE = [number for number, name in enumerate(TARGETS.names) if name == "snare"]
KICK_ON_3 = next(
    number
    for number, name in enumerate(TARGETS.names)
    if name == "kick" and TARGETS.written[number] == 0.5
)


def judged(played: Pattern, hits: Hits, seconds: float = 1.0) -> Repetition:
    grade_of, run = grade(played, 90.0, targets=lay_out(played, 90.0), hits=hits, rules=Rules())
    return repetition(run, played, 90.0, seconds=seconds, advice=grade_of.advice)


def result(hits: list[Hit]) -> Repetition:
    return judged(ONCE, Hits.of(hits), 5.0)


def is_clean(told: Repetition) -> bool:
    return told.tally.is_faultless


def changed(number: int, **changes: float) -> list[Hit]:
    """A faultless bar, but for one hit."""
    hits = as_list(faultless(TARGETS))
    hits[number] = replace(hits[number], **changes)
    return hits


def test_a_faultless_repetition_is_clean_and_steady() -> None:
    told = result(as_list(faultless(TARGETS)))
    assert is_clean(told)
    assert told.steady
    assert told.worst is None
    assert told.seconds == 5.0


@pytest.mark.parametrize("by_s", [-0.05, 0.05])
def test_a_stroke_off_time_is_not_clean_and_its_place_is_told(by_s: float) -> None:
    number = SNARE[0]
    told = result(changed(number, time_s=TARGETS.time_s[number] + by_s))
    assert not is_clean(told)
    assert told.worst is not None
    assert (told.worst.bar, float(told.worst.at), told.worst.voice) == (0, 0.25, "snare")
    assert told.advice


def test_a_missed_stroke_an_extra_hit_and_a_loud_ghost_note_are_not_clean() -> None:
    whole = as_list(faultless(TARGETS))
    extra = Hit(TARGETS.time_s[-1] + 0.4, "snare", 80.0)
    assert not is_clean(result(whole[1:]))
    assert not is_clean(result([*whole, extra]))
    assert not is_clean(result(changed(SNARE[1], velocity=112.0)))
    assert not is_clean(result([]))


def test_a_hit_in_the_rest_is_an_extra() -> None:
    whole = as_list(faultless(TARGETS))
    in_rest = float(TARGETS.bar_starts_s[1]) + 1.0
    assert not is_clean(result([*whole, Hit(in_rest, "kick", 80.0)]))


def test_a_flam_without_its_grace_stroke_is_not_clean() -> None:
    flam = pattern('[[bar]]\nsnare = "f - - -"')
    targets = lay_out(flam, 90.0)
    bare = as_list(faultless(targets))
    grace = Hit(bare[0].time_s - 0.03, "snare", 40.0)
    assert not is_clean(judged(flam, Hits.of(bare)))
    assert is_clean(judged(flam, Hits.of([*bare, grace])))


def test_ghost_note_and_bass_drum_together_are_both_told() -> None:
    ghost = SNARE[1]
    assert "stayed soft and the kick strong" in text(*result(as_list(faultless(TARGETS))).together)
    loud = text(*result(changed(ghost, velocity=112.0)).together)
    assert loud == "The ghost note of the snare on 3 is too loud over the kick."
    weak = text(*result(changed(KICK_ON_3, velocity=30.0)).together)
    assert weak == "The kick on 3 is too soft under the ghost note of the snare."
    hits = changed(ghost, velocity=112.0)
    hits[KICK_ON_3] = replace(hits[KICK_ON_3], velocity=30.0)
    assert text(*result(hits).together) == f"{loud} {weak}"


def test_a_missed_ghost_note_is_not_said_to_be_soft() -> None:
    hits = as_list(faultless(TARGETS))
    del hits[SNARE[1]]
    assert text(*result(hits).together) == ""


@pytest.mark.parametrize(
    ("percent", "steady"), [(0.0, True), (0.5, True), (3.0, False), (-3.0, False)]
)
def test_a_tempo_that_does_not_hold_is_not_steady(percent: float, steady: bool) -> None:
    loop = excerpt(GROOVE, whole_bars(GROOVE), [()] * 2)
    hits = faultless(lay_out(loop, 90.0))
    moved = Hits.sorted(hits.time_s / (1.0 + percent / 100.0), hits.voice, hits.velocity)
    assert judged(loop, moved).steady is steady


def test_a_tempo_that_bends_is_not_steady() -> None:
    loop = excerpt(GROOVE, whole_bars(GROOVE), [()] * 8)
    targets = lay_out(loop, 90.0)
    hits = faultless(targets)
    middle_s = targets.end_s / 2.0
    bent_s = hits.time_s + 0.055 * (((hits.time_s - middle_s) / middle_s) ** 2 - 0.5)
    jitter_s = 0.001 * np.random.default_rng(1).standard_normal(len(hits))
    bent = Hits.sorted(bent_s + jitter_s, hits.voice, hits.velocity)
    told = judged(loop, bent)
    assert is_clean(told)
    assert not told.steady


def test_what_is_asked_rises_with_the_level_but_for_the_narrower_tolerance() -> None:
    """More of what has to be there, and as loud as written; of the time, less within less."""
    asked = [REQUIRED[level] for level in Level]
    for field in ("played", "played_once", "loud", "loud_once"):
        values = [getattr(ask, field) for ask in asked]
        assert values == sorted(values), field
    for ask in asked:
        for field in ("played", "in_time", "loud"):
            assert 0.5 < getattr(ask, f"{field}_once") < getattr(ask, field) < 1.0
    within_ms = [LEVELS[level].tolerance_ms for level in Level]
    assert within_ms == sorted(within_ms, reverse=True)


@pytest.mark.parametrize("level", list(Level))
def test_clean_is_judged_over_repetitions_together(level: Level) -> None:
    def lack(*tallies: Tally) -> tuple[Lack, ...]:
        return lacks(tallies, level, 45.0, once=len(tallies) == 1)

    right, unlucky = Tally(strokes=12), Tally(strokes=12, stray=1, early_late=1, ill_sounding=1)
    bad = Tally(strokes=12, stray=12, early_late=0)
    assert lack(right) == ()
    assert lack(unlucky) == (), "one unlucky stroke of each kind is no failure"
    assert lack(right, right, unlucky, right) == ()
    assert lack(bad, bad, bad, right) == (Lack.PLAYED,), "a lucky bar is not enough"
    late = Tally(strokes=12, early_late=7)
    assert lack(late, late, late, right) == (Lack.TIMING,)
    loud = Tally(strokes=12, ill_sounding=7)
    assert lack(loud, loud, loud, right) == (Lack.LOUDNESS,)


def test_of_very_few_strokes_none_is_unlucky() -> None:
    few = Tally(strokes=UNLUCKY_OF - 1, stray=1)
    assert lacks([few], Level.BEGINNER, 60.0, once=True) == (Lack.PLAYED,)
    nothing = Tally(strokes=12, stray=12)
    assert lacks([nothing], Level.BEGINNER, 60.0, once=True) == (Lack.PLAYED,)


def test_bars_are_counted_apart_and_come_to_the_same_together() -> None:
    loop = excerpt(GROOVE, whole_bars(GROOVE), [()] * 3)
    hits = as_list(faultless(lay_out(loop, 90.0)))
    told = judged(loop, Hits.of([*hits[1:-1], Hit(hits[20].time_s + 0.12, "floor-tom", 90.0)]))
    assert len(told.bars) == 3
    assert [bar.stray for bar in told.bars] == [1, 1, 1]
    assert told.tally == together(told.bars)
    assert told.tally.strokes == len(hits)
