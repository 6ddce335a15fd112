"""Repetitions: what a grade comes to, from runs whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from playalong.midi.hits import Hit, Hits
from playalong.pattern.targets import lay_out
from playalong.practice.excerpts import excerpt, whole_bars
from playalong.practice.phrases import text
from playalong.practice.repetition import Repetition, repetition

from .making import FOUR_BEATS, as_list, faultless, graded, pattern

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


def result(hits: list[Hit]) -> Repetition:
    return repetition(graded(ONCE, Hits.of(hits)), ONCE, 5.0)


def changed(number: int, **changes: float) -> list[Hit]:
    """A faultless bar, but for one hit."""
    hits = as_list(faultless(TARGETS))
    hits[number] = replace(hits[number], **changes)
    return hits


def test_a_faultless_repetition_is_clean_and_steady() -> None:
    told = result(as_list(faultless(TARGETS)))
    assert told.clean
    assert told.steady
    assert told.worst is None
    assert told.seconds == 5.0


@pytest.mark.parametrize("by_s", [-0.05, 0.05])
def test_a_stroke_off_time_is_not_clean_and_its_place_is_told(by_s: float) -> None:
    number = SNARE[0]
    told = result(changed(number, time_s=TARGETS.time_s[number] + by_s))
    assert not told.clean
    assert told.worst is not None
    assert (told.worst.bar, float(told.worst.at), told.worst.voice) == (0, 0.25, "snare")
    assert told.advice


def test_a_missed_stroke_an_extra_hit_and_a_loud_ghost_note_are_not_clean() -> None:
    whole = as_list(faultless(TARGETS))
    extra = Hit(TARGETS.time_s[-1] + 0.4, "snare", 80.0)
    assert not result(whole[1:]).clean
    assert not result([*whole, extra]).clean
    assert not result(changed(SNARE[1], velocity=112.0)).clean
    assert not result([]).clean


def test_a_hit_in_the_rest_is_an_extra() -> None:
    whole = as_list(faultless(TARGETS))
    in_rest = float(TARGETS.bar_starts_s[1]) + 1.0
    assert not result([*whole, Hit(in_rest, "kick", 80.0)]).clean


def test_a_flam_without_its_grace_stroke_is_not_clean() -> None:
    flam = pattern('[[bar]]\nsnare = "f - - -"')
    targets = lay_out(flam, 90.0)
    bare = as_list(faultless(targets))
    grace = Hit(bare[0].time_s - 0.03, "snare", 40.0)
    assert not repetition(graded(flam, Hits.of(bare)), flam, 1.0).clean
    assert repetition(graded(flam, Hits.of([*bare, grace])), flam, 1.0).clean


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


def test_a_tempo_that_does_not_hold_is_not_steady() -> None:
    grade = graded(ONCE, faultless(TARGETS))
    for drift, steady in ((None, True), (0.5, True), (3.0, False), (-3.0, False)):
        kept = replace(grade.steadiness, drift_percent=drift)
        assert repetition(replace(grade, steadiness=kept), ONCE, 1.0).steady is steady


def test_a_tempo_that_bends_is_not_steady() -> None:
    loop = excerpt(GROOVE, whole_bars(GROOVE), [()] * 8)
    targets = lay_out(loop, 90.0)
    hits = faultless(targets)
    middle_s = targets.end_s / 2.0
    bent_s = hits.time_s + 0.055 * (((hits.time_s - middle_s) / middle_s) ** 2 - 0.5)
    jitter_s = 0.001 * np.random.default_rng(1).standard_normal(len(hits))
    bent = Hits.sorted(bent_s + jitter_s, hits.voice, hits.velocity)
    told = repetition(graded(loop, bent), loop, 1.0)
    assert told.clean
    assert not told.steady
