"""The timeline: sounds placed to the frame, rendered block by block.

It knows no device and no clock, only frames: 0 is the first that is rendered. What comes out does
not depend on the size of the blocks, to the last bit. One thread may place while another renders;
neither waits for more than a few microseconds.
"""

from heapq import heappop, heappush
from itertools import count
from threading import Lock

import numpy as np
from numpy.typing import NDArray

Frames = NDArray[np.float32]

#: Frames in a second, everywhere here.
RATE = 48_000

#: The loudest that comes out: 1 dB under full scale.
CEILING = 10.0 ** (-1.0 / 20.0)

#: Up to here, 4 dB under full scale, the limiter changes nothing.
KNEE = 10.0 ** (-4.0 / 20.0)

#: The level at which the sound starts: 18 dB under full, since ears come first.
QUIET = 10.0 ** (-18.0 / 20.0)


class Timeline:
    """Sounds placed on a row of frames; ``level`` is the gain of all of them, 0 to 1."""

    def __init__(self, rate: int = RATE, level: float = QUIET) -> None:
        self.rate = rate
        self.level = level
        self.rendered = 0
        self._lock = Lock()
        self._numbers = count()
        #: A heap by start, then by order of placing: sounds are always added in the same order.
        self._coming: list[tuple[int, int, Frames]] = []
        self._sounding: list[tuple[int, Frames]] = []

    def place(self, frame: int, sound: Frames, gain: float = 1.0) -> None:
        """Let ``sound``, mono (n,) or stereo (n, 2), begin at ``frame``.

        What would lie before the frames already rendered is left out.
        """
        columns = sound.reshape(len(sound), -1) * np.float32(gain)
        with self._lock:
            heappush(self._coming, (frame, next(self._numbers), columns))

    def clear(self) -> None:
        """Take away everything that has not begun; what has begun rings out, without a crack."""
        with self._lock:
            self._coming.clear()

    def render(self, frames: int) -> Frames:
        """The next ``frames`` frames, (frames, 2), limited."""
        begin, end = self.rendered, self.rendered + frames
        with self._lock:
            while self._coming and self._coming[0][0] < end:
                start, _, sound = heappop(self._coming)
                self._sounding.append((start, sound))
        block = np.zeros((frames, 2), np.float32)
        for start, sound in self._sounding:
            low, high = max(start, begin), min(start + len(sound), end)
            if low < high:
                block[low - begin : high - begin] += sound[low - start : high - start]
        self._sounding = [
            (start, sound) for start, sound in self._sounding if start + len(sound) > end
        ]
        self.rendered = end
        return limited(block * np.float32(self.level))


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
