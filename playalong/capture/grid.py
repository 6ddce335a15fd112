"""Where strokes stand: swing or triplets, and for each beat the grid that explains it best.

Every grid costs each stroke the logarithm of its number of places, since among so many one is
right, and the square of how far off the stroke lies, by the spread of people. Bars of a groove are
alike: the grid of a beat is the one that fits that beat of all bars; every other bar, every fourth
or a single one has another only where that explains it much better.
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

#: Parts of a beat that a player means, by whether the meter's beat is made of three; and what each
#: costs a stroke besides, in nats.
_PARTS = {1: 0.0, 2: 0.0, 4: 0.0, 3: 0.25, 6: 0.9, 8: 0.9}
_PARTS_OF_THREE = {1: 0.0, 3: 0.0, 6: 0.3, 2: 0.8, 4: 1.2, 9: 1.2}

#: A stroke further off than so many spreads counts as if it were there; a bar has a grid of its own
#: where that saves so many nats.
_FAR, _OWN = 5.0, 7.0

#: How many bars later what a groove plays comes again, where not in each; 0: once only.
_COME_AGAIN = (2, 4, 0)

#: Eighths of a beat of which so few are struck are likelier something else: what each stroke costs.
_FINEST, _SPARSE = 8, 1.2

#: What a second stroke of a voice in one place costs, in nats.
_ONE_PLACE = 6.0

#: A stroke so little before a beat is of that beat, in beats.
_EARLY = 0.08

#: How much later beats may be than a reading has them, in beats.
_LATE = tuple(part / 100 for part in (0, -1, 1, -2, 2, -3, 3, -4, 4, -5, 5))

#: Errors of people hang together, as (1 + t / s) exp(-t / s) with s in beats, this share of their
#: variance, and as exp(-t / s) for longer, by a little: ``simulation.human_timing``, fitted to the
#: Groove MIDI Dataset. Of how many strokes at most that is weighed.
_WAVE_BEATS, _TOGETHER, _SLOW_BEATS, _SLOWLY, _FEW = 1.1, 0.6, 16.0, 0.05, 600

#: So much further off than that says was the length of a beat of simulated players over four bars.
_LESS_SURE = 1.25

#: Swing is looked for between these, in hundredths of a pair; less is straight. What it must
#: explain better, in nats and nats a stroke.
_SWINGS = range(54, 76)
_BETTER, _BETTER_EACH = 4.0, 0.02

#: From this share of strokes on the middle of triplets on, a groove is in triplets, not swung.
_MIDDLES = 0.05


@dataclass(frozen=True, kw_only=True)
class Placed:
    """Strokes on their grid: (n,) the ``bar`` from 0 on (negative before bar 1), the position
    ``where`` in it as written, and how far ``off`` it was played, in pulses. ``pulse_s`` is the
    length of a pulse, from all of them, and ``unsure`` the standard error of that, as a share."""

    bar: NDArray[np.int64]
    where: tuple[Fraction, ...]
    off: Floats
    pulse_s: float
    unsure: float
    swing: WrittenSwing
    in_triplets: bool


def placed(reading: Reading, heard: Heard) -> Placed:
    """The strokes of a reading on the grids that explain them."""
    meter, unit = reading.meter, pulse_of(reading.meter)
    many = int(meter.length / unit)
    spread = float(spread_of(np.array([reading.pulse_s]))[0])
    at = reading.at
    of_three = meter.groups[0] == 3 and len(set(meter.groups)) == 1
    feels = _feels(at, spread) if unit == Fraction(1, 4) else [_Feel(in_triplets=of_three)]
    cut = [
        _cut(at, many, feel, voice=heard.voice, spread=spread, of_three=of_three) for feel in feels
    ]
    best = min(range(len(feels)), key=lambda row: cut[row].cost + feels[row].cost)
    swing, in_triplets = feels[best].swing, feels[best].in_triplets
    written = _unswung(at - cut[best].late, swing)
    beat, parts = cut[best].beat, cut[best].parts
    into = written - beat
    step = np.rint(into * parts).astype(np.int64)
    whole = beat * parts + step
    off = into - step / parts
    bars, where = [], []
    for steps, cut in zip(whole.tolist(), parts.tolist(), strict=True):
        position = Fraction(steps, cut) * unit
        bar = position // meter.length
        bars.append(int(bar))
        where.append(position - bar * meter.length)
    sounds = _swung(written - off, swing)
    pulse_s, error_s = _pulse_s(heard.time_s, sounds, spread * reading.pulse_s)
    return Placed(
        bar=np.array(bars, np.int64),
        where=tuple(where),
        off=off,
        pulse_s=pulse_s,
        unsure=error_s / pulse_s,
        swing=swing,
        in_triplets=in_triplets,
    )


@dataclass(frozen=True, kw_only=True)
class _Feel:
    """What strokes may be played in: a swing, or triplets all along; ``cost`` in nats."""

    swing: WrittenSwing = STRAIGHT
    in_triplets: bool = False
    cost: float = 0.0


def _feels(at: Floats, spread: float) -> list[_Feel]:
    """Straight; triplets, where their middles are struck; of each pair of notes that may swing, as
    many per cent as explain most."""
    into = at % 1.0
    margin = _BETTER + _BETTER_EACH * len(at)
    found = [_Feel()]
    if float(np.mean(np.abs(into - 1 / 3) <= 0.07)) >= _MIDDLES:
        found.append(_Feel(in_triplets=True, cost=margin))
    swung: dict[Fraction, list[tuple[float, WrittenSwing]]] = {}
    for percent in _SWINGS:
        share = percent / 100.0
        eighths = ((0.0, 0.46), (share / 2, 0.05), (share, 0.42), ((1 + share) / 2, 0.07))
        sixteenths = ((0.0, 0.35), (share / 2, 0.15), (0.5, 0.33), (0.5 + share / 2, 0.17))
        for note, grid in ((Fraction(1, 8), eighths), (Fraction(1, 16), sixteenths)):
            own = (_gain(into, spread, grid), WrittenSwing(Fraction(percent), note))
            swung.setdefault(note, []).append(own)
    found += [
        _Feel(swing=max(own, key=lambda one: one[0])[1], cost=margin) for own in swung.values()
    ]
    return found


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


def _pulse_s(time_s: Floats, sounds: Floats, spread_s: float) -> tuple[float, float]:
    """The length of a pulse and its standard error, in seconds: the slope of the straight line
    through all places as they sound, by generalised least squares; what lies far off the line
    counts less."""
    x = np.stack([np.ones(len(sounds)), sounds - sounds.mean()], axis=1)
    alone = 1.0 - _TOGETHER - _SLOWLY
    together: Floats = np.zeros((1, 1))
    if len(sounds) <= _FEW:  # of more strokes the line is sure as it is
        apart = np.abs(sounds[:, None] - sounds[None, :])
        wave = (1.0 + apart / _WAVE_BEATS) * np.exp(-apart / _WAVE_BEATS)
        together = _TOGETHER * wave + _SLOWLY * np.exp(-apart / _SLOW_BEATS)
    weight = np.ones(len(sounds))
    slope = error_s = 0.0
    for _ in range(3):
        if len(sounds) <= _FEW:
            weighed = np.linalg.solve(together + np.diag(alone / weight), x)
        else:
            weighed = x * weight[:, None]
        line = np.linalg.lstsq(weighed.T @ x, weighed.T @ time_s, rcond=None)[0]
        slope = float(line[1])
        off = time_s - x @ line
        if len(sounds) <= _FEW:
            own = np.linalg.solve(together + np.diag(alone / weight), off)
            variance = float(off @ own) / max(1, len(sounds) - 2)
            error_s = _LESS_SURE * float(np.sqrt(variance * np.linalg.pinv(weighed.T @ x)[1, 1]))
        weight = 1.0 / (1.0 + np.square(off / (3.0 * spread_s)))
    return slope, error_s


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


@dataclass(frozen=True, kw_only=True)
class _Cut:
    """(n,) the beat of each stroke, and into how many parts it is cut; in nats, what it costs; and
    how much later than the reading has it beats are, in beats."""

    late: float
    beat: NDArray[np.int64]
    parts: NDArray[np.int64]
    cost: float


def _cut(
    at: Floats,
    many: int,
    feel: _Feel,
    *,
    voice: NDArray[np.int64],
    spread: float,
    of_three: bool,
) -> _Cut:
    """The beats of the strokes cut as explains them best, in a feel, and a little later or earlier
    where that is better: a reading knows where beats are to a part of ``bars`` only."""
    tried = [
        _cut_late(at, many, feel, voice=voice, spread=spread, of_three=of_three, late=late)
        for late in _LATE
    ]
    return min(tried, key=lambda one: one.cost)


def _cut_late(
    at: Floats,
    many: int,
    feel: _Feel,
    *,
    voice: NDArray[np.int64],
    spread: float,
    of_three: bool,
    late: float,
) -> _Cut:
    at = at - late
    costs = dict(_PARTS_OF_THREE if of_three else _PARTS)
    if feel.in_triplets and not of_three:
        costs[3], costs[6], costs[4] = 0.0, 0.3, 0.6
    elif not feel.swing.is_straight:
        costs[3] = 0.5
    written = _unswung(at, feel.swing)
    beat = np.floor(written + _EARLY).astype(np.int64)
    into = written - beat
    cuts = np.array(list(costs), np.int64)
    step = np.rint(into[:, None] * cuts).astype(np.int64)
    off = np.abs(at[:, None] - _swung(beat[:, None] + step / cuts, feel.swing))
    each = np.minimum(off / spread, _FAR) ** 2 / 2.0 + np.array(
        [log(own) + more for own, more in costs.items()]
    )
    for column in range(len(cuts)):
        # Two strokes of a voice do not stand in one place.
        cells = (beat * 64 + step[:, column]) * 64 + voice
        again = np.ones(len(cells), np.bool_)
        again[np.unique(cells, return_index=True)[1]] = False
        each[again, column] += _ONE_PLACE
        if cuts[column] == _FINEST:
            struck = np.unique(np.stack([beat, step[:, column]]), axis=1)[0]
            few = np.isin(beat, [one for one in set(struck.tolist()) if (struck == one).sum() < 4])
            each[few, column] += _SPARSE
    numbers, of_beat = np.unique(beat, return_inverse=True)
    by_beat = np.zeros((len(numbers), len(cuts)))
    np.add.at(by_beat, of_beat, each)
    by_place = np.zeros((many, len(cuts)))
    np.add.at(by_place, numbers % many, by_beat)
    chosen = by_place.argmin(axis=1)[numbers % many]
    cost = 0.0
    for bars in _COME_AGAIN:
        # What comes again every so many bars has a grid of its own where that is much better.
        group = numbers % (many * bars) if bars else np.arange(len(numbers))
        for rows in (np.flatnonzero(group == one) for one in np.unique(group)):
            own = int(by_beat[rows].sum(axis=0).argmin())
            saved = float(by_beat[rows, chosen[rows]].sum() - by_beat[rows, own].sum())
            if saved > _OWN:
                chosen[rows] = own
                cost += _OWN
    cost += float(by_beat[np.arange(len(numbers)), chosen].sum())
    return _Cut(late=late, beat=beat, parts=cuts[chosen][of_beat], cost=cost)
