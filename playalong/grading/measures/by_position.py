"""Feel: each stroke of the written pattern over all its repetitions, and the swing as played.

* Places: counts of each verdict, mean error and mean level of every stroke of the pattern.
* Swing: the percentage of an eighth-note pair that its first note takes, as ``Pattern.swing`` is
  written: for every pair whose two notes and following beat are answered, the time from the
  first to the second against the time from beat to beat, each the mean over its voices; and the
  median over the pairs. Told where every beat is a quarter note.
* Grace strokes: how many were asked and played, and the median distance to the main stroke.
"""

from fractions import Fraction

import numpy as np

from playalong.grading.grade import Graces, PlaceGrade, Swing
from playalong.grading.loudness import LOUDNESSES, Loudness
from playalong.grading.matching.matched_run import Floats, Ints, MatchedRun, median
from playalong.grading.verdicts import VERDICTS, Verdict
from playalong.pattern.meter import Meter

_PAIR = Fraction(1, 4)
_CODE = {verdict: code for code, verdict in enumerate(VERDICTS)}


def places(run: MatchedRun, meters: tuple[Meter, ...]) -> tuple[PlaceGrade, ...]:
    """What became of each stroke of the pattern; ``meters`` are those of the pattern's bars."""
    count = len(run.targets.places)

    def total(of: Ints, weights: Floats | None = None) -> Floats:
        return np.bincount(of, weights, minlength=count).astype(np.float64)

    verdicts = run.verdicts
    fit = verdicts.loudness[run.answered]
    off_time = verdicts.verdict[run.answered] != _CODE[Verdict.ON_TIME]
    off = np.flatnonzero(off_time | (fit != LOUDNESSES.index(Loudness.RIGHT)))
    answered = total(run.place)
    told = {
        kind: total(run.targets.place[verdicts.target[run.told[kind]]].astype(np.int64))
        for kind in (Verdict.MISSED, Verdict.WRONG_DRUM, Verdict.EARLY, Verdict.LATE)
    }
    loud = {
        kind: total(run.place[np.flatnonzero(fit == LOUDNESSES.index(kind))])
        for kind in (Loudness.TOO_SOFT, Loudness.TOO_LOUD)
    }
    clean = answered - total(run.place[off])
    errors, levels = total(run.place, run.error_ms), total(run.place, run.level_db)
    return tuple(
        PlaceGrade(
            place.bar,
            meters[place.bar].count(place.stroke.at),
            place.stroke.voice,
            place.stroke.dynamic,
            int(answered[row] + told[Verdict.MISSED][row] + told[Verdict.WRONG_DRUM][row]),
            int(clean[row]),
            int(told[Verdict.MISSED][row]),
            int(told[Verdict.WRONG_DRUM][row]),
            int(told[Verdict.EARLY][row]),
            int(told[Verdict.LATE][row]),
            int(loud[Loudness.TOO_SOFT][row]),
            int(loud[Loudness.TOO_LOUD][row]),
            float(errors[row] / answered[row]) if answered[row] else None,
            float(levels[row] / answered[row]) if answered[row] else None,
        )
        for row, place in enumerate(run.targets.places)
    )


def swing(run: MatchedRun, meters: tuple[Meter, ...], written: Fraction) -> Swing:
    """The swing as played against ``written``, the percentage that the pattern asks for."""
    played = swing_percent(run, meters)
    ratio = played / (100.0 - played) if played is not None and 0.0 < played < 100.0 else None
    return Swing(played, float(written), ratio)


def swing_percent(run: MatchedRun, meters: tuple[Meter, ...]) -> float | None:
    """The swing as played, 50 is straight; None where no eighth-note pair was answered."""
    if not len(run.target) or any(beat != _PAIR for meter in meters for beat in meter.beats):
        return None
    # Half-beat numbers 0, 1, 2 ... over the run; only bars of quarter beats have pairs throughout.
    where = np.array([_eighth(place.stroke.at) for place in run.targets.places], dtype=np.int64)
    in_bar = where[run.place]
    eighths = np.array([int(meter.length / _PAIR * 2) for meter in meters])
    bar = run.targets.bar[run.target]
    before = np.append(0, np.cumsum(eighths[np.arange(run.targets.bars) % len(eighths)]))
    known = in_bar >= 0
    number = before[bar[known]] + in_bar[known]
    played = run.targets.time_s[run.target][known] + run.error_ms[known] / 1000.0
    size = int(before[-1]) + 3
    strokes = np.bincount(number, minlength=size)
    with np.errstate(invalid="ignore"):
        at = np.bincount(number, played, minlength=size) / strokes
    first, second, following = at[0:-2:2], at[1:-1:2], at[2::2]
    pairs = np.isfinite(first) & np.isfinite(second) & np.isfinite(following)
    whole = following[pairs] - first[pairs]
    shares = 100.0 * (second[pairs] - first[pairs])[whole > 0] / whole[whole > 0]
    return median(shares)


def _eighth(at: Fraction) -> int:
    """The number of the eighth note at ``at``, -1 between eighth notes."""
    number = at / _PAIR * 2
    return int(number) if number.denominator == 1 else -1


def graces(run: MatchedRun) -> Graces | None:
    """The grace strokes of a run, None where the pattern asks for none."""
    asked = int(run.targets.graces[run.target].sum())
    if not run.targets.graces.any():
        return None
    rows = np.flatnonzero(run.verdicts.grace)
    return Graces(asked, len(rows), median(-run.verdicts.error_ms[rows]))
