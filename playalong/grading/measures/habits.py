"""Habits: offsets that are there throughout, weighed even where every stroke is within tolerance.

A limb that is always late against the others is heard as a flam at every stroke together, and a
whole kit beside the click is heard against the music. Of each limb the offset is the mean error of
its strokes less that of the kit, which is the middle of the limbs' means, each weighed by its
strokes; the kit's own is that middle. Errors hang together over many strokes, so a
mean is uncertain by ``sqrt((1 + r) / (1 - r))`` times what independent ones would give, r being the
correlation of a limb's error with its next, as of an autoregressive process of the first order.
Only what an offset is for certain, two standard errors nearer to nothing, counts.

Offsets that experienced drummers have cost nothing: limbs are within 10 ms of the others, the kit
within 22 ms of the click (5th to 95th percentile of 184 takes of the Groove MIDI Dataset, Gillick
et al., ICML 2019). From there on each millisecond costs a limb ``LIMB``, one that plays less than a
third of the strokes so much less, and the kit ``KIT``; each up to ``MOST``.
"""

import numpy as np

from playalong.grading.matching.matched_run import Floats, MatchedRun
from playalong.pattern.targets import LIMBS

#: What drummers have anyway, in ms.
LIMB_MS, KIT_MS = 10.0, 22.0

#: What a millisecond more costs, and the most.
LIMB, KIT, MOST = 0.006, 0.003, 0.08

#: A limb with this share of the strokes counts in full.
_FULL = 1.0 / 3.0

#: So many strokes of a limb are no habit yet, and so many are one in full.
_NONE, _ENOUGH = 8, 16


def habits_cost(run: MatchedRun) -> float:
    """What certain, audible habits cost, 0 to 1."""
    count = np.bincount(run.limb, minlength=len(LIMBS))
    known = np.flatnonzero(count > _NONE)
    if not len(known):
        return 0.0
    errors = [run.error_ms[run.limb == limb] for limb in known.tolist()]
    mean = np.array([own.mean() for own in errors])
    unsure = np.array([_standard_error(own) for own in errors])
    share = count[known] / count.sum()
    middle = _middle(mean, share)
    beyond = np.abs(mean - middle) - 2.0 * unsure - LIMB_MS
    weight = np.minimum(share / _FULL, 1.0)
    weight *= np.minimum((count[known] - _NONE) / (_ENOUGH - _NONE), 1.0)
    cost = float(np.max(weight * np.clip(LIMB * beyond, 0.0, MOST)))
    kit_ms = abs(middle) - 2.0 * float(np.sum(share * unsure)) - KIT_MS
    return cost + min(max(KIT * kit_ms, 0.0), MOST)


def _standard_error(errors: Floats) -> float:
    """The standard error of the mean of errors that hang together, (k,) in order of time."""
    less = errors - errors.mean()
    variance = float(np.mean(less * less))
    if variance <= 0.0:
        return 0.0
    r = min(max(float(np.mean(less[1:] * less[:-1])) / variance, 0.0), 0.9)
    return float(np.sqrt(variance / len(errors) * (1.0 + r) / (1.0 - r)))


def _middle(values: Floats, share: Floats) -> float:
    """The median of values of which each counts with its share."""
    order = np.argsort(values)
    upto = np.cumsum(share[order]) - share[order] / 2.0
    return float(np.interp(0.5, upto, values[order]))
