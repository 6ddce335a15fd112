"""Listening back: who is heard where, and that half speed changes times alone."""

import numpy as np
import pytest

from playalong.midi.hits import Hit
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.sound.device.output import part_of
from playalong.sound.listening import Panned, Which, listened
from playalong.sound.mix import Part
from playalong.sound.synth.click import Click, Kind, sample
from playalong.sound.synth.drums import stroke
from playalong.sound.synth.notes import Note, notes

RATE = 48_000

PATTERN = """
title = "A Test"
meter = "4/4"
tempo = 120
[[bar]]
hi-hat = "o x o -"
snare  = "- X - g"
kick   = "x - x -"
"""
TARGETS = lay_out(read(PATTERN, "a-test"), 120.0, 2)

HITS = [
    Hit(0.51, "snare", 115.0),
    Hit(-0.004, "hi-hat-open", 80.0),
    Hit(0.003, "kick", 90.0),
    Hit(0.497, "hi-hat-pedal", 70.0),
    Hit(1.02, "crash", 127.0),
]


@pytest.mark.parametrize("which", [Which.YOURS, Which.PATTERN])
@pytest.mark.parametrize("speed", [1.0, 0.5])
def test_one_alone_is_heard_as_it_is(which, speed):
    found = listened(HITS, TARGETS, which, speed=speed)
    expected = {
        Which.YOURS: [
            Note(time_s=-0.004, voice="hi-hat-open", velocity=80.0, until_s=0.497),
            Note(time_s=0.003, voice="kick", velocity=90.0),
            Note(time_s=0.497, voice="hi-hat-pedal", velocity=70.0),
            Note(time_s=0.51, voice="snare", velocity=115.0),
            Note(time_s=1.02, voice="crash", velocity=127.0),
        ],
        Which.PATTERN: notes(TARGETS),
    }[which]
    assert [(s.time_s, s.voice, s.velocity, s.until_s) for s in found] == [
        (n.time_s / speed, n.voice, n.velocity, n.until_s and n.until_s / speed) for n in expected
    ]


@pytest.mark.parametrize("speed", [1.0, 0.5])
def test_of_both_yours_is_left_and_the_pattern_right(speed):
    found = listened(HITS, TARGETS, Which.BOTH, speed=speed)
    sides = {"left": [], "right": []}
    for sound in found:
        frames = sound.frames(RATE)
        assert frames.shape == (len(frames), 2)
        heard = frames.any(axis=0)
        assert heard.sum() == 1  # on one side only
        side = "left" if heard[0] else "right"
        sides[side].append((sound.time_s, frames[:, 0 if heard[0] else 1]))
    for side, which in (("left", Which.YOURS), ("right", Which.PATTERN)):
        alone = listened(HITS, TARGETS, which, speed=speed)
        assert [time_s for time_s, _ in sides[side]] == [sound.time_s for sound in alone]
        for (_, frames), sound in zip(sides[side], alone, strict=True):
            assert np.array_equal(frames, sound.frames(RATE))
    times_s = [sound.time_s for sound in found]
    assert times_s == sorted(times_s)


def test_half_speed_lasts_twice_as_long_and_sounds_the_same():
    whole, half = (listened(HITS, TARGETS, Which.YOURS, speed=speed) for speed in (1.0, 0.5))
    for fast, slow in zip(whole, half, strict=True):
        assert slow.time_s == pytest.approx(2 * fast.time_s)
        shorter = min(len(fast.frames(RATE)), len(slow.frames(RATE)) - RATE // 100)
        # An open hi-hat is held for twice as long; up to its end it is the same sound.
        kept = shorter if fast.until_s is None else round(0.4 * RATE)
        assert np.array_equal(fast.frames(RATE)[:kept], slow.frames(RATE)[:kept])


def test_a_choked_cymbal_is_choked_again():
    chokes = [(1.3, "crash")]
    crash = listened(HITS, TARGETS, Which.YOURS, speed=0.5, chokes=chokes)[-1]
    assert crash.until_s == pytest.approx(2.6)
    assert len(crash.frames(RATE)) < len(stroke("crash", 127.0, RATE))


@pytest.mark.parametrize("which", list(Which))
def test_the_click_is_in_the_middle_and_belongs_to_the_mix(which):
    ticks = [Click(0.0, Kind.ONE), Click(0.5, Kind.BEAT)]
    without = listened(HITS, TARGETS, which, speed=0.5)
    found = listened(HITS, TARGETS, which, speed=0.5, clicks=ticks)
    assert [sound for sound in found if sound in without] == without
    added = [sound for sound in found if sound not in without]
    assert [sound.time_s for sound in added] == [0.0, 1.0]
    assert added == [Click(0.0, Kind.ONE), Click(1.0, Kind.BEAT)]
    assert {part_of(sound) for sound in added} == {Part.CLICK}


def test_nothing_played_is_nothing_heard():
    assert listened([], TARGETS, Which.YOURS) == []
    assert len(listened([], TARGETS, Which.BOTH)) == len(notes(TARGETS))


def test_a_panned_sound_begins_when_the_sound_does():
    sound = Panned(Click(1.25, Kind.BEAT), 0.25, 0.75)
    mono = sample(Kind.BEAT, RATE)
    assert sound.time_s == 1.25
    assert np.allclose(sound.frames(RATE), np.stack([0.25 * mono, 0.75 * mono], axis=1))
