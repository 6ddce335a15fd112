"""Loudness of a run: ghost contrast, levels and evenness of what should be equal.

* Ghost contrast of a voice: the median level of its ghost notes less the median level of its
  other strokes, in dB; more negative is softer.
* For each voice and dynamic: how many, the median level, and the population standard deviation
  of the levels (evenness), and how many were too soft or too loud (see ``contrast``).
"""

import numpy as np

from playalong.grading.grade import Dynamics, StrokeLevel
from playalong.grading.loudness import LOUDNESSES, Loudness
from playalong.grading.matching.matched_run import MatchedRun, median, spread
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS

_GHOST = DYNAMICS.index(Dynamic.GHOST)


def dynamics(run: MatchedRun) -> Dynamics:
    """The loudness of a run."""
    fit = run.verdicts.loudness[run.answered]
    contrast: dict[str, float | None] = {}
    by_voice: dict[str, dict[Dynamic, StrokeLevel]] = {}
    for voice, own in run.by_voice.items():
        levels, fits, expected = run.level_db[own], fit[own], run.dynamic[own]
        ghost = expected == _GHOST
        if ghost.any():
            soft, strong = median(levels[ghost]), median(levels[~ghost])
            contrast[voice] = None if soft is None or strong is None else soft - strong
        by_voice[voice] = {}
        for code, dynamic in enumerate(DYNAMICS):
            rows = expected == code
            if rows.any():
                by_voice[voice][dynamic] = StrokeLevel(
                    n=int(rows.sum()),
                    median_db=median(levels[rows]),
                    sd_db=spread(levels[rows]),
                    too_soft=int(np.sum(fits[rows] == LOUDNESSES.index(Loudness.TOO_SOFT))),
                    too_loud=int(np.sum(fits[rows] == LOUDNESSES.index(Loudness.TOO_LOUD))),
                )
    return Dynamics(contrast, by_voice, run.rules.bands.source)
