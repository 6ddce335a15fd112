"""Strokes together: where two or more voices share a position.

* Spread: milliseconds from the first to the last hit of each such instant at which at least two
  targets are answered; their number, median and 90th percentile (linear between ranks).
* Who leads: how often each voice comes first.
* Pairs of limbs: over the instants that two limbs share (each the mean of its strokes there) by how
  much the second comes later, mean and population standard deviation.
* Level there against elsewhere: for the strokes of a voice that have one dynamic, and each voice
  (its ghost notes and its other strokes apart) that they fall together with, the mean level
  there less the mean level where they do not, in dB, as the pattern writes them. Told where
  both sides have at least ``ENOUGH`` answered strokes.
"""

from itertools import combinations

import numpy as np

from playalong.grading.grade import Pair, Together, Unison
from playalong.grading.matching.matched_run import MatchedRun
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import LIMBS
from playalong.pattern.voices import VOICES

#: Fewer strokes than this on either side tell nothing of a habit.
ENOUGH = 4


def unison(run: MatchedRun) -> Unison:
    """How strokes together fall."""
    instant = run.instant
    sizes = np.bincount(instant) if len(instant) else np.zeros(0, np.int64)
    begins = np.append(0, np.cumsum(sizes))[:-1]
    shared = sizes > 1
    if not shared.any():
        return Unison(n=0, median_ms=None, p90_ms=None, leads={}, pairs=(), together=())
    least = np.minimum.reduceat(run.error_ms, begins)
    most = np.maximum.reduceat(run.error_ms, begins)
    spreads = (most - least)[shared]
    leads = shared[instant] & (run.error_ms == least[instant])
    first = np.bincount(run.voice[leads], minlength=len(VOICES))
    middle, wide = np.percentile(spreads, (50, 90))
    return Unison(
        n=len(spreads),
        median_ms=float(middle),
        p90_ms=float(wide),
        leads={VOICES[code].name: int(first[code]) for code in np.flatnonzero(first).tolist()},
        pairs=tuple(_pairs(run)),
        together=tuple(_together(run)),
    )


def _pairs(run: MatchedRun) -> list[Pair]:
    instants = int(run.instant[-1]) + 1
    with np.errstate(invalid="ignore"):
        played = {
            limb: np.bincount(run.instant[own], run.error_ms[own], instants)
            / np.bincount(run.instant[own], minlength=instants)
            for code, limb in enumerate(LIMBS)
            if (own := np.flatnonzero(run.limb == code)).size
        }
    found = []
    for first, second in combinations(played, 2):
        later = played[second] - played[first]
        later = later[np.isfinite(later)]
        if not len(later):
            continue
        mean_ms = float(later.mean())
        if mean_ms < 0.0:
            first, second = second, first
        found.append(
            Pair(
                first=first,
                second=second,
                n=len(later),
                mean_ms=abs(mean_ms),
                sd_ms=float(later.std()),
            )
        )
    return found


def _together(run: MatchedRun) -> list[Together]:
    """From the sums of each place of the written pattern: what falls together is written there."""
    places = run.targets.places
    n = np.bincount(run.place, minlength=len(places))
    level = np.bincount(run.place, run.level_db, len(places))
    own: dict[tuple[str, Dynamic], list[int]] = {}
    sounds: dict[tuple[str, bool], list[int]] = {}
    for row, place in enumerate(places):
        stroke = place.stroke
        own.setdefault((stroke.voice, stroke.dynamic), []).append(row)
        sounds.setdefault((stroke.voice, stroke.dynamic is Dynamic.GHOST), []).append(row)
    bar = np.array([place.bar for place in places], np.int64)
    instants, instant = np.unique(bar * (2**40) + run.targets.at, return_inverse=True)
    sounding = {}
    for kind, kind_rows in sounds.items():
        sounding[kind] = np.zeros(len(instants), np.bool_)
        sounding[kind][instant[kind_rows]] = True
    found = []
    for (voice, dynamic), own_rows in own.items():
        rows = np.array(own_rows)
        for (other, ghost), sounds_at in sounding.items():
            together = sounds_at[instant[rows]]
            there, apart = rows[together], rows[~together]
            count, alone = int(n[there].sum()), int(n[apart].sum())
            if other == voice or min(count, alone) < ENOUGH:
                continue
            change_db = float(level[there].sum() / count - level[apart].sum() / alone)
            found.append(
                Together(
                    voice=voice,
                    dynamic=dynamic,
                    other=other,
                    other_ghost=ghost,
                    n=count,
                    change_db=change_db,
                )
            )
    return found
