"""Standard MIDI Files as numbers: the channel messages, tempi and texts of each track.

Nearly all of a take is channel messages, and mido makes an object of each, which is most of what
grading a take would cost. So they are read here, by the grammar of Standard MIDI Files 1.0
(RP-001), and only they: mido reads every meta event, and the whole file anew as soon as a byte
stands where the grammar has none. What such a file means, and what is wrong with it, mido decides.

One thing differs: mido 1.3 takes an event that it does not know out of time, with the ticks before
it. They count here, as the standard has it.
"""

import re
from dataclasses import dataclass, field
from io import BytesIO
from struct import unpack_from
from typing import Any

import mido
from mido.midifiles.meta import build_meta_message

from playalong.midi.messages import (
    END_OF_EXCLUSIVE,
    EXCLUSIVE,
    HIGHEST,
    LENGTHS,
    NOTE_OFF,
    NOTE_ON,
    SYSTEM,
    kind_of,
)

#: What stands in place of a status byte in files alone (RP-001): a meta event.
_META = 0xFF
#: In files the end of a maker's own message begins an event as well.
_MAKERS = (EXCLUSIVE, END_OF_EXCLUSIVE)

#: No meta event or maker's message is longer: what claims to be is left to mido.
_LONGEST = 1_000_000

#: Of a file there are no more events than this; of one that is left to mido, no more bytes, since
#: mido takes thirty times as long, and no number of more.
MOST_EVENTS, MOST_FOR_MIDO, _LONGEST_NUMBER = 1_000_000, 500_000, 20_000

#: What an event that mido makes an object of takes longer than another.
_META_COST = 9

#: A number of more bytes is left to mido; by the standard it has four.
_NUMBER_BYTES = 10

#: How many data bytes follow each status byte of a channel message.
_DATA_BYTES = {kind | low: length - 1 for kind, length in LENGTHS.items() for low in range(16)}

_ENDLESS = re.compile(rb"[\x80-\xff]{%d}" % _LONGEST_NUMBER)


@dataclass(frozen=True, slots=True)
class Track:
    """One track: each thing with its tick, counted from the start of the track.

    ``messages`` are whole channel messages, ``tempi`` microseconds to a quarter note, ``texts``
    the words of text events.
    """

    messages: list[tuple[int, bytes]] = field(default_factory=list)
    tempi: list[tuple[int, int]] = field(default_factory=list)
    texts: list[str] = field(default_factory=list)

    @property
    def has_notes(self) -> bool:
        """Whether it has a note-on, of velocity 0 too."""
        return any(kind_of(data) == NOTE_ON for _, data in self.messages)

    @property
    def last_tick(self) -> int:
        """The tick of its last channel message or tempo."""
        return max((rows[-1][0] for rows in (self.messages, self.tempi) if rows), default=0)

    def add_other(self, tick: int, message: Any) -> None:
        """Add what mido made of an event, if it is a tempo or a text."""
        if message.type == "set_tempo":
            self.tempi.append((tick, message.tempo))
        elif message.type == "text":
            self.texts.append(message.text)


@dataclass(frozen=True, slots=True)
class MidiFile:
    """``format`` 0, 1 or 2; ``division`` as the header has it: ticks to a quarter note, or SMPTE
    where it is negative.
    """

    format: int
    division: int
    tracks: list[Track]


class TooLargeError(Exception):
    """A file with more in it than is read; the words say of what."""


class _IrregularError(Exception):
    """A byte that the grammar does not have here."""


def parse(data: bytes) -> MidiFile:
    """The file with these bytes.

    EOFError where it is cut off; TooLargeError; anything else that mido raises over bytes that
    mean nothing.
    """
    try:
        return _regular(data)
    except (_IrregularError, IndexError):
        if len(data) > MOST_FOR_MIDO:
            message = "it is damaged, and of such a file half a megabyte is the most"
            raise TooLargeError(message) from None
        if _ENDLESS.search(data):
            raise TooLargeError("it is damaged: a number in it does not end") from None
        return _as_mido_reads(data)


def _regular(data: bytes) -> MidiFile:
    if data[:4] != b"MThd" or len(data) < 14:
        raise _IrregularError
    size, kind, count, division = unpack_from(">Lhhh", data, 4)
    at, tracks, left = 8 + size, list[Track](), MOST_EVENTS
    if size < 6 or at > len(data):
        raise _IrregularError
    for _ in range(count):
        if data[at : at + 4] != b"MTrk" or at + 8 > len(data):
            raise _IrregularError
        (size,) = unpack_from(">L", data, at + 4)
        begin, at = at + 8, at + 8 + size
        if at > len(data):
            raise _IrregularError
        track, left = _track(data, begin, at, left=left)
        tracks.append(track)
    return MidiFile(kind, division, tracks)


def _track(data: bytes, at: int, end: int, *, left: int) -> tuple[Track, int]:
    """The track that lies from ``at`` to ``end``, and how many of the ``left`` events are left."""
    track = Track()
    add, sizes = track.messages.append, _DATA_BYTES
    tick, size, running = 0, 0, b""
    while at < end:
        if not left:
            raise TooLargeError(f"it has more than {MOST_EVENTS} events")
        left -= 1
        byte = data[at]
        at += 1
        if byte > HIGHEST:  # a quantity of several bytes; in place, since every event has one
            ticks, longest = byte & HIGHEST, at + _NUMBER_BYTES
            while byte > HIGHEST:
                if at > longest:
                    raise _IrregularError
                byte = data[at]
                at += 1
                ticks = ticks << 7 | byte & HIGHEST
            tick += ticks
        else:
            tick += byte
        status = data[at]
        if status < NOTE_OFF:  # running status: that of the message before
            message = running + data[at : at + size]
            at += size
        elif status < SYSTEM:
            size = sizes[status]
            running = data[at : at + 1]
            message = data[at : at + size + 1]
            at += size + 1
        elif status == _META:
            left = max(0, left - _META_COST)
            (length, body), kind = _quantity(data, at + 2), data[at + 1]
            at = body + length
            if at > end or length > _LONGEST:
                raise _IrregularError
            track.add_other(tick, _meta(kind, data[body:at]))
            continue
        elif status in _MAKERS:
            running = b""
            length, at = _quantity(data, at + 1)
            at += length
            if length > _LONGEST:
                raise _IrregularError
            continue
        else:
            raise _IrregularError
        if not running or message[1] > HIGHEST or (message[-1] > HIGHEST and size == 2):
            raise _IrregularError
        add((tick, message))
    if at != end:
        raise _IrregularError
    return track, left


def _quantity(data: bytes, at: int) -> tuple[int, int]:
    """The variable-length quantity at ``at``, and where it ends."""
    value, longest = 0, at + _NUMBER_BYTES
    while True:
        if at > longest:
            raise _IrregularError
        byte = data[at]
        at += 1
        value = value << 7 | byte & HIGHEST
        if byte <= HIGHEST:
            return value, at


def _meta(kind: int, body: bytes) -> Any:
    try:
        return build_meta_message(kind, list(body))
    except Exception:  # of many sorts, over a body that makes no sense
        raise _IrregularError from None


def _as_mido_reads(data: bytes) -> MidiFile:
    file = mido.MidiFile(file=BytesIO(data), clip=True)
    tracks = []
    for messages in file.tracks:
        track, tick = Track(), 0
        for message in messages:
            tick += message.time
            if message.is_meta:
                track.add_other(tick, message)
            elif (raw := bytes(message.bytes()))[0] < SYSTEM:
                track.messages.append((tick, raw))
        tracks.append(track)
    return MidiFile(file.type, file.ticks_per_beat, tracks)
