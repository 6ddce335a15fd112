"""What a struck sound is made of: tones that bend and die away, and bands of noise or of metal.

A part is harder or softer with the stroke. Hardness is above 0 and at most 1, the hardest stroke
there is. A part of greater ``sensitivity`` falls off faster than the rest when the stroke is
softer, and is shorter then: so a soft stroke is darker, with less of a crack at its start.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

#: A sound has died away when it is 60 dB down, as for a room's reverberation time (ISO 3382,
#: from memory).
_DECAYS = np.log(10.0 ** (60.0 / 20.0))

#: Metal that has died away so soon is heard as the noise of the stick.
_LOOSE_S = 0.06

#: How much of its sensitivity a part shows in its length.
_SHORTER = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Part(ABC):
    """One part of a sound.

    ``ring_s``: when it has died away; ``level``: its amplitude at the hardest stroke;
    ``sensitivity``: the power of the hardness by which it weakens; ``at_s``: when it
    begins, after the stroke.
    """

    ring_s: float
    level: float = 1.0
    sensitivity: float = 0.0
    at_s: float = 0.0

    def ring(self, hardness: float) -> float:
        """How long it rings after a stroke of ``hardness``, in seconds."""
        return float(self.ring_s * hardness ** (_SHORTER * self.sensitivity))

    def strength(self, hardness: float) -> float:
        """Its amplitude at a stroke of ``hardness``."""
        return float(self.level * hardness**self.sensitivity)

    @abstractmethod
    def sounding(self, hardness: float, rate: int) -> Samples:
        """What is heard of it from ``at_s`` on, (n,) at ``rate`` frames a second."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone(Part):
    """A sine of ``hz``, as of a skin: it starts higher by the share ``bend``, for ``bend_s``."""

    hz: float
    bend: float = 0.0
    bend_s: float = 0.03

    def sounding(self, hardness: float, rate: int) -> Samples:
        """A sine that begins at rest; harder strokes stretch the skin and bend it more."""
        ring_s = self.ring(hardness)
        time_s = np.arange(round(ring_s * rate) + 1) / rate
        bent_s = self.bend * hardness * self.bend_s * -np.expm1(-time_s / self.bend_s)
        turn = 2.0 * np.pi * self.hz
        # The change of something that begins and ends at 0 adds up to 0: there is no DC in it.
        travel = (1.0 - np.cos(turn * (time_s + bent_s))) * _dying(time_s, ring_s)
        return self.strength(hardness) * np.diff(travel) * (rate / turn)


@dataclass(frozen=True, slots=True, kw_only=True)
class Band(Part):
    """What fills ``low_hz`` to ``high_hz``: noise, or metal that rings in ``modes`` tones.

    ``rise_s``: how long it takes to come up; ``draw``: which of many noises like it.
    """

    low_hz: float
    high_hz: float
    modes: int | None = None
    rise_s: float = 0.0003
    draw: int = 0

    @property
    def is_loose(self) -> bool:
        """Whether it is noise, or so short that it is heard as noise: never twice the same."""
        return self.modes is None or self.ring_s <= _LOOSE_S

    def sounding(self, hardness: float, rate: int) -> Samples:
        """The band, of RMS ``level`` where it is strongest."""
        ring_s = self.ring(hardness)
        # Frame 0 is one step into the sound: at 0 itself it has not risen.
        time_s = np.arange(1, 1 + round(ring_s * rate)) / rate
        steady = _steady(
            self.low_hz,
            self.high_hz,
            self.modes,
            frames=round(self.ring_s * rate),
            rate=rate,
            draw=self.draw,
        )
        rise = np.minimum(1.0, time_s / self.rise_s)
        return self.strength(hardness) * steady[: len(time_s)] * rise * _dying(time_s, ring_s)


def _dying(time_s: Samples, ring_s: float) -> Samples:
    """1 at the start, 0 at ``ring_s``: the decay of a free vibration, drawn down to silence."""
    return np.asarray(np.exp(-_DECAYS * time_s / ring_s) * (1.0 - time_s / ring_s).clip(0.0))


@cache
def _steady(
    low_hz: float, high_hz: float, modes: int | None, *, frames: int, rate: int, draw: int
) -> Samples:
    """Noise of RMS 1 in a band, made from its spectrum; with ``modes``, of so many lines only.

    The same figures always give the same noise.
    """
    figures = [round(low_hz), round(high_hz), modes or 0, frames]
    chance = np.random.default_rng([*figures, draw] if draw else figures)
    low, high = (min(round(hz * frames / rate), frames // 2) for hz in (low_hz, high_hz))
    lines = np.arange(low, high)
    if modes is not None and modes < len(lines):
        lines = chance.choice(lines, modes, replace=False)
    spectrum = np.zeros(frames // 2 + 1, np.complex128)
    spectrum[lines] = chance.normal(size=len(lines)) + 1j * chance.normal(size=len(lines))
    noise = np.fft.irfft(spectrum, frames)
    return np.asarray(noise / noise.std())


def mixed(parts: Iterable[Part], hardness: float, rate: int) -> Samples:
    """The sum of ``parts`` after a stroke of ``hardness``, (n,) at ``rate`` frames a second."""
    sounds = [(round(part.at_s * rate), part.sounding(hardness, rate)) for part in parts]
    total = np.zeros(max(start + len(sound) for start, sound in sounds))
    for start, sound in sounds:
        total[start : start + len(sound)] += sound
    return total
