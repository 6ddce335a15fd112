"""Ornaments: the grace strokes of flams and drags.

How many were asked and played; and over all flams and drags of which at least one grace stroke was
played, the median distance from stroke to stroke, and the median level of the loudest grace
stroke less that of its main stroke, in dB. What is said of each stands in ``graces``.
"""

import numpy as np

from playalong.grading.grade import Graces
from playalong.grading.loudness import level_db
from playalong.grading.matching.matched_run import MatchedRun, median


def graces(run: MatchedRun) -> Graces | None:
    """The grace strokes of a run, None where the pattern asks for none."""
    if not run.targets.graces.any():
        return None
    asked = int(run.targets.graces[run.target].sum())
    there = np.isfinite(run.graced.apart_ms)
    return Graces(
        asked=asked,
        played=int(run.verdicts.grace.sum()),
        median_ms=median(run.graced.apart_ms[there]),
        median_db=median(level_db(np.maximum(127.0 * run.graced.softer[there], 1e-9))),
    )
