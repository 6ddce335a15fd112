"""Timing: how far from their targets the answering hits fall.

* Mean, population standard deviation and median of the errors of all answered targets; the same
  of each voice, and of each limb: the hand that the sticking gives, or else the limb that usually
  plays the voice.
* The limb that leads: the one with the earliest mean, said only where it is earlier than the
  latest by Welch's t-test, two-sided, at the one per cent level.

A mean error shifts with the hits: all hits d later make it d greater and leave the spread.
"""

import numpy as np
from numpy.typing import NDArray

from playalong.grading.grade import Spread, Timing
from playalong.grading.matching.matched_run import Floats, MatchedRun, mean, median, spread
from playalong.grading.students_t import LEVEL, students_t
from playalong.pattern.targets import LIMBS


def timing(run: MatchedRun) -> Timing:
    """The timing of a run."""
    errors = {voice: run.error_ms[own] for voice, own in run.by_voice.items()}
    limbs = {
        str(limb): run.error_ms[run.limb == code]
        for code, limb in enumerate(LIMBS)
        if (run.limb == code).any()
    }
    return Timing(
        mean_ms=mean(run.error_ms),
        sd_ms=spread(run.error_ms),
        median_ms=median(run.error_ms),
        by_voice={voice: _spread(own) for voice, own in errors.items()},
        by_limb={limb: _spread(errors) for limb, errors in limbs.items()},
        leads=_leading(limbs),
    )


def _spread(errors: NDArray[np.float64]) -> Spread:
    return Spread(len(errors), mean(errors), spread(errors))


def _leading(limbs: dict[str, Floats]) -> str | None:
    known = {limb: errors for limb, errors in limbs.items() if len(errors) >= 4}
    if len(known) < 2:
        return None
    first = min(known, key=lambda limb: float(known[limb].mean()))
    last = max(known, key=lambda limb: float(known[limb].mean()))
    lead_ms = float(known[last].mean() - known[first].mean())
    parts = [float(known[limb].var(ddof=1)) / len(known[limb]) for limb in (first, last)]
    if lead_ms <= 0.0 or not sum(parts):
        return first if lead_ms > 0.0 else None
    free = sum(parts) ** 2 / sum(
        part**2 / (len(known[limb]) - 1) for part, limb in zip(parts, (first, last), strict=True)
    )
    return first if lead_ms > students_t(free, LEVEL) * sum(parts) ** 0.5 else None
