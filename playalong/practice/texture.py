"""Texture: what a freely mixed run was made of.

* Which variations were used in which bars of the run, and which never.
* How steady the groove stayed under each: the population standard deviation in milliseconds of
  the errors of its own strokes (those that are there without any variation) in the bars with that
  variation, after each voice's mean over the whole run is taken off, so that a limb that is always
  early counts as that limb's habit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from playalong.practice.mixing import Explanation, GrooveError

#: A spread that is this many times that of the plain groove is told. Our own choice.
LOOSER = 1.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """The texture of a run.

    ``used`` gives for each variation the bars of the run (0 is the first) that it was played in,
    ``plain`` the bars without any; ``spread_ms`` the spread of the groove under each, and
    ``plain_spread_ms`` that of the plain bars, None where nothing of it was answered.
    """

    used: Mapping[str, tuple[int, ...]]
    plain: tuple[int, ...]
    spread_ms: Mapping[str, float | None]
    plain_spread_ms: float | None

    @property
    def never(self) -> tuple[str, ...]:
        """The variations that were not played."""
        return tuple(name for name, bars in self.used.items() if not bars)

    @property
    def looser(self) -> tuple[str, ...]:
        """The variations under which the groove was looser than in the plain bars."""
        plain_ms = self.plain_spread_ms
        return tuple(
            name
            for name, spread_ms in self.spread_ms.items()
            if plain_ms and spread_ms and spread_ms > LOOSER * plain_ms
        )


def texture(names: Sequence[str], bars: Sequence[Explanation]) -> Texture:
    """The texture of a run, bar by bar; ``names`` are all variations that could be played."""
    habit = _habits([error for bar in bars for error in bar.groove])

    def spread_ms(numbers: Sequence[int]) -> float | None:
        left = [e.error_ms - habit[e.voice] for n in numbers for e in bars[n].groove]
        return float(np.std(left)) if left else None

    used = {
        name: tuple(number for number, bar in enumerate(bars) if name in bar.names)
        for name in names
    }
    plain = tuple(number for number, bar in enumerate(bars) if not bar.names)
    return Texture(
        used=used,
        plain=plain,
        spread_ms={name: spread_ms(own) for name, own in used.items()},
        plain_spread_ms=spread_ms(plain),
    )


def _habits(errors: Sequence[GrooveError]) -> Mapping[str, float]:
    by_voice: dict[str, list[float]] = {}
    for error in errors:
        by_voice.setdefault(error.voice, []).append(error.error_ms)
    return {voice: float(np.mean(own)) for voice, own in by_voice.items()}
