"""Ornaments: the grace strokes of flams and drags, and rolls.

How many were asked and played; and over all flams and drags of which at least one grace stroke was
played, the median distance from stroke to stroke, and the median level of the loudest grace
stroke less that of its main stroke, in dB. What is said of each stands in ``graces``.

Of rolls, those that were begun, medians: how late they began and ended and how far apart their
strokes are, in ms; of counted ones how far the strokes stray around even ones, and the standard
deviation of level inside a roll, in dB. What is said of each stands in ``matching.rolls``.
"""

import numpy as np

from playalong.grading.grade import Graces, Rolls
from playalong.grading.loudness import level_db
from playalong.grading.matching.matched_run import Floats, MatchedRun, median


def graces(run: MatchedRun) -> Graces | None:
    """The grace strokes of a run, None where the pattern asks for none."""
    if not run.targets.graces.any():
        return None
    expected = int(run.targets.graces[run.target].sum())
    there = np.isfinite(run.graced.apart_ms)
    return Graces(
        asked=expected,
        played=int((run.verdicts.grace & (run.targets.rolls[run.verdicts.target] < 0)).sum()),
        median_ms=median(run.graced.apart_ms[there]),
        median_db=median(level_db(np.maximum(127.0 * run.graced.softer[there], 1e-9))),
    )


def rolls(run: MatchedRun) -> Rolls | None:
    """The rolls of a run, None where the pattern asks for none."""
    expected = int((run.targets.rolls >= 0).sum())
    if not expected:
        return None
    found = run.rolled

    def middle(values: Floats) -> float | None:
        return median(values[np.isfinite(values)])

    return Rolls(
        asked=expected,
        played=len(found.row),
        begin_ms=middle(run.error_ms[found.row]),
        end_ms=middle(found.end_ms),
        apart_ms=middle(found.apart_ms),
        stray_ms=middle(found.stray_ms),
        spread_db=middle(found.level_db),
    )
