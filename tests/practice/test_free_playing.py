"""Free playing: what was played is found, and judged as that."""

from itertools import product

import pytest

from playalong.grading.grade_run import grade
from playalong.grading.verdicts import Rules, Verdict
from playalong.midi.hits import Hits
from playalong.pattern.targets import lay_out
from playalong.practice.free_playing import SHOWN, as_played
from playalong.practice.variations.calling import mixed
from tests.helpers.exact_takes import as_list, faultless

from .making import pattern

TEMPO_BPM = 90.0

TWO = pattern(
    """
[[bar]]
hi-hat = "x-x- x-x- x-x- x-x-"
snare  = "---- X--- ---- X---"
kick   = "x--- ---- x-x- ----"
[variation.push]
kick = "---- ---- ---- ---x"
[variation.whispers]
snare = "---- -g-g ---- ----"
"""
)

WAYS = [(), ("push",), ("whispers",), ("push", "whispers")]


@pytest.mark.parametrize("ways", list(product(WAYS, repeat=2)))
def test_what_was_played_is_clean_as_what_it_was(ways):
    """Each bar with variations of its own: found, and without a fault."""
    bars = [ways[number % 2] for number in range(6)]
    hits = as_list(faultless(lay_out(mixed(TWO, bars), TEMPO_BPM)))
    found = as_played(TWO, hits, bars=6, tempo_bpm=TEMPO_BPM, rules=Rules())
    assert found.pattern.bars == tuple(TWO.with_variations(names)[0] for names in bars)
    for name in TWO.variations:
        played = tuple(number for number, names in enumerate(bars) if name in names)
        assert found.texture.used[name] == played
    targets = lay_out(found.pattern, TEMPO_BPM)
    told, run = grade(found.pattern, TEMPO_BPM, targets=targets, hits=Hits.of(hits), rules=Rules())
    assert told.counts.on_time == told.counts.targets
    repetition = found.repetition(run, TEMPO_BPM, 16.0)
    assert repetition.tally.is_faultless
    assert (repetition.worst, repetition.seconds) == (None, 16.0)
    assert set(repetition.never) == set(TWO.variations) - {name for names in bars for name in names}


def test_a_fault_is_held_against_no_stroke_of_the_exercise():
    """One bar lacks its first kick: a repetition that is not clean, and names no worst stroke."""
    hits = as_list(faultless(lay_out(mixed(TWO, [()] * 4), TEMPO_BPM)))
    hits.remove(next(hit for hit in hits if hit.voice == "kick" and hit.time_s > 1.0))
    found = as_played(TWO, hits, bars=4, tempo_bpm=TEMPO_BPM, rules=Rules())
    targets = lay_out(found.pattern, TEMPO_BPM)
    told, run = grade(found.pattern, TEMPO_BPM, targets=targets, hits=Hits.of(hits), rules=Rules())
    assert told.counts.missed == 1
    repetition = found.repetition(run, TEMPO_BPM, 10.0)
    assert (repetition.tally.stray, repetition.worst) == (1, None)


def test_nothing_is_shown_that_could_be_meant():
    assert {Verdict.MISSED, Verdict.EXTRA, Verdict.WRONG_DRUM}.isdisjoint(SHOWN)
    assert Verdict.LATE in SHOWN
