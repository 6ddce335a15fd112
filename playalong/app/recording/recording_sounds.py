"""What is heard of a recording: lowered, with clicks on its beats, cut to a loop."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.beat_map import BeatMap
from playalong.sound.synth.click import Kind, sample
from playalong.sound.timeline import RATE, Frames, Stream, gain

#: How loud a recording is under the click, against what it was made at, and what may be chosen.
UNDER_CLICK_DB = -6.0
LOWEST_DB, HIGHEST_DB, LOUDNESS_STEP_DB = -36.0, 0.0, 3.0


class Clicked:
    """A recording with a click on each beat; ``beats`` and ``level_db`` may change as it sounds.

    ``level_db`` is the recording's own, 0 as it was made; clicks stay as loud as they are.
    """

    def __init__(
        self, recording: Stream, beats: BeatMap | None, level_db: float = UNDER_CLICK_DB
    ) -> None:
        self.level_db = level_db
        self._recording = recording
        self._gain = gain(level_db)
        self.beats = beats

    @property
    def beats(self) -> BeatMap | None:
        """Where it clicks, None for nowhere."""
        return self._beats

    @beats.setter
    def beats(self, beats: BeatMap | None) -> None:
        self._beats = beats
        # Another thread reads: all that it needs is put in its place at once.
        self._clicks = _Clicks.of(beats)

    def read(self, begin: int, count: int) -> Frames:
        """Its frames, (count, 2), or fewer where the recording ends."""
        part = self._recording.read(begin, count)
        before, self._gain = self._gain, gain(self.level_db)
        if before == self._gain:
            part = part * np.float32(before)
        else:  # straight to the new level, since a step would crack
            part = part * np.linspace(before, self._gain, len(part), dtype=np.float32)[:, None]
        self._clicks.add(part, begin)
        return part


class _Clicks(NamedTuple):
    """(n,) the first frame of each click, and of which kind each is."""

    frames: NDArray[np.int64]
    kinds: tuple[Kind, ...]

    @classmethod
    def of(cls, beats: BeatMap | None) -> "_Clicks":
        if beats is None:
            return cls(np.zeros(0, np.int64), ())
        frames = np.rint(np.array(beats.times_s) * RATE).astype(np.int64)
        return cls(frames, tuple(kind_of(beats, beat) for beat in range(len(beats))))

    def add(self, part: Frames, begin: int) -> None:
        """Put them into ``part`` (count, 2), which begins at frame ``begin``."""
        end = begin + len(part)
        longest = len(sample(Kind.ONE, RATE))
        first, last = np.searchsorted(self.frames, (begin - longest, end)).tolist()
        for number in range(first, last):
            frame, sound = int(self.frames[number]), sample(self.kinds[number], RATE)
            low, high = max(frame, begin), min(frame + len(sound), end)
            if low < high:
                part[low - begin : high - begin] += sound[low - frame : high - frame, None]


def kind_of(beats: BeatMap, beat: int) -> Kind:
    """Which click a beat of the map has."""
    return Kind.BEAT if beats.place(beat)[1] else Kind.ONE


@dataclass(frozen=True, kw_only=True)
class Faded:
    """A stream at another gain that rises at its beginning and falls at its end.

    It rises over frames 0 to ``rise`` and falls over the ``fall`` frames before ``frames``, where
    it ends. Two that overlap by so much join as if nothing had been cut: the gains add up to one.
    """

    stream: Stream
    frames: int
    rise: int
    fall: int
    gain: float = 1.0

    def read(self, begin: int, count: int) -> Frames:
        """Its frames, (count, 2), or fewer where it ends."""
        part = self.stream.read(begin, max(0, min(count, self.frames - begin)))
        at = np.arange(begin, begin + len(part)) + 0.5
        way = np.minimum(at / self.rise, (self.frames - at) / self.fall).clip(0.0, 1.0)
        shape = self.gain * (0.5 - 0.5 * np.cos(np.pi * way))
        return part * shape.astype(np.float32)[:, None]
