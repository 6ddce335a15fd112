"""Texture: what a freely mixed run was made of.

* Which variations were used in which bars of the run, which never, and which bars were none of
  them.
* How steady the groove stayed under each: the population standard deviation in milliseconds of
  the errors of its own strokes (those that are there without any variation) in the bars with that
  variation, after each voice's mean over the whole run is taken off, so that a limb that is always
  early counts as that limb's habit.
* Under which of them it got looser: the spread there is ``LOOSER`` times that of the plain bars,
  and the spreads of the single bars, as logarithms, differ by more than chance (a t-test over
  bars, since errors within a bar hang together), of ``BARS`` bars of each kind or more.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np

from playalong.grading.students_t import LEVEL, students_t
from playalong.practice.variations.mixing import Explanation, GrooveError

#: So many bars with a variation, and without any, say something of the groove under it.
BARS = 3

#: A spread that is this many times that of the plain groove is told. Our own choice.
LOOSER = 1.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Texture:
    """The texture of a run.

    ``used`` gives for each variation the bars of the run (0 is the first) that it was played in,
    ``plain`` the bars without any; ``spread_ms`` the spread of the groove under each, and
    ``plain_spread_ms`` that of the plain bars, None where nothing of it was answered. ``looser``
    are the variations under which the groove was looser than in the plain bars, ``other`` the bars
    that were none of them.
    """

    used: Mapping[str, tuple[int, ...]]
    plain: tuple[int, ...]
    spread_ms: Mapping[str, float | None]
    plain_spread_ms: float | None
    looser: tuple[str, ...] = ()
    other: tuple[int, ...] = ()

    @property
    def never(self) -> tuple[str, ...]:
        """The variations that were not played."""
        return tuple(name for name, bars in self.used.items() if not bars)


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
    other = tuple(number for number, bar in enumerate(bars) if bar.is_other)
    plain = tuple(n for n, bar in enumerate(bars) if not bar.names and not bar.is_other)
    spreads = {name: spread_ms(own) for name, own in used.items()}
    plain_ms = spread_ms(plain)

    def is_looser(name: str) -> bool:
        own_ms = spreads[name]
        if not own_ms or not plain_ms or own_ms <= LOOSER * plain_ms:
            return False
        with_it, without = (
            [log(own) for own in (spread_ms([n]) for n in numbers) if own]
            for numbers in (used[name], plain)
        )
        return min(len(with_it), len(without)) >= BARS and _differ(with_it, without)

    return Texture(
        used=used,
        plain=plain,
        spread_ms=spreads,
        plain_spread_ms=plain_ms,
        looser=tuple(name for name in names if is_looser(name)),
        other=other,
    )


def _differ(one: Sequence[float], other: Sequence[float]) -> bool:
    """Whether the means differ by more than chance; Student's t with one variance for both."""
    free = len(one) + len(other) - 2
    both = (len(one) * np.var(one) + len(other) * np.var(other)) / free
    error = sqrt(both * (1.0 / len(one) + 1.0 / len(other)))
    return bool(np.mean(one) - np.mean(other) > students_t(free, LEVEL) * error)


def _habits(errors: Sequence[GrooveError]) -> Mapping[str, float]:
    by_voice: dict[str, list[float]] = {}
    for error in errors:
        by_voice.setdefault(error.voice, []).append(error.error_ms)
    return {voice: float(np.mean(own)) for voice, own in by_voice.items()}
