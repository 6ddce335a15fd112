"""Feel: each stroke of the written pattern over all its repetitions, and the swing as played.

* Places: counts of each verdict, mean error and mean level of every stroke of the pattern.
* Swing: the percentage of a pair of notes that its first takes, as ``Pattern.swing`` is written:
  for every pair whose two notes and the one after are answered, the time from the first to the
  second against the time of the whole pair, each the mean over its voices; and the median over the
  pairs. Pairs are of eighths, or of sixteenths where those swing. A pair of eighths may be written
  as the outer notes of a triplet too; of the two kinds the one with more pairs is told, against
  what is written for it. Told where every beat is a quarter note.
"""

from fractions import Fraction

import numpy as np

from playalong.grading.graces import ORNAMENTS, Ornament
from playalong.grading.grade import PlaceGrade, Swing
from playalong.grading.loudness import LOUDNESSES, Loudness
from playalong.grading.matching.matched_run import Floats, Ints, MatchedRun, median
from playalong.grading.verdicts import HI_HATS, VERDICTS, HiHat, Verdict
from playalong.pattern.meter import Meter, WrittenSwing
from playalong.pattern.targets import PARTS, Targets

_BEAT = Fraction(1, 4)
#: Where the second note of a pair stands in it: halfway, or as the last of a triplet.
HALVES, TRIPLETS = Fraction(1, 2), Fraction(2, 3)
_CODE = {verdict: code for code, verdict in enumerate(VERDICTS)}


def places(run: MatchedRun, meters: tuple[Meter, ...]) -> tuple[PlaceGrade, ...]:
    """What became of each stroke of the pattern; ``meters`` are those of the pattern's bars."""
    count = len(run.targets.places)

    def total(of: Ints, weights: Floats | None = None) -> Floats:
        return np.bincount(of, weights, minlength=count).astype(np.float64)

    verdicts = run.verdicts
    fit = verdicts.loudness[run.answered]
    off_time = verdicts.verdict[run.answered] != _CODE[Verdict.ON_TIME]
    off = off_time | (fit != LOUDNESSES.index(Loudness.RIGHT))
    no_hat = np.isin(run.hi_hat, [HI_HATS.index(h) for h in (HiHat.NOT_OPEN, HiHat.NOT_CLOSED)])
    no_grace = np.zeros(len(run.target), np.bool_)
    no_grace[run.graced.row] = run.graced.ornament != ORNAMENTS.index(Ornament.RIGHT)
    answered = total(run.place)
    missed, wrong_drum, early, late = (
        total(run.targets.place[verdicts.target[run.by_verdict[kind]]].astype(np.int64))
        for kind in (Verdict.MISSED, Verdict.WRONG_DRUM, Verdict.EARLY, Verdict.LATE)
    )
    columns = (
        answered + missed + wrong_drum,
        answered - total(run.place[off | no_hat | no_grace]),
        missed,
        wrong_drum,
        early,
        late,
        *(
            total(run.place[np.flatnonzero(fit == LOUDNESSES.index(kind))])
            for kind in (Loudness.TOO_SOFT, Loudness.TOO_LOUD)
        ),
        total(run.place[no_hat]),
        total(run.place[no_grace]),
    )
    counted = zip(*(column.astype(np.int64).tolist() for column in columns), strict=True)
    n = np.maximum(answered, 1.0)
    means = zip(
        (answered > 0).tolist(),
        (total(run.place, run.error_ms) / n).tolist(),
        (total(run.place, run.level_db) / n).tolist(),
        strict=True,
    )
    return tuple(
        PlaceGrade(
            bar=place.bar,
            count=spoken,
            voice=place.stroke.voice,
            dynamic=place.stroke.dynamic,
            targets=own[0],
            clean=own[1],
            missed=own[2],
            wrong_drum=own[3],
            early=own[4],
            late=own[5],
            too_soft=own[6],
            too_loud=own[7],
            wrong_hi_hat=own[8],
            wrong_ornament=own[9],
            mean_ms=mean_ms if known else None,
            mean_db=mean_db if known else None,
        )
        for place, spoken, own, (known, mean_ms, mean_db) in zip(
            run.targets.places, spoken_counts(run.targets, meters), counted, means, strict=True
        )
    )


def spoken_counts(targets: Targets, meters: tuple[Meter, ...]) -> list[str]:
    """Each place as it is spoken; every position is asked for once."""
    numbers: dict[Meter, int] = {}
    meter_of = [numbers.setdefault(meter, len(numbers)) for meter in meters]
    spoken: dict[tuple[int, int], str] = {}
    found = []
    for place, at in zip(targets.places, targets.at.tolist(), strict=True):
        key = meter_of[place.bar], at
        if key not in spoken:
            spoken[key] = meters[place.bar].count(place.stroke.at)
        found.append(spoken[key])
    return found


def swing(run: MatchedRun, meters: tuple[Meter, ...], written: WrittenSwing) -> Swing:
    """The swing as played; ``written`` is what the pattern says."""
    shares = _shares(run, meters, written.pair, second=HALVES)
    percent = written.percent
    if written.pair == _BEAT:
        of_triplets = _shares(run, meters, _BEAT, second=TRIPLETS)
        if len(of_triplets) > len(shares):
            shares, percent = of_triplets, 100 * TRIPLETS
    played = median(shares)
    ratio = played / (100.0 - played) if played is not None and 0.0 < played < 100.0 else None
    return Swing(
        notes=written.notes,
        played_percent=played,
        written_percent=float(percent),
        played_ratio=ratio,
    )


def _shares(
    run: MatchedRun, meters: tuple[Meter, ...], pair: Fraction, *, second: Fraction
) -> Floats:
    """The share of each pair that its first note takes, in per cent, in order of time.

    ``pair`` is its length in whole notes, ``second`` where in it the second note is written.
    """
    if not len(run.target) or any(beat != _BEAT for meter in meters for beat in meter.beats):
        return np.zeros(0)
    # Two numbers a pair over the run, 0 and 1 for its notes, 2 for the first of the next ...; -1
    # elsewhere.
    order, into = np.divmod(run.targets.at, int(pair * PARTS))
    seconds = into == int(second * pair * PARTS)
    if not seconds.any():
        return np.zeros(0)
    in_pair = (into == 0) | seconds
    where = np.where(in_pair, 2 * order + (into > 0), -1)
    in_bar = where[run.place]
    halves = np.array([2 * int(meter.length / pair) for meter in meters])
    bar = run.targets.bar[run.target]
    before = np.append(0, np.cumsum(halves[np.arange(run.targets.bars) % len(halves)]))
    known = in_bar >= 0
    number = before[bar[known]] + in_bar[known]
    played = run.targets.time_s[run.target][known] + run.error_ms[known] / 1000.0
    size = int(before[-1]) + 3
    strokes = np.bincount(number, minlength=size)
    with np.errstate(invalid="ignore"):
        at = np.bincount(number, played, minlength=size) / strokes
    first, then, following = at[0:-2:2], at[1:-1:2], at[2::2]
    pairs = np.isfinite(first) & np.isfinite(then) & np.isfinite(following)
    whole = following[pairs] - first[pairs]
    return 100.0 * (then[pairs] - first[pairs])[whole > 0] / whole[whole > 0]
