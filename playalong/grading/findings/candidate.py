"""A cause that may be told, and how the hits would be without it.

A family of causes proposes ``Candidate``s; what is left of them, weighed and in order, is told as
``Finding``s (``grade``). Figures: milliseconds (positive is late), decibel, per cent, as ``unit``
says.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from playalong.grading.grade import Code, Spot
from playalong.grading.matching.matched_run import MatchedRun
from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class Mend:
    """Hits as they would be without the cause; arrays (m,) of the hits, None where nothing changes.

    ``later_s``: so much later; ``velocity``: at this velocity, nan where it stays; ``voice``: on
    this voice; ``removed``: not played; ``added``: more hits; ``anew``: who answers whom is asked
    again. ``targets``: fewer are asked.
    """

    later_s: Floats | None = None
    velocity: Floats | None = None
    voice: NDArray[np.int16] | None = None
    removed: Bools | None = None
    added: Hits | None = None
    anew: bool = False
    targets: Targets | None = None

    def of(self, run: MatchedRun) -> MatchedRun:
        """The run without the cause."""
        hits, count = run.hits, len(run.hits)
        if self.targets is not None:
            return MatchedRun.of(self.targets, hits, run.rules)
        velocity = None
        if self.velocity is not None:
            wanted = self.velocity[:count]
            velocity = np.where(np.isnan(wanted), hits.velocity, wanted)
        return run.mended(
            time_s=None if self.later_s is None else hits.time_s + self.later_s[:count],
            velocity=velocity,
            voice=None if self.voice is None else self.voice[:count],
            removed=None if self.removed is None else self.removed[:count],
            added=self.added,
            anew=self.anew,
        )


@dataclass(frozen=True, kw_only=True)
class Candidate:
    """A cause that may be told: its figures as in ``Finding``, its mend, and two estimates.

    ``points``: about what mending wins, infinite where only trying tells; ``beside``: what it is
    worth beside the points, in points too, since it is heard though it costs little. Both are of
    the run as it stands. ``bars``: how many bars have places of their own.
    """

    code: Code
    mend: Mend
    points: float
    beside: float
    voice: str | None = None
    limb: str | None = None
    places: tuple[Spot, ...] = ()
    n: int = 0
    of: int = 0
    value: float | None = None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    bars: int = 1
