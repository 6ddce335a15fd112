"""The timeline: sounds placed to the frame, rendered block by block.

It knows no device and no clock, only frames: 0 is the first that is rendered. One thread may
place while another renders.
"""

from collections import deque

import numpy as np
from numpy.typing import NDArray

Frames = NDArray[np.float32]

#: The loudest that comes out: -1 dB under full scale.
CEILING = 10.0 ** (-1.0 / 20.0)

#: Below this part of the ceiling the limiter changes nothing.
_LINEAR = 0.7

#: The level at which the sound starts: 18 dB under full, since ears come first.
QUIET = 10.0 ** (-18.0 / 20.0)


class Timeline:
    """Sounds placed on a row of frames; ``level`` is the gain of all of them, 0 to 1."""

    def __init__(self, rate: int = 48_000, level: float = QUIET) -> None:
        self.rate = rate
        self.level = level
        self.rendered = 0
        self._placed: deque[tuple[int, Frames]] = deque()
        self._sounding: list[tuple[int, Frames]] = []

    def place(self, frame: int, sound: Frames, gain: float = 1.0) -> None:
        """Let ``sound``, mono (n,) or stereo (n, 2), begin at ``frame``.

        What would lie before the frames already rendered is left out.
        """
        stereo = sound if sound.ndim == 2 else np.repeat(sound[:, None], 2, axis=1)
        self._placed.append((frame, (stereo * gain).astype(np.float32)))

    def clear(self) -> None:
        """Take away everything that has not sounded yet."""
        self._placed.append((-1, np.empty((0, 2), np.float32)))

    def render(self, frames: int) -> Frames:
        """The next ``frames`` frames, (frames, 2), limited."""
        while self._placed:
            placed = self._placed.popleft()
            if placed[0] == -1 and not len(placed[1]):
                self._sounding.clear()
            else:
                self._sounding.append(placed)
        begin, end = self.rendered, self.rendered + frames
        block = np.zeros((frames, 2), np.float32)
        rest = []
        for start, sound in self._sounding:
            low, high = max(start, begin), min(start + len(sound), end)
            if low < high:
                block[low - begin : high - begin] += sound[low - start : high - start]
            if start + len(sound) > end:
                rest.append((start, sound))
        self._sounding = rest
        self.rendered = end
        return limited(block * np.float32(self.level))


def limited(block: Frames) -> Frames:
    """``block`` kept under ``CEILING``: straight up to a part of it, then bent smoothly."""
    knee = CEILING * _LINEAR
    size = np.abs(block)
    if not (size > knee).any():
        return block
    room = CEILING - knee
    bent = knee + room * np.tanh((size - knee) / room)
    return np.asarray(np.where(size > knee, np.sign(block) * bent, block), dtype=np.float32)
