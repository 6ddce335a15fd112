"""Steadiness: the tempo that was really kept, its course, and the spread around it.

* Straight fit: least squares of played time against written time, one slope for all voices and
  an intercept for each, so that a limb that is always early is that limb's habit and not bad
  time. Tempo kept = written tempo / slope. ``drift_percent`` = 100 * (tempo kept / written
  tempo - 1): positive is faster. ``residual_sd_ms`` is the population standard deviation around
  the fit.
* Course: the same fit over each bar and its neighbours, so that a bar with few strokes has a
  tempo too.
* Trend: a curve (a quadratic term more) is fitted; its tempo at the first and the last answered
  stroke are ``first_bpm`` and ``last_bpm``. "speeding up" or "slowing down" is said only of
  ``BARS_NEEDED`` bars and more, and only where

  - the quadratic term differs from nothing by a two-sided t-test at the one per cent level, from
    ``ENOUGH_BARS`` on at the two per cent level: few bars hold few slow waves.
    People's errors hang together over many strokes, so its standard error is the larger of two:
    that of least squares, and one that allows for correlation of any length, the equal-weighted
    cosine estimate from the ``COSINES`` slowest waves in the instants' scores, with as many
    degrees of freedom (Lazarus, Lewis, Stock and Watson, HAR inference: recommendations for
    practice, Journal of Business and Economic Statistics 36(4), 2018; from memory); and
  - it can be heard: between an even tempo and the curve lie, to either side, at least ``HEARD``
    of a beat (Friberg and Sundberg, Time discrimination in a monotonic, isochronous sequence,
    JASA 98, 1995: 2.5 % of the time between onsets).
"""

from dataclasses import dataclass, replace

import numpy as np

from playalong.grading.grade import Steadiness
from playalong.grading.matching.course import Course
from playalong.grading.matching.matched_run import Floats, Ints, MatchedRun
from playalong.grading.students_t import LEVEL, students_t
from playalong.pattern.voices import VOICES

STEADY, FASTER, SLOWER = "steady", "speeding up", "slowing down"

#: How many slow waves tell how errors hang together, what part of a beat is heard, and how many
#: bars it takes at least to tell a trend from how people play.
COSINES, HEARD, BARS_NEEDED = 4, 0.025, 4

#: From so many bars on a trend is told at this level.
ENOUGH_BARS, ENOUGH_LEVEL = 8, 0.02

#: At this slope of error against written time the played time all but stands still: no tempo.
_STILL = -0.9
_NOTHING = Steadiness(
    tempo_bpm=None,
    drift_percent=None,
    residual_sd_ms=None,
    course=(),
    first_bpm=None,
    last_bpm=None,
    trend=STEADY,
)


@dataclass(frozen=True, kw_only=True)
class Strokes:
    """Answered strokes as the fits need them; arrays of k.

    ``written_s`` float64, when each was written, in order; ``error_s`` float64, how much later it
    was played; ``voice`` int64, a number for all that share an intercept; ``bar`` int64.
    ``bar_starts_s``: start of every bar.
    """

    written_s: Floats
    error_s: Floats
    voice: Ints
    bar: Ints
    bar_starts_s: Floats

    @classmethod
    def of(cls, run: MatchedRun, course: Course | None = None) -> "Strokes":
        """The answered strokes of a run, or those of the player's own ``course``.

        Where that leaps, what comes after has an intercept of its own.
        """
        if course is not None:
            own = cls.of(course.run)
            leaps = course.path.stretch[course.path.rows(own.written_s)]
            return replace(own, voice=own.voice + len(VOICES) * leaps)
        targets = run.targets
        written_s = targets.written[run.target] * targets.seconds_per_whole
        error_s = run.error_ms / 1000.0
        if targets.followed:  # what they were moved along with the player is part of the error
            error_s += targets.time_s[run.target] - (targets.start_s + written_s)
        return cls(
            written_s=written_s,
            error_s=error_s,
            voice=run.voice.astype(np.int64),
            bar=run.targets.bar[run.target].astype(np.int64),
            bar_starts_s=run.targets.bar_starts_s,
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
    over = dot(x, x)
    voices = strokes.voices
    if over <= 0.0 or len(x) <= voices + 1:
        return _NOTHING
    slope = dot(x, y) / over
    if slope <= _STILL:
        return _NOTHING
    tempo = tempo_bpm / (1.0 + slope)
    first, last, trend = _trend(strokes, tempo_bpm, x=x, y=y, free=len(x) - voices - 2)
    residual = y - slope * x  # of mean zero, as x and y are
    return Steadiness(
        tempo_bpm=tempo,
        drift_percent=100.0 * (tempo / tempo_bpm - 1.0),
        residual_sd_ms=(dot(residual, residual) / len(x)) ** 0.5 * 1000.0,
        course=_course(strokes, tempo_bpm, y),
        first_bpm=first,
        last_bpm=last,
        trend=trend,
    )


def dot(a: Floats, b: Floats) -> float:
    """The sum of products. It keeps to this thread, as ``einsum`` does: a threaded product of long
    vectors waits for a busy machine."""
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
    strokes: Strokes, tempo_bpm: float, *, x: Floats, y: Floats, free: int
) -> tuple[float | None, float | None, str]:
    """Tempo at the first and the last stroke from the curved fit, and what the test says.

    ``free`` are the degrees of freedom that the curved fit leaves.
    """
    written_s = strokes.written_s
    middle = written_s.mean()
    z = written_s - middle
    z *= z
    z = strokes.centred(z)
    xx, xz, zz = dot(x, x), dot(x, z), dot(z, z)
    determinant = xx * zz - xz * xz
    if free < 3 or determinant <= 1e-12 * xx * zz:
        return None, None, STEADY
    xy, zy = dot(x, y), dot(z, y)
    line = (xy * zz - zy * xz) / determinant
    curve = (zy * xx - xy * xz) / determinant
    first, last = (
        float(tempo_bpm / max(0.1, 1.0 + line + 2.0 * curve * (at - middle)))
        for at in (written_s.min(), written_s.max())
    )
    residual = y - line * x
    residual -= curve * z
    z -= xz / xx * x  # what of the curve no line could be
    # Over a span the curve lies a quarter of its height at the ends to either side of a line.
    aside_s = abs(curve) * float(np.ptp(written_s)) ** 2 / 8.0
    if aside_s < HEARD * 60.0 / tempo_bpm or np.ptp(strokes.bar) < BARS_NEEDED - 1:
        return first, last, STEADY
    alone = np.sqrt(dot(residual, residual) / free * determinant / xx)
    instants = np.flatnonzero(np.diff(written_s, prepend=-np.inf) > 1e-9)
    residual *= z
    correlated = cosine_error(np.add.reduceat(residual, instants))
    error = max(alone, correlated) * xx / determinant
    enough = np.ptp(strokes.bar) >= ENOUGH_BARS - 1
    if abs(curve) <= students_t(COSINES, ENOUGH_LEVEL if enough else LEVEL) * error:
        return first, last, STEADY
    return first, last, FASTER if curve < 0 else SLOWER


def cosine_error(scores: Floats) -> float:
    """The standard error of a sum of ``scores`` in order of time, whatever their correlation."""
    n = len(scores)
    waves = np.outer(np.arange(1, COSINES + 1), (np.arange(n) + 0.5) * (np.pi / n))
    weights = np.sqrt(2.0 / n) * np.einsum("ij,j->i", np.cos(waves), scores)
    return float(np.sqrt(n * np.mean(weights * weights)))
