"""When a person plays: errors that hang together, as those of drummers to a metronome do.

The error of a stroke is the sum of

* where its limb lies, a constant;
* a wave that all limbs share: they go early and late together, for some beats at a time;
* a slower wave, over some bars;
* the limb's own error, new at every stroke.

Figures: fitted to 184 takes by three drummers in 4/4 from the Groove MIDI Dataset (Gillick et al.,
Learning to Groove with Inverse Sequence Transformations, ICML 2019, CC BY 4.0), each stroke less
the mean of its place in the bar; ``python -m tests.long players`` prints them beside those of the
simulated players. The covariance of two strokes falls from its whole at one instant to half of it
at 1.8 beats and to nothing at 4 to 5, the same for slow and fast tempi if it is counted in beats:
a wave with the correlation (1 + t / s) exp(-t / s), s = ``WAVE_BEATS`` (a Matérn process of order
3/2). That human errors are correlated over long spans as well is known from Hennig et al., The
nature and perception of fluctuations in human musical rhythms, PLoS ONE 6(10), 2011.
"""

from functools import lru_cache
from math import exp, inf, sqrt

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: The scales of the two waves, in beats.
WAVE_BEATS, SLOW_BEATS = 1.1, 16.0

#: The share of the shared variance that the slower wave has.
SLOW_SHARE = 0.08

#: Spreads are those at this length of a beat in seconds, and grow with this power of it: over the
#: takes, log spread against log beat.
BEAT_S, GROWTH = 0.6, 0.3


def tempo_factor(beat_s: float) -> float:
    """How much wider than at ``BEAT_S`` everything is spread, at most a factor of 1.6."""
    return float(np.clip((beat_s / BEAT_S) ** GROWTH, 1.0 / 1.6, 1.6))


def shared(beats: Floats, chance: np.random.Generator) -> Floats:
    """The shared error of every stroke, of spread 1; ``beats`` (n,) ascending, equal at one
    instant."""
    instants, number = np.unique(np.round(beats, 6), return_inverse=True)
    fast = _wave(instants, WAVE_BEATS, chance)
    slow = _decay(instants, SLOW_BEATS, chance)
    both: Floats = sqrt(1.0 - SLOW_SHARE) * fast + sqrt(SLOW_SHARE) * slow
    return both[number]


def _wave(at: Floats, scale: float, chance: np.random.Generator) -> Floats:
    """A stationary wave of spread 1 and correlation (1 + t / scale) exp(-t / scale), exactly.

    Its value and its slope make a Markov chain: both are carried over each gap, and what the gap
    adds is drawn (Hartikainen and Särkkä, Kalman filtering and smoothing solutions to temporal
    Gaussian process regression models, MLSP 2010).
    """
    drawn = chance.standard_normal((len(at), 2)).tolist()
    found = []
    value = slope = 0.0
    gaps = [inf, *(np.diff(at) / scale).tolist()]
    for t, (first, second) in zip(gaps[: len(at)], drawn, strict=True):
        a, b, c, d, value_sd, share, slope_sd = _carried(t)
        value, slope = (
            a * value + b * slope + value_sd * first,
            c * value + d * slope + share * first + slope_sd * second,
        )
        found.append(value)
    return np.array(found, np.float64)


@lru_cache(maxsize=1024)
def _carried(t: float) -> tuple[float, float, float, float, float, float, float]:
    """What a gap of ``t`` scales makes of value and slope: their four shares, and what is drawn."""
    fall = exp(-t)
    a, b, c, d = (fall * (1.0 + t), fall * t, -fall * t, fall * (1.0 - t)) if fall else (0.0,) * 4
    # What is missing to a variance of 1 for each, and to no covariance.
    value_var = max(1.0 - a * a - b * b, 0.0)
    both, slope_var = -(a * c + b * d), max(1.0 - c * c - d * d, 0.0)
    value_sd = sqrt(value_var)
    share = both / value_sd if value_sd > 0.0 else 0.0
    return a, b, c, d, value_sd, share, sqrt(max(slope_var - share**2, 0.0))


def _decay(at: Floats, scale: float, chance: np.random.Generator) -> Floats:
    """A stationary course of spread 1 and correlation exp(-t / scale)."""
    found = []
    value = 0.0
    drawn = chance.standard_normal(len(at)).tolist()
    for number, (gap, new) in enumerate(
        zip(np.diff(at, prepend=at[:1]).tolist(), drawn, strict=True)
    ):
        keep = 0.0 if number == 0 else exp(-gap / scale)
        value = keep * value + sqrt(1.0 - keep * keep) * new
        found.append(value)
    return np.array(found, np.float64)
