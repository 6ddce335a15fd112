"""MIDI messages as bytes: the one table of status bytes, lengths and controllers, and what follows.

Source: MIDI 1.0 Detailed Specification, table 1 (channel voice messages), table 3 (controllers) and
table 5 (real time messages); CA-031, High Resolution Velocity Prefix, from memory. A status byte is
a kind in its upper half and, below ``SYSTEM``, a channel in its lower half. Channels count from 1
to 16, as a kit shows them; every other value goes from 0 to 127.

No other module knows a status byte. What comes in may be any bytes: no function here raises over
them.
"""

#: The two halves of a status byte.
KIND_BITS, CHANNEL_BITS = 0xF0, 0x0F

NOTE_OFF = 0x80
NOTE_ON = 0x90
KEY_PRESSURE = 0xA0
CONTROL_CHANGE = 0xB0
PROGRAM_CHANGE = 0xC0
CHANNEL_PRESSURE = 0xD0
PITCH_BEND = 0xE0
#: From here on a message has no channel: clock, active sensing, a maker's own.
SYSTEM = 0xF0
#: A maker's own message begins and ends so (system exclusive).
EXCLUSIVE, END_OF_EXCLUSIVE = 0xF0, 0xF7
ACTIVE_SENSING = 0xFE

#: How many bytes a channel message has, its status byte counted.
LENGTHS = {
    NOTE_OFF: 3,
    NOTE_ON: 3,
    KEY_PRESSURE: 3,
    CONTROL_CHANGE: 3,
    PROGRAM_CHANGE: 2,
    CHANNEL_PRESSURE: 2,
    PITCH_BEND: 3,
}

#: Controllers: where a pedal stands, and 7 more bits for the velocity of the next note-on.
FOOT_CONTROLLER, VELOCITY_PREFIX = 4, 88

#: The highest data byte; velocities of strokes go from 1 to it.
HIGHEST = 127

#: The channel of drums (General MIDI Level 1).
PERCUSSION_CHANNEL = 10

SENSING = bytes((ACTIVE_SENSING,))


def note_on(channel: int, note: int, velocity: int) -> bytes:
    """A note begins; with velocity 0 it ends."""
    return _message(NOTE_ON, channel, note, velocity)


def note_off(channel: int, note: int) -> bytes:
    """A note ends."""
    return _message(NOTE_OFF, channel, note, 0)


def control_change(channel: int, controller: int, value: int) -> bytes:
    """A controller stands at ``value``."""
    return _message(CONTROL_CHANGE, channel, controller, value)


def kind_of(data: bytes) -> int:
    """The kind of a message, one of the constants above; 0 where it has no status byte."""
    return data[0] & KIND_BITS if data and data[0] >= NOTE_OFF else 0


def channel_of(data: bytes) -> int:
    """The channel of a channel message, 1 to 16."""
    return (data[0] & CHANNEL_BITS) + 1


def is_sensing(data: bytes) -> bool:
    """Whether a module says only that it is still there."""
    return data == SENSING


def is_stroke(data: bytes) -> bool:
    """Whether a whole message begins a note: a note-on of velocity 0 ends one (MIDI 1.0)."""
    return len(data) == 3 and kind_of(data) == NOTE_ON and data[2] > 0


def has_note(data: bytes) -> bool:
    """Whether the second byte of a message is a note's number."""
    return len(data) > 1 and kind_of(data) in (NOTE_OFF, NOTE_ON, KEY_PRESSURE)


def whole(data: bytes) -> bytes:
    """The channel message with which ``data`` begins; empty where there is none, or not all of it.

    Some drivers pad a short message with zeros: what follows it is left out.
    """
    message = data[: LENGTHS.get(kind_of(data), 0)]
    is_whole = message and len(message) == LENGTHS[kind_of(message)]
    return message if is_whole and max(message[1:]) <= HIGHEST else b""


def _message(kind: int, channel: int, *values: int) -> bytes:
    return bytes((kind | channel - 1, *values))
