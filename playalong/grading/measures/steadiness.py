"""Steadiness: the tempo that was really kept, its course, and the spread around it.

* Straight fit: least squares of played time against written time, one slope for all voices and
  an intercept for each, so that a limb that is always early is that limb's habit and not bad
  time. Tempo kept = written tempo / slope. ``drift_percent`` = 100 * (tempo kept / written
  tempo - 1): positive is faster. ``residual_sd_ms`` is the population standard deviation around
  the fit.
* Course: the same fit over each bar and its neighbours, so that a bar with few strokes has a
  tempo too.
* Trend: a curve (a quadratic term more) is fitted; its tempo at the first and the last answered
  stroke are ``first_bpm`` and ``last_bpm``. "speeding up" or "slowing down" is said only where
  the quadratic term differs from nothing by a two-sided t-test at the one per cent level,
  residuals taken as independent.
"""

from dataclasses import dataclass

import numpy as np

from playalong.grading.grade import Steadiness
from playalong.grading.matching.matched_run import Floats, Ints, MatchedRun
from playalong.grading.students_t import LEVEL, students_t

STEADY, FASTER, SLOWER = "steady", "speeding up", "slowing down"

#: At this slope of error against written time the played time all but stands still: no tempo.
_STILL = -0.9
_NOTHING = Steadiness(None, None, None, (), None, None, STEADY)


@dataclass(frozen=True)
class Strokes:
    """Answered strokes as the fits need them; arrays of k.

    ``written_s`` float64, when each was written; ``error_s`` float64, how much later it was
    played; ``voice`` and ``bar`` int64. ``bar_starts_s``: start of every bar.
    """

    written_s: Floats
    error_s: Floats
    voice: Ints
    bar: Ints
    bar_starts_s: Floats

    @classmethod
    def of(cls, run: MatchedRun) -> "Strokes":
        """The answered strokes of a run."""
        targets = run.targets
        written_s = targets.written[run.target] * targets.seconds_per_whole
        error_s = run.error_ms / 1000.0
        if targets.followed:  # what they were moved along with the player is part of the error
            error_s += targets.time_s[run.target] - (targets.start_s + written_s)
        return cls(
            written_s,
            error_s,
            run.voice.astype(np.int64),
            run.targets.bar[run.target].astype(np.int64),
            run.targets.bar_starts_s,
        )

    @property
    def voices(self) -> int:
        """How many voices there are."""
        return int(np.count_nonzero(np.bincount(self.voice)))

    def centred(self, values: Floats) -> Floats:
        """``values`` (k,) less the mean of their voice."""
        count = np.maximum(np.bincount(self.voice), 1)
        means = np.bincount(self.voice, values) / count
        less = means[self.voice]
        return np.subtract(values, less, out=less)


def steadiness(strokes: Strokes, tempo_bpm: float) -> Steadiness:
    """The steadiness of strokes whose written tempo is ``tempo_bpm``."""
    # Errors are the small part of played time: fitting them keeps the full precision.
    x, y = strokes.centred(strokes.written_s), strokes.centred(strokes.error_s)
    over = _dot(x, x)
    voices = strokes.voices
    if over <= 0.0 or len(x) <= voices + 1:
        return _NOTHING
    slope = _dot(x, y) / over
    if slope <= _STILL:
        return _NOTHING
    tempo = tempo_bpm / (1.0 + slope)
    first, last, trend = _trend(strokes, tempo_bpm, x, y, len(x) - voices - 2)
    residual = y - slope * x  # of mean zero, as x and y are
    return Steadiness(
        tempo,
        100.0 * (tempo / tempo_bpm - 1.0),
        (_dot(residual, residual) / len(x)) ** 0.5 * 1000.0,
        _course(strokes, tempo_bpm, y),
        first,
        last,
        trend,
    )


def _dot(a: Floats, b: Floats) -> float:
    # einsum keeps to this thread: a threaded product of long vectors waits for a busy machine.
    return float(np.einsum("i,i->", a, b))


def _course(strokes: Strokes, tempo_bpm: float, centred: Floats) -> tuple[tuple[int, float], ...]:
    """(bar, tempo in bpm) of each bar with enough strokes, from it and its neighbours.

    The sums of a least squares fit are made once for each bar, and those of three bars added.
    """
    starts, bar = strokes.bar_starts_s, strokes.bar
    bars = len(starts)
    local = strokes.written_s - starts[bar]  # small numbers keep the sums exact
    product = local * local
    count, sum_x, sum_y, sum_xx = (
        np.bincount(bar, weights, minlength=bars) for weights in (None, local, centred, product)
    )
    np.multiply(local, centred, out=product)
    sums = count, sum_x, sum_y, sum_xx, np.bincount(bar, product, minlength=bars)
    n = tx = ty = txx = txy = np.zeros(bars)
    for shift in (-1, 0, 1):
        here = np.arange(bars) + shift
        inside = (here >= 0) & (here < bars)
        here = np.clip(here, 0, bars - 1)
        d = starts[here] - starts
        m, sx, sy, sxx, sxy = (np.where(inside, column[here], 0.0) for column in sums)
        n, ty = n + m, ty + sy
        tx = tx + sx + m * d
        txx = txx + sxx + 2 * d * sx + m * d * d
        txy = txy + sxy + d * sy
    with np.errstate(invalid="ignore", divide="ignore"):
        over = txx - tx * tx / n
        slope = (txy - tx * ty / n) / over
    known = (n >= 4) & (over > 1e-9) & (slope > _STILL)
    tempi = tempo_bpm / (1.0 + np.where(known, slope, 0.0))
    return tuple(zip(np.flatnonzero(known).tolist(), tempi[known].tolist(), strict=True))


def _trend(
    strokes: Strokes, tempo_bpm: float, x: Floats, y: Floats, free: int
) -> tuple[float | None, float | None, str]:
    """Tempo at the first and the last stroke from the curved fit, and what the test says.

    ``free`` are the degrees of freedom that the curved fit leaves.
    """
    written_s = strokes.written_s
    middle = written_s.mean()
    z = written_s - middle
    z *= z
    z = strokes.centred(z)
    xx, xz, zz = _dot(x, x), _dot(x, z), _dot(z, z)
    determinant = xx * zz - xz * xz
    if free < 3 or determinant <= 1e-12 * xx * zz:
        return None, None, STEADY
    xy, zy = _dot(x, y), _dot(z, y)
    line = (xy * zz - zy * xz) / determinant
    curve = (zy * xx - xy * xz) / determinant
    residual = y - line * x
    z *= curve
    residual -= z
    error = np.sqrt(_dot(residual, residual) / free * xx / determinant)
    first, last = (
        float(tempo_bpm / max(0.1, 1.0 + line + 2.0 * curve * (at - middle)))
        for at in (written_s.min(), written_s.max())
    )
    # Times are rounded to a nanosecond: below that nothing is certain.
    certain = abs(curve) > students_t(free, LEVEL) * error and abs(last - first) > 1e-4 * first
    if not certain:
        return first, last, STEADY
    return first, last, FASTER if curve < 0 else SLOWER
