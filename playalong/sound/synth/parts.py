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

#: Over so long what rings on is drawn down where it is cut: no ear takes it for a hand.
_CUT_S = 2.0

#: Metal that has died away so soon is heard as the noise of the stick.
_LOOSE_S = 0.06

#: Frames to a stretch of a decay.
_FINE = 512

#: How much of its sensitivity a part shows in its length.
_SHORTER = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Part(ABC):
    """One part of a sound.

    ``ring_s``: when it has died away; ``level``: its amplitude at the hardest stroke;
    ``sensitivity``: the power of the hardness by which it weakens; ``at_s``: when it
    begins, after the stroke; ``cut_s``: when it is silent, where that is before it has died away.
    """

    ring_s: float
    level: float = 1.0
    sensitivity: float = 0.0
    at_s: float = 0.0
    cut_s: float | None = None

    def ring(self, hardness: float) -> float:
        """How long it rings after a stroke of ``hardness``, in seconds."""
        return float(self.ring_s * hardness ** (_SHORTER * self.sensitivity))

    def strength(self, hardness: float) -> float:
        """Its amplitude at a stroke of ``hardness``."""
        return float(self.level * hardness**self.sensitivity)

    def end(self, hardness: float) -> float:
        """When it is silent after a stroke of ``hardness``, in seconds."""
        ring_s = self.ring(hardness)
        return ring_s if self.cut_s is None else min(ring_s, self.cut_s)

    def dying(self, hardness: float, frames: int, rate: int) -> Samples:
        """1 at the start, 0 at its end: the decay of a free vibration, drawn down to silence.

        (``frames``,) at ``rate`` frames a second.
        """
        end_s, fade_s = self.end(hardness), self.end(hardness) if self.cut_s is None else _CUT_S
        gain = _decay(-_DECAYS / (self.ring(hardness) * rate), frames)
        first = max(0, int((end_s - fade_s) * rate))
        gain[first:] *= ((end_s - np.arange(first, frames) / rate) / fade_s).clip(0.0, 1.0)
        return gain

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
        time_s = np.arange(round(self.end(hardness) * rate) + 1) / rate
        bent_s = self.bend * hardness * self.bend_s * -np.expm1(-time_s / self.bend_s)
        turn = 2.0 * np.pi * self.hz
        # The change of something that begins and ends at 0 adds up to 0: there is no DC in it.
        travel = (1.0 - np.cos(turn * (time_s + bent_s))) * self.dying(hardness, len(time_s), rate)
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
        steady = _steady(
            self.low_hz,
            self.high_hz,
            self.modes,
            frames=round(self.end(1.0) * rate),
            rate=rate,
            draw=self.draw,
        )
        # Frame 0 is one step into the sound: at 0 itself it has not risen.
        sound = self.dying(hardness, 1 + round(self.end(hardness) * rate), rate)[1:]
        rising = sound[: round(self.rise_s * rate) + 1]
        rising *= np.minimum(1.0, np.arange(1, 1 + len(rising)) / (self.rise_s * rate))
        sound *= steady[: len(sound)]
        sound *= self.strength(hardness)
        return sound


def _decay(power: float, frames: int) -> Samples:
    """exp(power * n), (frames,): by products, as it is done for hundreds of thousands of frames."""
    fine = np.exp(power * np.arange(_FINE))
    coarse = np.exp(power * _FINE * np.arange(-(-frames // _FINE)))
    return np.outer(coarse, fine).ravel()[:frames]


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
