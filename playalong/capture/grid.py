"""Where strokes stand: swing or triplets, and for each beat the grid that explains it best.

Every grid costs each stroke the logarithm of its number of places, since among so many one is
right, and the square of how far off the stroke lies, by the spread of people. Bars of a groove are
alike: the grid of a beat is the one that fits that beat of all bars, and a single bar has another
only where that explains it much better.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import log

import numpy as np
from numpy.typing import NDArray

from playalong.capture.bars import Reading, pulse_of
from playalong.capture.heard import Heard
from playalong.capture.pulse import spread_of
from playalong.pattern.meter import STRAIGHT, WrittenSwing

Floats = NDArray[np.float64]

Grid = tuple[tuple[float, float], ...]

#: Straight sixteenths, triplets, sextuplets: places in a beat and how often they are struck; and
#: what a beat pays that is not in sixteenths, in nats.
_OF_A_BEAT: tuple[Grid, ...] = (
    ((0.0, 0.4), (0.25, 0.15), (0.5, 0.3), (0.75, 0.15)),
    ((0.0, 0.46), (1 / 3, 0.17), (2 / 3, 0.37)),
    tuple((place / 6, 1 / 6) for place in range(6)),
)
_OTHER_BEAT = 1.5

#: Parts of a beat that a player means, by whether the meter's beat is made of three; and what each
#: costs a stroke besides, in nats.
_PARTS = {1: 0.0, 2: 0.0, 4: 0.0, 3: 0.25, 6: 0.9, 8: 0.9}
_PARTS_OF_THREE = {1: 0.0, 3: 0.0, 6: 0.3, 2: 0.8, 4: 1.2}

#: A stroke further off than so many spreads counts as if it were there; a bar has a grid of its own
#: where that saves so many nats.
_FAR, _OWN = 5.0, 7.0

#: What a second stroke of a voice in one place costs, in nats.
_ONE_PLACE = 6.0

#: A stroke so little before a beat is of that beat, in beats.
_EARLY = 0.08

#: Errors of people hang together, as (1 + t / s) exp(-t / s) with s in beats, this share of their
#: variance: ``simulation.human_timing``, fitted to the Groove MIDI Dataset. Of how many strokes at
#: most that is weighed.
_WAVE_BEATS, _TOGETHER, _FEW = 1.1, 0.65, 600

#: Swing is looked for between these, in hundredths of a pair; less is straight. What it must
#: explain better, in nats and nats a stroke.
_SWINGS = range(50, 76)
_LEAST_SWING, _BETTER, _BETTER_EACH = 54, 4.0, 0.02

#: From this share of strokes on the middle of triplets on, a groove is in triplets, not swung.
_MIDDLES = 0.05


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Strokes on their grid: (n,) the ``bar`` from 0 on (negative before bar 1), the position
    ``where`` in it as written, and how far ``off`` it was played, in pulses. ``pulse_s`` is the
    length of a pulse, from all of them."""

    bar: NDArray[np.int64]
    where: tuple[Fraction, ...]
    off: Floats
    pulse_s: float
    swing: WrittenSwing
    in_triplets: bool


def placed(reading: Reading, heard: Heard) -> Placed:
    """The strokes of a reading on the grids that explain them."""
    meter, unit = reading.meter, pulse_of(reading.meter)
    many = int(meter.length / unit)
    spread = float(spread_of(np.array([reading.pulse_s]))[0])
    at = reading.at
    of_three = meter.groups[0] == 3 and len(set(meter.groups)) == 1
    swing, in_triplets = _swing(at, spread) if unit == Fraction(1, 4) else (STRAIGHT, of_three)
    written = _unswung(at, swing)
    costs = dict(_PARTS_OF_THREE if of_three else _PARTS)
    if in_triplets and not of_three:
        costs[3], costs[6], costs[4] = 0.0, 0.3, 0.6
    elif not swing.is_straight:
        costs[3] = 0.5
    beat = np.floor(written + _EARLY).astype(np.int64)
    into = written - beat
    parts = _parts_of(beat, into, many, voice=heard.voice, costs=costs, spread=spread)
    step = np.rint(into * parts).astype(np.int64)
    whole = beat * parts + step
    off = into - step / parts
    bars, where = [], []
    for steps, cut in zip(whole.tolist(), parts.tolist(), strict=True):
        position = Fraction(steps, cut) * unit
        bar = position // meter.length
        bars.append(int(bar))
        where.append(position - bar * meter.length)
    return Placed(
        bar=np.array(bars, np.int64),
        where=tuple(where),
        off=off,
        pulse_s=_pulse_s(heard.time_s, _swung(written - off, swing), spread * reading.pulse_s),
        swing=swing,
        in_triplets=in_triplets,
    )


def _swing(at: Floats, spread: float) -> tuple[WrittenSwing, bool]:
    """The swing of the groove, straight where there is none; and whether it is in triplets."""
    into = at % 1.0
    straight = _gain(into, spread, _OF_A_BEAT[0])
    triplets = _gain(into, spread, _OF_A_BEAT[1])
    mixed = _mixed(at, spread)
    found: list[tuple[float, WrittenSwing]] = []
    for percent in _SWINGS:
        if percent < _LEAST_SWING:
            continue
        share = percent / 100.0
        eighths = (
            (0.0, 0.46),
            (share / 2, 0.05),
            (share, 0.42),
            ((1 + share) / 2, 0.07),
        )
        sixteenths = ((0.0, 0.35), (share / 2, 0.15), (0.5, 0.33), (0.5 + share / 2, 0.17))
        found.append((_gain(into, spread, eighths), WrittenSwing(Fraction(percent))))
        pairs = WrittenSwing(Fraction(percent), Fraction(1, 16))
        if (gain := _gain(into, spread, sixteenths)) > mixed + _BETTER:
            found.append((gain, pairs))
    gain, swing = max(found, key=lambda one: one[0])
    margin = _BETTER + _BETTER_EACH * len(at)
    middles = float(np.mean(np.abs(into - 1 / 3) <= 0.07))
    if triplets > straight + margin and middles >= _MIDDLES and triplets > gain - margin:
        return STRAIGHT, True
    if gain > straight + margin:
        return swing, False
    return STRAIGHT, False


def _mixed(at: Floats, spread: float) -> float:
    """What straight sixteenths explain where single beats may be in triplets or sextuplets."""
    beat, into = np.floor(at + _EARLY).astype(np.int64), at % 1.0
    beat -= beat.min()
    straight, *others = (np.bincount(beat, _each(into, spread, grid)) for grid in _OF_A_BEAT)
    return float(np.maximum(straight, np.max(others, axis=0) - _OTHER_BEAT).sum())


def _gain(into: Floats, spread: float, grid: Grid) -> float:
    """The logarithm of how likely places in a beat are on a grid, in nats."""
    return float(_each(into, spread, grid).sum())


def _each(into: Floats, spread: float, grid: Grid) -> Floats:
    """(n,) the same of each stroke."""
    density = np.full(len(into), 0.05)
    for place, share in grid:
        off = (into - place + 0.5) % 1.0 - 0.5
        density += share * np.exp(-0.5 * (off / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi))
    found: Floats = np.log(density)
    return found


def _unswung(at: Floats, swing: WrittenSwing) -> Floats:
    """Places in beats as written, of those that sound swung."""
    if swing.is_straight:
        return at
    pair = float(swing.pair * 4)
    first = pair * float(swing.percent) / 100.0
    base = np.floor(at / pair) * pair
    into = at - base
    half = pair / 2.0
    late = half + (into - first) * half / (pair - first)
    found: Floats = base + np.where(into <= first, into * half / first, late)
    return found


def _pulse_s(time_s: Floats, sounds: Floats, spread_s: float) -> float:
    """The length of a pulse in seconds: the slope of the straight line through all places as they
    sound, by generalised least squares; what lies far off the line counts less."""
    x = np.stack([np.ones(len(sounds)), sounds - sounds.mean()], axis=1)
    alone = 1.0 - _TOGETHER
    together: Floats = np.zeros((1, 1))
    if len(sounds) <= _FEW:  # of more strokes the line is sure as it is
        apart = np.abs(sounds[:, None] - sounds[None, :]) / _WAVE_BEATS
        together = _TOGETHER * (1.0 + apart) * np.exp(-apart)
    weight = np.ones(len(sounds))
    slope = 0.0
    for _ in range(3):
        if len(sounds) <= _FEW:
            weighed = np.linalg.solve(together + np.diag(alone / weight), x)
        else:
            weighed = x * weight[:, None]
        line = np.linalg.lstsq(weighed.T @ x, weighed.T @ time_s, rcond=None)[0]
        slope = float(line[1])
        off = time_s - x @ line
        weight = 1.0 / (1.0 + np.square(off / (3.0 * spread_s)))
    return slope


def _swung(at: Floats, swing: WrittenSwing) -> Floats:
    """Where places in beats as written sound."""
    if swing.is_straight:
        return at
    pair = float(swing.pair * 4)
    first = pair * float(swing.percent) / 100.0
    base = np.floor(at / pair + 1e-9) * pair
    into, half = at - base, pair / 2.0
    late = first + (into - half) * (pair - first) / half
    found: Floats = base + np.where(into <= half, into * first / half, late)
    return found


def _parts_of(
    beat: NDArray[np.int64],
    into: Floats,
    many: int,
    *,
    voice: NDArray[np.int64],
    costs: dict[int, float],
    spread: float,
) -> NDArray[np.int64]:
    """(n,) into how many parts the beat of each stroke is cut."""
    cuts = np.array(list(costs), np.int64)
    off = np.abs(into[:, None] * cuts - np.rint(into[:, None] * cuts)) / cuts
    each = np.minimum(off / spread, _FAR) ** 2 / 2.0 + np.array(
        [log(cut) + more for cut, more in costs.items()]
    )
    for column, cut in enumerate(cuts.tolist()):
        # Two strokes of a voice do not stand in one place.
        cells = (beat * 64 + np.rint(into * cut).astype(np.int64)) * 64 + voice
        first = np.unique(cells, return_index=True)[1]
        again = np.ones(len(cells), np.bool_)
        again[first] = False
        each[again, column] += _ONE_PLACE
    found = np.ones(len(beat), np.int64)
    for place in range(many):
        of_place = beat % many == place
        if not of_place.any():
            continue
        common = int(each[of_place].sum(axis=0).argmin())
        for number in np.unique(beat[of_place]).tolist():
            rows = beat == number
            own = each[rows].sum(axis=0)
            best = int(own.argmin())
            found[rows] = cuts[best if own[common] - own[best] > _OWN else common]
    return found
