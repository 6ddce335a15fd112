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

from fractions import Fraction
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
        return Unison(0, None, None, {}, (), ())
    least = np.minimum.reduceat(run.error_ms, begins)
    most = np.maximum.reduceat(run.error_ms, begins)
    spreads = (most - least)[shared]
    leads = shared[instant] & (run.error_ms == least[instant])
    first = np.bincount(run.voice[leads], minlength=len(VOICES))
    middle, wide = np.percentile(spreads, (50, 90))
    return Unison(
        len(spreads),
        float(middle),
        float(wide),
        {VOICES[code].name: int(first[code]) for code in np.flatnonzero(first).tolist()},
        tuple(_pairs(run)),
        tuple(_together(run)),
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
        found.append(Pair(first, second, len(later), abs(mean_ms), float(later.std())))
    return found


def _together(run: MatchedRun) -> list[Together]:
    """From the sums of each place of the written pattern: what falls together is written there."""
    places = run.targets.places
    n = np.bincount(run.place, minlength=len(places))
    level = np.bincount(run.place, run.level_db, len(places))
    own: dict[tuple[str, Dynamic], list[int]] = {}
    sounds: dict[tuple[str, bool], set[tuple[int, Fraction]]] = {}
    for row, place in enumerate(places):
        stroke = place.stroke
        own.setdefault((stroke.voice, stroke.dynamic), []).append(row)
        ghost = stroke.dynamic is Dynamic.GHOST
        sounds.setdefault((stroke.voice, ghost), set()).add((place.bar, stroke.at))
    found = []
    for (voice, dynamic), rows in own.items():
        for (other, ghost), instants in sounds.items():
            there = [row for row in rows if (places[row].bar, places[row].stroke.at) in instants]
            apart = [row for row in rows if row not in there]
            if other == voice or n[there].sum() < ENOUGH or n[apart].sum() < ENOUGH:
                continue
            means = [float(level[part].sum() / n[part].sum()) for part in (there, apart)]
            found.append(
                Together(voice, dynamic, other, ghost, int(n[there].sum()), means[0] - means[1])
            )
    return found
