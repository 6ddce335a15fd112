"""Loudness: velocities, levels in decibel, and the band that fits each dynamic.

Level: the concave velocity curve of the Downloadable Sounds Level 1 specification (MIDI
Manufacturers Association): attenuation 20 * log10(127^2 / v^2) dB, so a level of
40 * log10(v / 127) dB, 0 at velocity 127.

The default bands serve a kit that nobody has calibrated. They overlap on purpose: between a
ghost note and a plain stroke, and between a plain stroke and an accent, lie velocities that
either may have. They are this project's own choice.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.model import Dynamic


class Loudness(StrEnum):
    """How the velocity of a hit fits the dynamic that was asked."""

    RIGHT = "right"
    TOO_SOFT = "too soft"
    TOO_LOUD = "too loud"


#: The codes of the loudness verdicts in arrays.
LOUDNESSES: tuple[Loudness, ...] = tuple(Loudness)


@overload
def level_db(velocity: float) -> float: ...
@overload
def level_db(velocity: NDArray[np.float64]) -> NDArray[np.float64]: ...
def level_db(velocity: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
    """The level of a velocity (1 to 127) in dB, 0 at 127."""
    levels = 40.0 * np.log10(np.asarray(velocity, dtype=np.float64) / 127.0)
    return levels if isinstance(velocity, np.ndarray) else float(levels)


def velocity_of(level: float) -> float:
    """The velocity of a level in dB, 127 at 0: above 127 for a level that no velocity has."""
    return float(127.0 * 10.0 ** (level / 40.0))


@dataclass(frozen=True, slots=True)
class Band:
    """The velocities, both ends included, that fit a dynamic."""

    low: float
    high: float

    def judge(self, velocity: float) -> Loudness:
        """How ``velocity`` fits."""
        if velocity < self.low:
            return Loudness.TOO_SOFT
        return Loudness.TOO_LOUD if velocity > self.high else Loudness.RIGHT


#: Where a voice's name stands in a file: the bands of voices that have none of their own.
_DEFAULT = "default"


@dataclass(frozen=True, slots=True)
class Bands:
    """The band of each dynamic, for every voice unless a voice has its own.

    ``by_voice`` maps (voice name, dynamic) to a band; ``source`` says where they come from.
    """

    default: Mapping[Dynamic, Band]
    by_voice: Mapping[tuple[str, Dynamic], Band] = field(default_factory=dict)
    source: str = "default"

    def of(self, voice: str, dynamic: Dynamic) -> Band:
        """The band for a stroke of ``voice`` with ``dynamic``."""
        return self.by_voice.get((voice, dynamic), self.default[dynamic])

    def as_plain(self) -> dict[str, Any]:
        """The bands as plain objects for a file; ``default`` has those of all other voices."""
        default = {dynamic.value: [band.low, band.high] for dynamic, band in self.default.items()}
        plain: dict[str, Any] = {"source": self.source, _DEFAULT: default}
        for (voice, dynamic), band in self.by_voice.items():
            plain.setdefault(voice, {})[dynamic.value] = [band.low, band.high]
        return plain

    def from_plain(self, plain: Any) -> "Bands":
        """These bands with those that ``as_plain`` gave; unchanged where they make no sense."""
        try:
            read = {
                (str(voice), Dynamic(name)): Band(float(low), float(high))
                for voice, groups in plain.items()
                if voice != "source"
                for name, (low, high) in groups.items()
            }
            source = str(plain["source"])
        except (AttributeError, KeyError, TypeError, ValueError):
            return self
        default = {one: band for (voice, one), band in read.items() if voice == _DEFAULT}
        own = {key: band for key, band in read.items() if key[0] != _DEFAULT}
        return Bands({**self.default, **default}, {**self.by_voice, **own}, source)


DEFAULT_BANDS = Bands(
    {
        Dynamic.GHOST: Band(1, 50),
        Dynamic.NORMAL: Band(48, 120),
        Dynamic.ACCENT: Band(96, 127),
    }
)
