"""The timeline: sounds placed to the frame, rendered block by block.

It knows no device and no clock, only frames: 0 is the first that is rendered. What comes out does
not depend on the size of the blocks, to the last bit. One thread may place while another renders;
neither waits for more than a few microseconds.
"""

from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import count
from threading import Lock
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Frames = NDArray[np.float32]

#: Frames in a second, everywhere here.
RATE = 48_000


def gain(level_db: float) -> float:
    """The factor that makes ``level_db``, against full scale."""
    return float(10.0 ** (level_db / 20.0))


#: The loudest that comes out: 1 dB under full scale.
CEILING = gain(-1.0)

#: Up to here, 4 dB under full scale, the limiter changes nothing.
KNEE = gain(-4.0)

#: The level at which the sound starts: 18 dB under full, since ears come first.
QUIET_DB = -18.0
QUIET = gain(QUIET_DB)

#: How long a new level takes until it is reached: a step would crack.
RAMP_S = 0.02

#: In how long a stream rises that begins to sound in its middle: no crack, and a stroke there is
#: still a stroke.
RISE_S = 0.003

#: How long a stream that is cleared away takes to fall silent.
STOP_S = 0.02


class Stream(Protocol):
    """A long sound that is asked for block by block, so that it need not be one array."""

    def read(self, begin: int, count: int) -> Frames:
        """Its frames from ``begin`` (never negative) on, (count, 2); fewer where it ends before.

        The thread that renders asks, so it must be quick and must not fail.
        """
        ...


#: What can be placed: an array, mono (n,) or stereo (n, 2), that nobody changes afterwards; or a
#: stream.
Source = Frames | Stream


class _Whole:
    """An array that is read as a stream is."""

    def __init__(self, frames: Frames) -> None:
        self._columns = frames[:, np.newaxis] if frames.ndim == 1 else frames

    def read(self, begin: int, count: int) -> Frames:
        """Its frames, (n, 1) or (n, 2)."""
        return self._columns[begin : begin + count]


@dataclass(eq=False, slots=True, kw_only=True)
class Placed:
    """A sound on a timeline, by which it can be faded. The fields are the timeline's own."""

    start: int
    source: Stream
    gain: np.float32
    is_long: bool
    #: Which of the timeline's groups it belongs to.
    group: str = ""
    #: The frames over which it rises; none where it sounds from its own beginning.
    rise: tuple[int, int] | None = None
    #: Ways down to silence: first frame, and how many. Where there are several the lower counts.
    fades: tuple[tuple[int, int], ...] = ()
    #: It has been heard to its end, or was taken away.
    is_over: bool = False

    def part(self, begin: int, end: int) -> Frames:
        """What is heard of it from frame ``begin`` of the timeline to ``end``, or to its end."""
        fades = self.fades  # another thread may add one
        part: Frames = self.source.read(begin - self.start, end - begin) * self.gain
        self.is_over = len(part) < end - begin
        if self.rise is not None and begin < self.rise[1]:
            part *= risen(np.arange(begin, begin + len(part)), *self.rise)
        if fades:
            frames = np.arange(begin, begin + len(part))
            shares = [(first + length - frames) / length for first, length in fades]
            part *= np.minimum.reduce(shares).clip(0.0, 1.0).astype(np.float32)[:, np.newaxis]
            self.is_over |= min(first + length for first, length in fades) <= end
        return part


class Timeline:
    """Sounds placed on a row of frames."""

    def __init__(self, rate: int = RATE, level: float = QUIET) -> None:
        self.rate = rate
        self.rendered = 0
        self._lock = Lock()
        self._numbers = count()
        #: A heap by start, then by order of placing: sounds are always added in the same order.
        self._coming: list[tuple[int, int, Placed]] = []
        self._sounding: list[Placed] = []
        self._ramp = _Ramp(first=level, last=level, start=0, length=1)
        #: The level of each group that has had one, beside that of all.
        self._groups: dict[str, _Ramp] = {}

    @property
    def level(self) -> float:
        """The gain of all sounds, 0 to 1; a new one is reached within ``RAMP_S``."""
        return self._ramp.last

    @level.setter
    def level(self, level: float) -> None:
        with self._lock:
            self._ramp = self._towards(self._ramp, level)

    def set_group(self, group: str, level: float) -> None:
        """The gain of the sounds of ``group``, 1 until it is set; reached within ``RAMP_S``."""
        with self._lock:
            before = self._groups.get(group, _Ramp(first=1.0, last=1.0, start=0, length=1))
            if before.last != level:
                self._groups = {**self._groups, group: self._towards(before, level)}

    def _towards(self, before: "_Ramp", level: float) -> "_Ramp":
        now = self.rendered
        if not now:  # nothing is heard yet
            return _Ramp(first=level, last=level, start=0, length=1)
        begun = float(before.over(now, now + 1).item())
        return _Ramp(first=begun, last=level, start=now, length=round(RAMP_S * self.rate))

    def place(
        self, frame: int | None, sound: Source, gain: float = 1.0, *, group: str = ""
    ) -> Placed:
        """Let ``sound`` begin at ``frame``, or, where that is None, as soon as it can be.

        What would lie before the frames already rendered is left out; a stream then rises from
        there within ``RISE_S``. ``group`` is one whose level ``set_group`` sets.
        """
        is_long = not isinstance(sound, np.ndarray)
        source = _Whole(sound) if isinstance(sound, np.ndarray) else sound
        with self._lock:
            start = self.rendered if frame is None else frame
            placed = Placed(
                start=start, source=source, gain=np.float32(gain), is_long=is_long, group=group
            )
            if is_long and start < self.rendered:
                placed.rise = (self.rendered, self.rendered + round(RISE_S * self.rate))
            heappush(self._coming, (start, next(self._numbers), placed))
        return placed

    def fade(self, placed: Placed, frame: int | None, seconds: float) -> None:
        """Let a sound fall silent from ``frame`` on, or None from now on, within ``seconds``."""
        with self._lock:
            first = self.rendered if frame is None else max(frame, self.rendered)
            placed.fades = (*placed.fades, (first, max(1, round(seconds * self.rate))))

    def clear(self) -> None:
        """Take away everything that has not begun.

        What has begun rings out, but streams, which may be long, are faded: nothing cracks.
        """
        with self._lock:
            for _, _, placed in self._coming:
                placed.is_over = True
            self._coming.clear()
            streams = [placed for placed in self._sounding if placed.is_long]
        for placed in streams:
            self.fade(placed, None, STOP_S)

    @property
    def is_streaming(self) -> bool:
        """Whether a stream sounds or is to come."""
        with self._lock:
            there = [*self._sounding, *(placed for _, _, placed in self._coming)]
        return any(placed.is_long for placed in there)

    def render(self, frames: int) -> Frames:
        """The next ``frames`` frames, (frames, 2), limited."""
        with self._lock:
            begin, end = self.rendered, self.rendered + frames
            while self._coming and self._coming[0][0] < end:
                self._sounding.append(heappop(self._coming)[2])
            self.rendered = end
            ramp, groups = self._ramp, self._groups
        block = np.zeros((frames, 2), np.float32)
        for placed in self._sounding:
            low = max(placed.start, begin)
            part = placed.part(low, end)
            if placed.group in groups:
                part = part * groups[placed.group].over(low, low + len(part))
            block[low - begin : low - begin + len(part)] += part
        self._sounding = [placed for placed in self._sounding if not placed.is_over]
        return limited(block * ramp.over(begin, end))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ramp:
    """A level that goes from ``first`` at frame ``start`` straight to ``last``, and stays."""

    first: float
    last: float
    start: int
    length: int

    def over(self, begin: int, end: int) -> Frames:
        """The gain of each frame from ``begin`` to ``end``, (n, 1); (1, 1) where it stays."""
        if begin >= self.start + self.length:
            return np.array([[self.last]], np.float32)
        way = ((np.arange(begin, end) - self.start) / self.length).clip(0.0, 1.0)
        levels = np.where(way < 1.0, self.first + (self.last - self.first) * way, self.last)
        return levels.astype(np.float32)[:, np.newaxis]


def risen(frames: NDArray[np.int64], begin: int, end: int) -> Frames:
    """The gain of each of ``frames`` (n,) where sound rises from ``begin`` to ``end``, (n, 1)."""
    way = ((frames - begin) / (end - begin)).clip(0.0, 1.0)
    return way.astype(np.float32)[:, np.newaxis]


def limited(block: Frames) -> Frames:
    """``block`` kept under ``CEILING``.

    Up to ``KNEE`` nothing changes. Above it the size s becomes C - r / (1 + (s - K) / r), where C
    is the ceiling, K the knee and r = C - K: it leaves the knee with slope 1, never falls, and
    comes near the ceiling but never over it. Plain arithmetic: every block size gives the same
    bits.
    """
    size = np.abs(block)
    if not (size > KNEE).any():
        return block
    room = CEILING - KNEE
    bent = CEILING - room / (1.0 + np.maximum(size - KNEE, 0.0) / room)
    return np.where(size > KNEE, np.copysign(bent, block), block)
