"""Hits: what the player did.

``Hit`` is one of them; ``Hits`` keeps many as arrays of equal length n, sorted by time. Row i of
every array speaks of the same hit, and i is the hit's number in every verdict of the run.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.voices import BY_NOTE, STAFF_ORDER, VOICES


@dataclass(frozen=True, slots=True)
class Hit:
    """One hit: seconds (second 0 as in its targets), voice by name, velocity 1 to 127.

    A velocity may lie between whole numbers: MIDI's high resolution velocity prefix.
    """

    time_s: float
    voice: str
    velocity: float


def refined(velocity: int, more: int) -> float:
    """A velocity with the 7 more bits of controller 88 (CA-031, High Resolution Velocity Prefix,
    from memory), at most 127.
    """
    return min(127.0, velocity + more / 128.0)


@dataclass(frozen=True)
class Hits:
    """Many hits, sorted by time, then in staff order, then the louder first.

    ``time_s`` float64 in seconds; ``voice`` int16, index into ``kit.VOICES``; ``velocity``
    float64, 1 to 127.
    """

    time_s: NDArray[np.float64]
    voice: NDArray[np.int16]
    velocity: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time_s)

    def __getitem__(self, index: int) -> Hit:
        return Hit(
            float(self.time_s[index]),
            VOICES[self.voice[index]].name,
            float(self.velocity[index]),
        )

    @classmethod
    def of(cls, hits: Iterable[Hit]) -> "Hits":
        """The hits as arrays, whatever their order."""
        rows = [(hit.time_s, STAFF_ORDER[hit.voice], hit.velocity) for hit in hits]
        times, voices, velocities = zip(*rows, strict=True) if rows else ((), (), ())
        return cls.sorted(
            np.array(times, dtype=np.float64),
            np.array(voices, dtype=np.int16),
            np.array(velocities, dtype=np.float64),
        )

    @classmethod
    def of_notes(
        cls, time_s: NDArray[np.float64], note: NDArray[np.int64], velocity: NDArray[np.float64]
    ) -> tuple["Hits", NDArray[np.int64]]:
        """The hits behind MIDI notes by the table of voices, and the notes of no known voice.

        All arrays (m,); ``note`` 0 to 127.
        """
        table = np.full(128, -1, np.int16)
        for number, voice in BY_NOTE.items():
            table[number] = STAFF_ORDER[voice.name]
        voices = table[note]
        known = voices >= 0
        return cls.sorted(time_s[known], voices[known], velocity[known]), note[~known]

    @classmethod
    def sorted(
        cls,
        time_s: NDArray[np.float64],
        voice: NDArray[np.int16],
        velocity: NDArray[np.float64],
    ) -> "Hits":
        """The hits in order, so that the order in which they came does not matter."""
        order = np.lexsort((-velocity, voice, time_s))
        return cls(time_s[order], voice[order], velocity[order])
