"""From MIDI messages to hits."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.grading.hits import Hit
from playalong.kit.mapping import Mapper
from playalong.pattern.kit import VOICES

SNARE = bytes((0x99, 38, 100))


@pytest.mark.parametrize("voice", VOICES, ids=lambda voice: voice.name)
def test_a_note_on_is_a_hit_on_every_channel(voice):
    for channel, note in product(range(16), voice.notes):
        hit = Mapper().hit(1.25, bytes((0x90 | channel, note, 77)))
        assert hit == Hit(1.25, voice.name, 77.0)


@pytest.mark.parametrize("velocity", [1, 64, 127])
def test_velocities_are_taken_as_they_come(velocity):
    hit = Mapper().hit(0.0, bytes((0x99, 38, velocity)))
    assert hit is not None
    assert hit.velocity == velocity


@pytest.mark.parametrize(
    "data",
    [
        bytes((0x99, 38, 0)),  # velocity 0 is a note-off (MIDI 1.0)
        bytes((0x89, 38, 100)),
        bytes((0xA9, 49, 127)),  # a hand on a cymbal
        bytes((0xB9, 4, 90)),  # the hi-hat pedal on its way
        bytes((0xB9, 88, 90)),
        bytes((0xC9, 38)),
        bytes((0xD9, 38)),
        bytes((0xE9, 38, 100)),
        b"\xf8",
        b"\xfe",
        b"\xff",
        bytes((0xF2, 38, 100)),
        bytes((0xF0, 38, 100, 0xF7)),
        bytes((0x99, 38)),
        bytes((38, 100)),
        bytes((38, 100, 38)),  # no status: a driver has to put it in
        b"",
    ],
    ids=lambda data: data.hex() or "nothing",
)
def test_all_else_is_no_hit(data):
    mapper = Mapper()
    assert mapper.hit(0.0, data) is None
    assert not mapper.unknown


def test_notes_of_no_known_voice_are_counted():
    mapper = Mapper()
    for note in (39, 39, 81, 0):
        assert mapper.hit(0.0, bytes((0x99, note, 90))) is None
    mapper.hit(0.0, bytes((0x99, 39, 0)))
    assert dict(mapper.unknown) == {39: 2, 81: 1, 0: 1}


@pytest.mark.parametrize(
    ("messages", "velocity"),
    [  # CA-031, High Resolution Velocity Prefix (from memory)
        ([(0xB9, 88, 64)], 100.5),
        ([(0xB9, 88, 0)], 100.0),
        ([(0xB9, 88, 127), (0xB9, 88, 32)], 100.25),
        ([(0xB9, 88, 64), (0x99, 36, 90)], 100.0),  # spent on the note before
        ([(0xB9, 88, 64), (0x99, 39, 90)], 100.0),  # on an unknown one too
        ([(0xB9, 88, 64), (0x89, 38, 0), (0x99, 38, 0)], 100.5),  # but not on a note-off
        ([(0xB0, 88, 64)], 100.0),  # another channel's
        ([(0xB9, 4, 64)], 100.0),
    ],
)
def test_controller_88_adds_to_the_next_velocity(messages, velocity):
    mapper = Mapper()
    for message in messages:
        mapper.hit(0.0, bytes(message))
    hit = mapper.hit(0.0, SNARE)
    assert hit is not None
    assert hit.velocity == velocity


def test_no_velocity_is_above_127():
    mapper = Mapper()
    mapper.hit(0.0, bytes((0xB9, 88, 127)))
    assert mapper.hit(0.0, bytes((0x99, 38, 127))) == Hit(0.0, "snare", 127.0)


@given(st.lists(st.binary(max_size=4), max_size=30))
def test_no_bytes_make_it_stumble_or_spoil_the_next_hit(rows):
    mapper = Mapper()
    for data in rows:
        hit = mapper.hit(0.0, data)
        assert hit is None or 1.0 <= hit.velocity <= 127.0
    mapper.hit(0.0, SNARE)  # spends what a prefix may have left
    assert mapper.hit(0.0, SNARE) == Hit(0.0, "snare", 100.0)
