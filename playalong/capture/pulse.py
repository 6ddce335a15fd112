"""Which pulses may lie under what was played: lengths of a beat, and where beats are all along.

In windows of ``WINDOW_S`` each length of a beat gets the likelihood of the strokes' places in the
beat: a mixture of bells at the places of a grid (sixteenths, triplets, swung eighths, sextuplets,
32nds) as wide as people scatter, over an even floor; at the phase that is best. A course through
the windows, in which the length changes little from one to the next, is found by dynamic
programming (Viterbi, IEEE Transactions on Information Theory 13(2), 1967; from memory), so that
nobody has to play to a click. A pulse twice or three times as long explains the same strokes on a
finer grid: which of them is the beat is for ``bars`` to say.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from playalong.capture.heard import Heard

Floats = NDArray[np.float64]

#: A window and its step, in seconds.
WINDOW_S, STEP_S = 8.0, 4.0

#: The shortest and the longest beat, in seconds, and the step from one length to the next.
SHORTEST_S, LONGEST_S, STEP = 0.19, 1.9, 0.0025

#: How people scatter around a grid (Groove MIDI Dataset: 24 ms around the click, less around their
#: own middle), and that part which grows with the beat.
SPREAD_S, _GROWS = 0.019, 0.012

#: The share of strokes that lie anywhere.
_ANYWHERE = 0.06

Grid = tuple[tuple[float, float], ...]

#: Places of a beat and how often they are struck (common practice): the grids of a pulse.
GRIDS: tuple[Grid, ...] = (
    ((0.0, 0.40), (0.25, 0.14), (0.5, 0.30), (0.75, 0.16)),
    ((0.0, 0.46), (1 / 3, 0.17), (2 / 3, 0.37)),
    ((0.0, 0.58), (0.5, 0.42)),
    ((0.0, 0.60), (0.585, 0.40)),
    ((0.0, 0.62), (0.64, 0.38)),
    ((0.0, 0.3), (1 / 6, 0.12), (1 / 3, 0.12), (0.5, 0.2), (2 / 3, 0.13), (5 / 6, 0.13)),
    tuple((part / 8, 0.26 if part == 0 else 0.065 if part % 2 else 0.16) for part in range(8)),
)

#: Those whose places lie so far apart that strokes late by a little are not taken for the next.
_PLAIN = GRIDS[:5]

#: Those of them that swing, and those of three parts.
_SWINGING, _OF_THREE = (3, 4), (1, 5)

_BINS = 96
#: The course may change its length by so many steps from window to window, each for a price.
_MOST_STEPS, _STEP_COST = 12, 0.6
#: How far the course may leave the length it is looked for at.
_AROUND = 0.12
#: How many beats on each side say where a beat is, as the spread of a bell; and those of a steady
#: course, one after the other.
_NEAR_BEATS = 3.0
_STIFFLY = (12.0, 6.0, _NEAR_BEATS)
#: A steady course is looked for among so many lengths on each side, so far from each other.
_STEADY, _STEADY_STEP = 40, 0.0005


@dataclass(frozen=True, kw_only=True)
class Pulse:
    """A length of the beat in seconds (the mean), how well it explains the strokes (nats a
    stroke over an even spread), whether best by a swung grid or by one of three parts, and (n,)
    where each stroke lies, in beats from any beat on."""

    beat_s: float
    fit: float
    swings: bool
    in_threes: bool
    at: Floats


def pulses(
    heard: Heard, most: int = 12, *, near_s: Sequence[float] = (), tenth: float = 0.1
) -> list[Pulse]:
    """The pulses that explain the strokes best, of different lengths, the best first.

    Those within a ``tenth`` of ``near_s`` are there in any case, if whole parts of them are.
    """
    scan = _Scan.of(heard)
    total = scan.gain.sum(axis=0)
    smooth = np.convolve(total, np.ones(3) / 3.0, "same")
    inner = np.arange(4, len(smooth) - 4)
    near = np.max([np.roll(smooth, shift) for shift in range(-8, 9)], axis=0)
    peaks = [row for row in inner.tolist() if smooth[row] >= near[row] - 1e-12]
    peaks.sort(key=lambda row: -smooth[row])
    found: list[Pulse] = []
    for row in peaks[:most]:
        for pulse in (scan.followed(row), scan.steady(row)):
            if not any(_is_same(one, pulse) for one in found):
                found.append(pulse)
    found += [
        twice
        for one in found[:_DOUBLED]
        if 2.0 * one.beat_s <= LONGEST_S
        and (twice := _pulse(one.at / 2.0, scan.weight, 2.0 * one.beat_s))
        and all(abs(np.log(other.beat_s / twice.beat_s)) > 0.02 for other in found)
    ]
    for length_s in near_s:
        if any(abs(np.log(one.beat_s / length_s)) < tenth for one in found):
            continue
        found += [
            _pulse(one.at / parts, scan.weight, parts * one.beat_s)
            for one in found[:most]
            for parts in (3, 4, 6)
            if abs(np.log(parts * one.beat_s / length_s)) < tenth
        ]
    return sorted(found, key=lambda one: -one.fit)


#: Pulses are the same whose lengths and courses differ by no more, as a share and in beats.
_SAME_LENGTH, _SAME_COURSE = 0.02, 0.12


def _is_same(one: Pulse, other: Pulse) -> bool:
    if abs(float(np.log(one.beat_s / other.beat_s))) > _SAME_LENGTH:
        return False
    apart = one.at - other.at
    return float(np.abs(apart - np.median(apart)).max()) <= _SAME_COURSE


#: Of so many pulses the one twice as long is looked at in any case.
_DOUBLED = 5


def _pulse(at: Floats, weight: Floats, beat_s: float) -> Pulse:
    gains = _gains(at, weight, beat_s)
    best = int(np.argmax(gains))
    return Pulse(
        beat_s=beat_s,
        fit=gains[best] / float(weight.sum()),
        swings=best in _SWINGING,
        in_threes=best in _OF_THREE,
        at=at,
    )


@dataclass(frozen=True, kw_only=True)
class _Scan:
    """``gain`` (windows, lengths): what the best phase of each length explains, in nats; of each
    window the middle, and the strokes in it."""

    heard: Heard
    weight: Floats
    length_s: Floats
    gain: Floats
    middle_s: Floats

    @classmethod
    def of(cls, heard: Heard) -> "_Scan":
        count = int(np.log(LONGEST_S / SHORTEST_S) / STEP)
        length_s = SHORTEST_S * np.exp(STEP * np.arange(count))
        first_s, last_s = float(heard.time_s[0]), float(heard.time_s[-1])
        steps = max(1, int(np.ceil((last_s - first_s - WINDOW_S) / STEP_S)) + 1)
        middle_s: Floats = first_s + WINDOW_S / 2.0 + STEP_S * np.arange(steps, dtype=np.float64)
        if steps == 1:
            middle_s = np.array([(first_s + last_s) / 2.0])
        templates = np.fft.rfft(_templates(length_s), axis=2)
        weight = weights(heard)
        gain = np.zeros((steps, count))
        for number, at_s in enumerate(middle_s.tolist()):
            near = (
                np.abs(heard.time_s - at_s)
                <= max(WINDOW_S, last_s - first_s if steps == 1 else 0) / 2.0
            )
            table = _folded(heard.time_s[near] - at_s, weight[near], length_s)
            spectrum = np.fft.rfft(table, axis=1)
            best = [
                np.fft.irfft(spectrum * own.conj(), n=_BINS, axis=1).max(axis=1)
                for own in templates
            ]
            gain[number] = np.max(best, axis=0)
        return cls(heard=heard, weight=weight, length_s=length_s, gain=gain, middle_s=middle_s)

    def followed(self, row: int) -> Pulse:
        """The course around a length."""
        width = int(_AROUND / STEP)
        low, high = max(0, row - width), min(len(self.length_s), row + width + 1)
        path = low + _course(self.gain[:, low:high])
        course_s = self.length_s[path]
        at = settled(self._positions(course_s), self.weight, float(np.median(course_s)))
        beat_s = _mean_length(at, self.heard.time_s)
        return _pulse(at, self.weight, beat_s)

    def steady(self, row: int) -> Pulse:
        """The course that is nearest to one length all along: where windows differ in what they
        take for the beat, strokes that are somewhere in between, they lead astray."""
        time_s = self.heard.time_s - self.heard.time_s[0]
        length_s = self.length_s[row] * np.exp(_STEADY_STEP * np.arange(-_STEADY, _STEADY + 1))
        found = np.fft.irfft(
            np.fft.rfft(_folded(time_s, self.weight, length_s), axis=1)
            * np.fft.rfft(_templates(length_s), axis=2).conj(),
            n=_BINS,
            axis=2,
        ).max(axis=0)
        best, phase = np.unravel_index(int(found.argmax()), found.shape)
        beat_s = float(length_s[best])
        at = time_s / beat_s - float(phase) / _BINS
        for beats in _STIFFLY:
            at = settled(at, self.weight, beat_s, beats=beats)
        return _pulse(at, self.weight, _mean_length(at, self.heard.time_s))

    def _positions(self, beat_s: Floats) -> Floats:
        """(n,) beats of each stroke along the windows' lengths and phases."""
        times: list[float] = []
        beats: list[float] = []
        at, before_s = 0.0, float(beat_s[0])
        for number, (middle_s, length_s) in enumerate(zip(self.middle_s, beat_s, strict=True)):
            near = np.abs(self.heard.time_s - middle_s) <= (
                WINDOW_S / 2.0 if len(self.middle_s) > 1 else np.inf
            )
            table = _folded(
                self.heard.time_s[near] - middle_s, self.weight[near], np.array([length_s])
            )
            template = _templates(np.array([length_s]))
            best = np.max(
                [
                    np.fft.irfft(np.fft.rfft(table[0]) * np.fft.rfft(own[0]).conj(), n=_BINS)
                    for own in template
                ],
                axis=0,
            )
            if number:
                ahead = (middle_s - times[-1]) / float(np.sqrt(length_s * before_s))
                wanted = -(at + ahead) % 1.0
                far = np.abs((np.arange(_BINS) / _BINS - wanted + 0.5) % 1.0 - 0.5)
                phase = int(np.argmax(np.where(far <= 0.11, best, -np.inf))) / _BINS
                at += ahead + ((wanted - phase + 0.5) % 1.0 - 0.5)
            else:
                at = -int(np.argmax(best)) / _BINS
            times.append(float(middle_s))
            beats.append(at)
            before_s = float(length_s)
        first, last = beat_s[0], beat_s[-1]
        edge = 1000.0
        times = [times[0] - edge, *times, times[-1] + edge]
        beats = [beats[0] - edge / first, *beats, beats[-1] + edge / last]
        found: Floats = np.interp(self.heard.time_s, times, beats)
        return found


def weights(heard: Heard) -> Floats:
    """(n,) how much each stroke says of the pulse: less where many fall together, or softly."""
    loud = np.clip((heard.level + 40.0) / 30.0, 0.3, 1.0)
    gap = np.searchsorted(heard.time_s, heard.time_s + 0.025) - np.searchsorted(
        heard.time_s, heard.time_s - 0.025
    )
    found: Floats = loud / np.sqrt(np.maximum(gap, 1))
    return found


def _folded(time_s: Floats, weight: Floats, length_s: Floats) -> Floats:
    """(lengths, bins) the strokes' places in a beat of each length."""
    place = ((time_s[None, :] / length_s[:, None]) % 1.0 * _BINS).astype(np.int64) % _BINS
    place += _BINS * np.arange(len(length_s))[:, None]
    table = np.bincount(
        place.ravel(),
        weights=np.broadcast_to(weight, place.shape).ravel(),
        minlength=len(length_s) * _BINS,
    )
    return table.reshape(len(length_s), _BINS).astype(np.float64)


def _templates(length_s: Floats) -> Floats:
    """(grids, lengths, bins) the log density of places over an even spread."""
    x = (np.arange(_BINS) + 0.5) / _BINS
    return np.array(
        [_log_density(x[None, :], spread_of(length_s)[:, None], grid) for grid in GRIDS]
    )


def spread_of(length_s: Floats) -> Floats:
    """How far strokes scatter, in beats of a length."""
    found: Floats = np.hypot(SPREAD_S, _GROWS * length_s) / length_s
    return found


def _log_density(x: Floats, spread: Floats, grid: Grid) -> Floats:
    density = np.full(np.broadcast_shapes(x.shape, spread.shape), _ANYWHERE)
    for at, share in grid:
        off = (x - at + 0.5) % 1.0 - 0.5
        bell = np.exp(-0.5 * (off / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi))
        density = density + (1.0 - _ANYWHERE) * share * bell
    found: Floats = np.log(density)
    return found


def _gains(at: Floats, weight: Floats, beat_s: float) -> list[float]:
    """How well each of the grids explains places in beats, in nats."""
    spread = spread_of(np.array([beat_s]))
    return [float((weight * _log_density(at, spread, grid)).sum()) for grid in GRIDS]


def fit_as(at: Floats, weight: Floats, beat_s: float, *, grid: Grid) -> float:
    """How well one grid explains the strokes, in nats a stroke."""
    density = _log_density(at, spread_of(np.array([beat_s])), grid)
    return float((weight * density).sum()) / float(weight.sum())


def fits_late(at: Floats, weight: Floats, beat_s: float, *, bins: int) -> Floats:
    """(bins,) how well the grids explain the strokes where beats are so many parts later, in nats a
    stroke."""
    spread = spread_of(np.array([beat_s]))
    return np.array(
        [
            max(
                float((weight * _log_density(at - late / bins, spread, grid)).sum())
                for grid in GRIDS
            )
            for late in range(bins)
        ]
    ) / float(weight.sum())


def _course(gain: Floats) -> NDArray[np.int64]:
    """The path through (windows, lengths) that gains most, lengths changing little."""
    value = gain[0].copy()
    came: list[NDArray[np.int64]] = []
    for row in gain[1:]:
        best, source = np.full_like(value, -np.inf), np.zeros(len(value), np.int64)
        for shift in range(-_MOST_STEPS, _MOST_STEPS + 1):
            moved = np.full_like(value, -np.inf)
            low, high = max(0, shift), len(value) + min(0, shift)
            moved[low:high] = value[low - shift : high - shift] - _STEP_COST * abs(shift)
            better = moved > best
            best[better] = moved[better]
            source[better] = (np.arange(len(value)) - shift)[better]
        value = best + row
        came.append(source)
    path = [int(value.argmax())]
    for source in reversed(came):
        path.append(int(source[path[-1]]))
    return np.array(path[::-1], np.int64)


def settled(at: Floats, weight: Floats, beat_s: float, *, beats: float = _NEAR_BEATS) -> Floats:
    """Places in beats, each moved by what the strokes around it lie off the grid on the mean;
    ``beats`` on each side say so, as the spread of a bell."""
    spread = float(spread_of(np.array([beat_s]))[0])
    for _ in range(2):
        off, sure = _off(at, spread)
        at = at - _smooth(at, off, weight=weight * sure, beats=beats)
    return at


def _off(at: Floats, spread: float) -> tuple[Floats, Floats]:
    """How far each stroke is from its place of the grid that explains all best, and how surely."""
    grid = max(_PLAIN, key=lambda own: float(_log_density(at, np.array([spread]), own).sum()))
    offs = np.array([(at - place + 0.5) % 1.0 - 0.5 for place, _ in grid])
    nearest = np.abs(offs).argmin(axis=0)
    off = offs[nearest, np.arange(len(at))]
    found: Floats = np.exp(-0.5 * (off / (1.5 * spread)) ** 2)
    return off, found


def _smooth(at: Floats, off: Floats, *, weight: Floats, beats: float) -> Floats:
    """(n,) a straight line through what lies around each stroke: a weighted local regression."""
    step = beats / _NEAR_BEATS
    places = np.arange(np.floor(at[0]), np.ceil(at[-1]) + step, step)
    values = []
    for place in places.tolist():
        low, high = np.searchsorted(at, (place - 3 * beats, place + 3 * beats))
        x, y = at[low:high] - place, off[low:high]
        w = weight[low:high] * np.exp(-0.5 * (x / beats) ** 2)
        s0, s1, s2 = w.sum() + 1.0, (w * x).sum(), (w * x * x).sum() + beats**2
        t0, t1 = (w * y).sum(), (w * x * y).sum()
        values.append((t0 * s2 - t1 * s1) / (s0 * s2 - s1 * s1))
    found: Floats = np.interp(at, places, values)
    return found


def _mean_length(at: Floats, time_s: Floats) -> float:
    """The length of a beat: the slope of the straight line through all places."""
    x, y = at - at.mean(), time_s - time_s.mean()
    return float((x * y).sum() / max(float((x * x).sum()), 1e-12))
