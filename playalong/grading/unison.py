"""Strokes together: where two or more voices share a position.

* Spread: milliseconds from the first to the last hit of each such instant at which at least two
  targets are answered; their number, median and 90th percentile (linear between ranks).
* Who leads: how often each voice comes first.
* Level there against elsewhere: for the strokes of a voice that have one dynamic, and each voice
  (its ghost notes and its other strokes apart) that they fall together with, the mean level
  there less the mean level where they do not, in dB. Told where both sides have at least
  ``ENOUGH`` strokes.
"""

import numpy as np
from numpy.typing import NDArray

from playalong.grading.grade import Together, Unison
from playalong.grading.run import Run
from playalong.pattern.kit import VOICES
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS

#: Fewer strokes than this on either side tell nothing of a habit.
ENOUGH = 4

_GHOST = DYNAMICS.index(Dynamic.GHOST)


def unison(run: Run) -> Unison:
    """How strokes together fall."""
    instant = run.instant
    sizes = np.bincount(instant) if len(instant) else np.zeros(0, np.int64)
    begins = np.append(0, np.cumsum(sizes))[:-1]
    shared = sizes > 1
    if not shared.any():
        return Unison(0, None, None, {}, ())
    least = np.minimum.reduceat(run.error_ms, begins)
    most = np.maximum.reduceat(run.error_ms, begins)
    spreads = (most - least)[shared]
    leads = shared[instant] & (run.error_ms == least[instant])
    first = np.bincount(run.voice[leads], minlength=len(VOICES))
    return Unison(
        len(spreads),
        float(np.median(spreads)),
        float(np.percentile(spreads, 90)),
        {VOICES[code].name: int(first[code]) for code in np.flatnonzero(first).tolist()},
        tuple(_together(run, instant, len(sizes))),
    )


def _together(run: Run, instant: NDArray[np.int64], instants: int) -> list[Together]:
    found = []
    partners: list[tuple[int, bool, NDArray[np.bool_]]] = []
    for code in np.unique(run.voice).tolist():
        for ghost in (False, True):
            rows = (run.voice == code) & ((run.dynamic == _GHOST) == ghost)
            sounds = np.zeros(instants, np.bool_)
            sounds[instant[rows]] = True
            partners.append((code, ghost, sounds[instant]))
    for code in np.unique(run.voice).tolist():
        for kind, dynamic in enumerate(DYNAMICS):
            own = (run.voice == code) & (run.dynamic == kind)
            for other, ghost, sounds in partners:
                there, apart = own & sounds, own & ~sounds
                if other == code or there.sum() < ENOUGH or apart.sum() < ENOUGH:
                    continue
                change = run.level_db[there].mean() - run.level_db[apart].mean()
                found.append(
                    Together(
                        VOICES[code].name,
                        dynamic,
                        VOICES[other].name,
                        ghost,
                        int(there.sum()),
                        float(change),
                    )
                )
    return found
