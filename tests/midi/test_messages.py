"""MIDI messages, held against mido's table of the specification (mido.messages.specs)."""

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mido.messages.specs import CHANNEL_MESSAGES, SPEC_BY_STATUS

from playalong.midi import messages

_KINDS = {
    "note_off": messages.NOTE_OFF,
    "note_on": messages.NOTE_ON,
    "polytouch": messages.KEY_PRESSURE,
    "control_change": messages.CONTROL_CHANGE,
    "program_change": messages.PROGRAM_CHANGE,
    "aftertouch": messages.CHANNEL_PRESSURE,
    "pitchwheel": messages.PITCH_BEND,
}


def test_the_kinds_are_those_of_the_specification() -> None:
    assert set(_KINDS) == {SPEC_BY_STATUS[status]["type"] for status in CHANNEL_MESSAGES}
    for status, spec in SPEC_BY_STATUS.items():
        data = bytes((status, 1, 2))
        if status in CHANNEL_MESSAGES:
            assert messages.kind_of(data) == _KINDS[spec["type"]]
            assert messages.LENGTHS[messages.kind_of(data)] == spec["length"]
            assert (
                messages.channel_of(data)
                == mido.Message.from_bytes(data[: spec["length"]]).channel + 1
            )
        else:
            assert messages.kind_of(data) == messages.SYSTEM
        assert messages.is_sensing(bytes((status,))) == (spec["type"] == "active_sensing")


@given(st.integers(1, 16), st.integers(0, 127), st.integers(0, 127))
def test_messages_are_made_as_mido_makes_them(channel: int, first: int, second: int) -> None:
    where = channel - 1
    on = mido.Message("note_on", channel=where, note=first, velocity=second)
    off = mido.Message("note_off", channel=where, note=first, velocity=0)
    turned = mido.Message("control_change", channel=where, control=first, value=second)
    assert messages.note_on(channel, first, second) == bytes(on.bytes())
    assert messages.note_off(channel, first) == bytes(off.bytes())
    assert messages.control_change(channel, first, second) == bytes(turned.bytes())


@given(st.binary(max_size=6))
def test_whole_gives_what_mido_takes_for_a_channel_message(data: bytes) -> None:
    def taken(length: int) -> bool:
        try:
            return hasattr(mido.Message.from_bytes(data[:length]), "channel")
        except (ValueError, IndexError):
            return False

    found = messages.whole(data)
    expected = [data[:length] for length in (2, 3) if len(data) >= length and taken(length)]
    assert found == (expected[0] if expected else b"")


@pytest.mark.parametrize(
    ("data", "stroke", "note"),
    [
        ((0x99, 38, 1), True, True),
        ((0x90, 38, 127), True, True),
        ((0x99, 38, 0), False, True),  # a note-on of velocity 0 ends the note (MIDI 1.0)
        ((0x99, 38), False, True),
        ((0x99,), False, False),
        ((0x89, 38, 64), False, True),
        ((0xA9, 49, 127), False, True),
        ((0xB9, 4, 64), False, False),
        ((0xD9, 127), False, False),
        ((0xFE,), False, False),
        ((38, 90), False, False),
        ((), False, False),
    ],
)
def test_what_a_message_is(data: tuple[int, ...], stroke: bool, note: bool) -> None:
    assert messages.is_stroke(bytes(data)) == stroke
    assert messages.has_note(bytes(data)) == note
    assert messages.kind_of(bytes(data)) in (0, messages.SYSTEM, *messages.LENGTHS)
