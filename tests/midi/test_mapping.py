"""From MIDI messages to hits, and to words for a live view."""

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.midi.hits import Hit, Hits
from playalong.midi.mapping import Heard, Mapper, hits_of
from playalong.midi.pads import Guard, Pads, Pedal
from playalong.pattern.voices import VOICES

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
        bytes((0x99, 38, 200)),  # no value of a message is above 127
        bytes((0x99, 138, 100)),
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


def notes(mapper, *rows):
    """The voices of (time in ms, note, velocity), None where there was no hit."""
    hits = [mapper.hit(ms / 1000.0, bytes((0x99, note, speed))) for ms, note, speed in rows]
    return [hit and hit.voice for hit in hits]


# Pads.


def test_a_profile_says_what_a_note_means():
    mapper = Mapper(Pads({38: "kick", 99: "foot-splash"}))
    assert notes(mapper, (0, 38, 90), (1, 99, 90), (2, 36, 90)) == ["kick", "foot-splash", "kick"]
    assert notes(mapper, (3, 98, 90)) == [None]
    assert mapper.unknown == {98: 1}


@pytest.mark.parametrize("note", [42, 22, 46, 26])
@pytest.mark.parametrize(
    ("value", "voice"), [(127, "hi-hat"), (64, "hi-hat-half"), (5, "hi-hat-open")]
)
def test_the_pedal_decides_once_it_was_heard(note, value, voice):
    mapper = Mapper()
    mapper.hit(0.0, bytes((0xB9, 4, value)))
    assert notes(mapper, (1, note, 90)) == [voice]


def test_until_the_pedal_was_heard_on_the_channel_the_number_decides():
    mapper = Mapper()
    mapper.hit(0.0, bytes((0xB3, 4, 0)))
    assert notes(mapper, (1, 42, 90), (2, 46, 90)) == ["hi-hat", "hi-hat-open"]


def test_the_pedal_decides_of_the_hi_hat_alone():
    mapper = Mapper()
    mapper.hit(0.0, bytes((0xB9, 4, 0)))
    assert notes(mapper, (1, 44, 90), (2, 38, 90)) == ["hi-hat-pedal", "snare"]


def test_a_pedal_may_count_the_other_way_round():
    mapper = Mapper(Pads(pedal=Pedal(open=120, closed=10)))
    mapper.hit(0.0, bytes((0xB9, 4, 10)))
    assert notes(mapper, (1, 46, 90)) == ["hi-hat"]


# Guards.

GUARDED = Pads(guards={"snare": Guard(30.0, 12.0)})


@pytest.mark.parametrize(
    ("rows", "voices"),
    [
        ([(0, 38, 90), (29, 38, 40)], ["snare", None]),  # a double trigger
        ([(0, 38, 90), (29, 38, 90)], ["snare", None]),  # as loud
        ([(0, 38, 90), (30, 38, 90)], ["snare", "snare"]),  # late enough
        ([(0, 38, 40), (20, 38, 90)], ["snare", "snare"]),  # a flam: louder
        ([(0, 38, 90), (29, 38, 40), (45, 38, 40)], ["snare", None, "snare"]),  # from the hit on
        ([(0, 38, 90), (10, 40, 50)], ["snare", None]),  # the rim of the same pad
        ([(0, 38, 90), (10, 36, 50)], ["snare", "kick"]),  # another pad
        ([(0, 36, 90), (10, 36, 50)], ["kick", "kick"]),  # without a guard
        ([(0, 38, 11), (10, 38, 12)], [None, "snare"]),  # under the threshold, and on it
        ([(0, 38, 90), (5, 38, 11), (40, 38, 20)], ["snare", None, "snare"]),
    ],
)
def test_a_guard_keeps_out_what_nobody_played(rows, voices):
    assert notes(Mapper(GUARDED), *rows) == voices


# Words.


def heard(*messages, pads=None):
    mapper = Mapper(pads)
    return [mapper.heard(0.01 * at, bytes(data)) for at, data in enumerate(messages)]


def test_a_hit_in_words():
    (told,) = heard((0x99, 38, 92))
    assert told.words == "note 38, velocity 92, channel 10"
    assert (told.note, told.velocity, told.voice) == (38, 92.0, "snare")
    assert told.hit == Hit(0.0, "snare", 92.0)
    assert told.dropped == ""


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ((0xB9, 4, 127), "pedal 127: closed"),
        ((0xB9, 4, 64), "pedal 64: half open"),
        ((0xB9, 4, 0), "pedal 0: open"),
        ((0xB9, 1, 7), "controller 1, value 7, channel 10"),
        ((0x89, 38, 0), "note 38 ends, channel 10"),
        ((0x90, 38, 0), "note 38 ends, channel 1"),
        ((0xC0, 5), "program 5, channel 1"),
        ((0xE0, 0, 64), "pitch bend, channel 1"),
        ((0x99, 38), "a message that is not whole"),
        ((), "a message that is not whole"),
        ((38, 100, 38), "a message that is not whole"),
        ((0xFE,), ""),  # active sensing
        ((0xF8,), ""),  # clock
        ((0xF0, 1, 2, 0xF7), ""),
    ],
)
def test_what_is_no_hit_in_words(data, words):
    (told,) = heard(data)
    assert told.words == words
    assert told == Heard(time_s=0.0, data=bytes(data), pedal=told.pedal)
    assert bool(told.pedal) == words.startswith("pedal")


@pytest.mark.parametrize(
    ("data", "words", "voice"),
    [
        ((0xA9, 49, 127), "choke of the crash", "crash"),
        ((0xA9, 49, 0), "the crash let go", "crash"),
        ((0xA9, 99, 127), "choke of note 99", None),
        ((0xD9, 127), "choke, channel 10", None),
    ],
)
def test_a_choke_is_no_hit(data, words, voice):
    (told,) = heard(data)
    assert (told.words, told.voice, told.hit, told.dropped) == (words, voice, None, "choke")


def test_what_was_dropped_is_told():
    first, double, soft, unknown = heard(
        (0x99, 38, 90), (0x99, 38, 30), (0x99, 38, 3), (0x99, 99, 90), pads=GUARDED
    )
    assert first.hit is not None
    assert [one.dropped for one in (first, double, soft, unknown)] == [
        "",
        "double trigger",
        "too soft",
        "unknown pad",
    ]
    assert [one.voice for one in (double, soft, unknown)] == ["snare", "snare", None]
    assert (double.hit, soft.hit, unknown.hit) == (None, None, None)


def test_a_finer_velocity_is_told():
    _, told = heard((0xB9, 88, 64), (0x99, 38, 90))
    assert told.words == "note 38, velocity 90.5, channel 10"
    assert told.velocity == 90.5


STREAMS = st.lists(
    st.tuples(
        st.floats(0.0, 0.05),
        st.one_of(
            st.tuples(st.sampled_from([0x99, 0x90]), st.integers(35, 47), st.integers(0, 127)),
            st.tuples(st.just(0xB9), st.sampled_from([4, 88]), st.integers(0, 127)),
            st.tuples(st.integers(0, 255), st.integers(0, 255), st.integers(0, 255)),
        ).map(bytes)
        | st.binary(max_size=4),
    ),
    max_size=40,
)
ANY_PADS = st.sampled_from(
    [
        Pads(),
        GUARDED,
        Pads({38: "kick"}, Pedal(90, 20), {"hi-hat": Guard(20.0), "kick": Guard(40.0, 30.0)}),
    ]
)


def in_time(stream):
    at_s = 0.0
    for gap_s, data in stream:
        at_s += gap_s
        yield at_s, data


@given(STREAMS, ANY_PADS)
def test_the_live_view_sees_the_hits_that_are_graded(stream, pads):
    graded, seen = Mapper(pads), Mapper(pads)
    for at_s, data in in_time(stream):
        hit = graded.hit(at_s, data)
        told = seen.heard(at_s, data)
        assert told.hit == hit
        assert (told.note is None) or 0 <= told.note <= 127
        assert "\n" not in told.words
    assert graded.unknown == seen.unknown


@given(STREAMS, ANY_PADS)
def test_kept_messages_give_the_hits_that_were_played(stream, pads):
    mapper = Mapper(pads)
    messages = [(at_s + 2.0, data) for at_s, data in in_time(stream)]
    live = [mapper.hit(at_s - 2.0, data) for at_s, data in messages]
    again, unknown = hits_of(messages, pads, 2.0)
    once = Hits.of(hit for hit in live if hit)
    assert [again[row] for row in range(len(again))] == [once[row] for row in range(len(once))]
    assert unknown == mapper.unknown
