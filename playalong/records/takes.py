"""Takes: the hits of one run, kept as a Standard MIDI File.

Reads what any sequencer writes: format 0 and 1 (of format 2 the first track with notes), running
status, note-on with velocity 0, tempo changes in any track, SMPTE time. Where channel 10 has
notes only it counts, being the percussion channel of General MIDI; otherwise, and in a take of
our own, every channel does, as it does live.
Controller 88 before a note-on adds to its velocity (CA-031, High Resolution Velocity Prefix, from
memory): velocity + value / 128.

A take of our own is a format 0 file with one tempo, the pattern's, so that its bars lie right in
a sequencer. It starts with the count-in. A text event, ``playalong`` and a JSON object, says how
it was played and where bar 1 is; without it the take is still a take.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from io import BytesIO
from pathlib import Path
from typing import Any, Self

import mido
import numpy as np
from numpy.typing import NDArray

from playalong.midi.hits import refined
from playalong.midi.messages import (
    CHANNEL_BITS,
    CONTROL_CHANGE,
    KIND_BITS,
    NOTE_ON,
    PERCUSSION_CHANNEL,
    VELOCITY_PREFIX,
    whole,
)
from playalong.records.midi_file import TooLargeError, Track, parse
from playalong.support.errors import UserError
from playalong.support.files import FileError, write_new_file
from playalong.support.reading import MOST_MIDI, read_bytes, telling

#: Ticks to a quarter note: at 20 bpm one lasts 0.1 ms, so no time is more than 0.05 ms off.
TICKS_PER_QUARTER = 30_000

_MARK = "playalong "
#: Channels count from 0 in a status byte.
_PERCUSSION = PERCUSSION_CHANNEL - 1
_DEFAULT_TEMPO_US = 500_000
#: The slowest tempo that a file can say: three bytes of microseconds to a quarter note.
_SLOWEST_US = 0xFFFFFF

#: No tick is later: a thousand of the longest times that one event can have (RP-001: four bytes).
_LAST_TICK = 1_000 * 0x0FFF_FFFF

#: Messages with the time of each in seconds.
Messages = tuple[tuple[float, bytes], ...]


class TakeError(UserError):
    """A take that cannot be read or kept."""


@dataclass(frozen=True, kw_only=True)
class Take:
    """The note-ons of a take, sorted by time; arrays of m.

    ``time_s`` float64 from the start of the file; ``note`` int64; ``velocity`` float64, 1 to
    127. ``info`` is what a take of our own says of itself, else empty; ``notices`` what a person
    should know of how it was read.
    """

    time_s: NDArray[np.float64]
    note: NDArray[np.int64]
    velocity: NDArray[np.float64]
    info: Mapping[str, Any] = field(default_factory=dict)
    notices: tuple[str, ...] = ()
    _messages: Callable[[], Messages] = field(default=tuple, repr=False, compare=False)

    @cached_property
    def messages(self) -> Messages:
        """The channel messages behind the notes, pedal, prefixes, aftertouch and all.

        (seconds from the start of the file, as ``time_s``; the bytes), sorted by time, those of
        one moment as they came.
        """
        return self._messages()

    @property
    def start_s(self) -> float:
        """Where bar 1 starts in the file, in seconds: 0 unless the take says otherwise."""
        start = self.info.get("start_s")
        return float(start) if isinstance(start, int | float) else 0.0


def tick_seconds(ticks: Any, tempo_us: Any, ticks_per_quarter: int) -> Any:
    """Ticks at one tempo, numbers or arrays, in seconds: one formula to write and to read."""
    return ticks * (tempo_us / 1e6 / ticks_per_quarter)


def read(path: Path) -> Take:
    """The take in the file at ``path``; TakeError says in one line what is wrong with it."""
    with telling(path, TakeError):
        data = read_bytes(path, MOST_MIDI)
    return from_bytes(data, path)


def from_bytes(data: bytes, path: Path | str) -> Take:
    """The take that ``data`` holds; TakeError calls it ``path``."""
    try:
        file = parse(data)
    except TooLargeError as error:
        raise TakeError(f"{path} is too large to be read: {error}.") from None
    except EOFError:
        raise TakeError(
            f"{path} is cut off: it ends in the middle of a track. Save or copy it again."
        ) from None
    except Exception as error:  # a parser may stumble in any way over bytes that mean nothing
        reason = str(error).strip().rstrip(".")[:80] or type(error).__name__
        raise TakeError(
            f"{path} is no Standard MIDI File ({reason}): save the take as .mid."
        ) from None
    tracks = file.tracks
    if file.format == 2:
        tracks = [next((track for track in tracks if track.has_notes), Track())]
    if not file.division & (0xFF if file.division < 0 else 0x7FFF):
        raise TakeError(f"{path} does not say how long a tick lasts: save the take again.")
    if any(track.last_tick > _LAST_TICK for track in tracks):
        raise TakeError(f"{path} is no take: it would last for years. Save or copy it again.")
    events = _Events(tracks)
    if not events.notes and not events.info:  # in a run of ours nothing may have been played
        raise TakeError(f"The take {path} is empty: it holds no note.")
    return events.take(file.division)


class _Events:
    """What counts in the tracks of a file: notes, tempi, and what the take says of itself."""

    def __init__(self, tracks: Sequence[Track]) -> None:
        self.notes: list[tuple[int, int, int, float]] = []  # tick, channel, note, velocity
        self.info: dict[str, Any] = {}
        self.messages = [row for track in tracks for row in track.messages]
        self.tempi = [row for track in tracks for row in track.tempi]
        for track in tracks:
            self._read_notes(track.messages)
            for text in track.texts:
                if text.startswith(_MARK):
                    self._read_info(text[len(_MARK) :])

    def _read_notes(self, messages: Iterable[tuple[int, bytes]]) -> None:
        fine: dict[int, int] = {}
        for tick, data in messages:
            kind, channel = data[0] & KIND_BITS, data[0] & CHANNEL_BITS
            if kind == NOTE_ON and data[2]:
                velocity = refined(data[2], fine.pop(channel, 0))
                self.notes.append((tick, channel, data[1], velocity))
            elif kind == CONTROL_CHANGE and data[1] == VELOCITY_PREFIX:
                fine[channel] = data[2]

    def _read_info(self, text: str) -> None:
        try:
            info = json.loads(text)
        except (ValueError, RecursionError):  # somebody else's words
            return
        if isinstance(info, dict):
            self.info = {key: value for key, value in info.items() if _can_be(value)}

    def take(self, division: int) -> Take:
        notices: tuple[str, ...] = ()
        rows = sorted(self.notes)
        only: int | None = None
        if not self.info and any(channel == _PERCUSSION for _, channel, _, _ in rows):
            others = sum(channel != _PERCUSSION for _, channel, _, _ in rows)
            rows = [row for row in rows if row[1] == _PERCUSSION]
            only = _PERCUSSION
            if others:
                notices = (f"Only channel 10 was read; {others} notes on others were left out.",)
        return Take(
            time_s=self._seconds(np.array([row[0] for row in rows], np.int64), division),
            note=np.array([row[2] for row in rows], np.int64),
            velocity=np.array([row[3] for row in rows], np.float64),
            info=self.info,
            notices=notices,
            _messages=lambda: self._in_seconds(division, only),
        )

    def _in_seconds(self, division: int, only: int | None) -> Messages:
        """The messages in order, of one channel or of all."""
        rows = [row for row in self.messages if only is None or row[1][0] & 0x0F == only]
        rows.sort(key=lambda row: row[0])
        times = self._seconds(np.array([tick for tick, _ in rows], np.int64), division)
        return tuple(zip(times.tolist(), (data for _, data in rows), strict=True))

    def _seconds(self, tick: NDArray[np.int64], division: int) -> NDArray[np.float64]:
        if division < 0:  # SMPTE: the high byte is minus the frames, the low one ticks a frame
            frames, parts = -(division >> 8), division & 0xFF
            rate = Fraction(30_000, 1001) if frames == 29 else Fraction(frames)
            return np.asarray(tick / float(rate * parts))
        # Of several at one tick the last one holds.
        changes = list(dict(sorted(self.tempi, key=lambda change: change[0])).items())
        if not changes or changes[0][0] > 0:
            changes.insert(0, (0, _DEFAULT_TEMPO_US))
        at = np.array([change[0] for change in changes])
        tempo = [change[1] for change in changes]
        begin_s = np.zeros(len(at))
        for index in range(1, len(at)):
            passed = at[index] - at[index - 1]
            begin_s[index] = begin_s[index - 1] + tick_seconds(passed, tempo[index - 1], division)
        which = np.searchsorted(at, tick, side="right") - 1
        after = tick - at[which]
        return np.asarray(begin_s[which] + tick_seconds(after, np.array(tempo)[which], division))


def _can_be(value: Any) -> bool:
    """False for a number that no run can have: not a number, or beyond all bounds."""
    return not isinstance(value, int | float) or abs(value) < 1e9


class Recording:
    """A take in the making: keeps raw messages, and says what time they will have in the file.

    Times are in seconds from bar 1, which lies ``lead_s`` into the file.
    """

    def __init__(
        self, tempo_bpm: float, unit: Fraction, lead_s: float, *, info: Mapping[str, Any]
    ) -> None:
        self._tempo_us = min(round(60e6 / (tempo_bpm * float(unit) * 4)), _SLOWEST_US)
        self._lead = round(lead_s / self._seconds(1))
        self._messages: list[tuple[int, bytes]] = []
        self.info: dict[str, Any] = {**info, "start_s": self._seconds(self._lead)}
        #: Told of every message that is kept: its tick, and its bytes.
        self.listener: Callable[[int, bytes], None] = lambda _tick, _data: None

    def _seconds(self, ticks: int) -> float:
        return float(tick_seconds(ticks, self._tempo_us, TICKS_PER_QUARTER))

    def keep(self, time_s: float, data: bytes) -> float:
        """Keep one message; returns its time from bar 1 as the file will give it back.

        What is no whole channel message has no place in a file, and is left out.
        """
        tick = max(0, self._lead + round(time_s / self._seconds(1)))
        message = whole(data)
        if message:
            self._messages.append((tick, message))
            self.listener(tick, message)
        return self._seconds(tick) - float(self.info["start_s"])

    def take(self) -> Take:
        """The take as it stands, just as ``read`` would give it back."""
        track = Track(self._in_order(), [(0, self._tempo_us)], [self._text()])
        return _Events([track]).take(TICKS_PER_QUARTER)

    def as_bytes(self) -> bytes:
        """The take as a Standard MIDI File."""
        file = mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_QUARTER)
        file.tracks.append(self._track())
        data = BytesIO()
        file.save(file=data)
        return data.getvalue()

    @property
    def seconds(self) -> float:
        """How long the take is, from its beginning to its last message."""
        return self._seconds(max((tick for tick, _ in self._messages), default=0))

    def as_plain(self) -> dict[str, Any]:
        """All but the messages, as plain objects: what ``resumed`` takes."""
        return {"tempo_us": self._tempo_us, "info": dict(self.info)}

    @classmethod
    def resumed(cls, plain: Mapping[str, Any], messages: Iterable[tuple[int, bytes]]) -> Self:
        """The recording of which ``as_plain`` and ``listener`` told, as far as they did."""
        info = dict(plain["info"])
        found = cls(60.0, Fraction(1, 4), 0.0, info=info)
        found._tempo_us = int(plain["tempo_us"])
        found._lead = round(float(info["start_s"]) / found._seconds(1))
        found._messages = list(messages)
        found.info = info
        return found

    def save(self, folder: Path, name: str) -> Path:
        """Write the take into ``folder`` under a new name that starts with ``name``.

        TakeError when it cannot be written; nothing half written is left, nothing overwritten.
        """
        try:
            return write_new_file(folder, f"{name}.mid", self.as_bytes())
        except FileError as error:
            raise TakeError(f"The take cannot be written to {folder} ({error.reason}).") from None

    def _in_order(self) -> list[tuple[int, bytes]]:
        return sorted(self._messages, key=lambda row: row[0])

    def _text(self) -> str:
        return _MARK + json.dumps(self.info)

    def _track(self) -> Any:
        track = mido.MidiTrack()
        track.append(mido.MetaMessage("set_tempo", tempo=self._tempo_us))
        track.append(mido.MetaMessage("text", text=self._text()))
        last = 0
        for tick, data in self._in_order():
            track.append(mido.Message.from_bytes(data, time=tick - last))
            last = tick
        track.append(mido.MetaMessage("end_of_track"))
        return track
