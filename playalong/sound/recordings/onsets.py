"""Where a recording's sounds begin, and beats told by tapping laid on them.

* Onset strength: the growth of the spectrum from one hop to the next, in bands an ear might tell
  apart, on a scale of loudness (spectral flux; Bello et al., A tutorial on onset detection in
  music signals, IEEE Transactions on Speech and Audio Processing 13(5), 2005, from memory). It is
  divided by what is usual in the seconds around, so that a soft passage counts like a loud one.
* Taps: people tap early or the kit comes late, which is the same for all taps and is taken out
  first; then each tap scatters by itself. Of all ways to give each tap an onset near it, or none,
  the one is taken that has strong onsets, near the taps, at even distances. How near is asked
  follows from the scatter of the taps. Even is forgiven where the tempo jumps.
* Further on: where the tapping ends, beats go on with a period that changes slowly, along
  the path through the strongest onsets (after Ellis, Beat tracking by dynamic programming,
  Journal of New Music Research 36(1), 2007, from memory), and are then laid on the onsets
  likewise. Where the tapped beats are weaker than what lies between them, they are known by both.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.beat_map import BeatMap
from playalong.sound.recordings.decoding import Progress
from playalong.sound.timeline import RATE, Frames
from playalong.support.errors import UserError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Frames from one measurement to the next, 5 ms, and frames that each one hears, 21 ms.
HOP, HEARD = 240, 1024
HOP_S = HOP / RATE

#: The fewest taps from which beats can be told.
FEWEST = 8

#: How far all taps together may be early (positive) or late against the recording, in seconds;
#: some tens of milliseconds early is usual (Repp, Sensorimotor synchronization, Psychonomic
#: Bulletin & Review 12(6), 2005).
EARLIEST_S, LATEST_S, USUAL_S = 0.15, -0.10, 0.02

#: What is taken for the scatter of taps at least: of a few taps it may look less than it is.
_LEAST_SCATTER_S = 0.015

#: So many taps before or after one tell where it should be. It has slipped where it is off by more
#: than this part of a beat and by more than so many seconds, which no scatter of good taps is.
_SIDE, _SLIP, _SLIP_S = FEWEST // 2, 0.25, 0.12

#: Something begins on a beat where an onset of this strength is so near, in beats.
_BEGUN, _BESIDE = 0.25, 0.2

#: The most beats without a tap that are filled in.
GAP_BEATS = 8

_BANDS = 24
_BRIGHT = 17  # the first of the bands in which drums begin and little else does
_LOUDER = 1000.0  # what a full-scale spectrum is multiplied by before its logarithm
_AROUND_S = 4.0
_RISE = 4  # hops that a rise takes at most
_HALF_EARLY = 1.0  # so many hops before a stroke begins its window has risen to the half


class TapError(UserError):
    """Taps from which no beats can be told."""


class Sounding(Protocol):
    """A recording, as far as it is needed here."""

    @property
    def frames(self) -> int:
        """Its length in frames at ``RATE``."""
        ...

    def read(self, begin: int, count: int) -> Frames:
        """(count, 2) from frame ``begin``, or fewer where it ends."""
        ...


@dataclass(frozen=True)
class Onsets:
    """Onset strength of a recording.

    ``strength`` float64 (n,): how much begins at each hop of ``HOP_S``, 0 where nothing does and
    about 1 where the strong onsets around do. ``bright`` (n,): how much begins above some 3 kHz,
    not held against what is around, on a scale of its own; none where it is not known.
    """

    strength: Floats
    bright: Floats | None = None

    @classmethod
    def of(cls, recording: Sounding, progress: Progress | None = None) -> "Onsets":
        """The onsets of ``recording``; ``progress`` is told the share done."""
        at_once = 64  # few enough to stay in a processor's cache
        bands = _bands()
        window = np.hanning(HEARD + 1)[:-1].astype(np.float32)
        hops = max(1, recording.frames // HOP)
        flux, bright = np.zeros(hops), np.zeros(hops)
        last = np.zeros((2, _BANDS), np.float32)
        for start in range(0, hops, at_once):
            count = min(at_once, hops - start)
            begin = start * HOP - HEARD // 2
            mono = np.zeros((count - 1) * HOP + HEARD, np.float32)
            there = recording.read(begin, len(mono))
            mono[: len(there)] = (there[:, 0] + there[:, 1]) / np.float32(2.0)
            pieces = np.lib.stride_tricks.sliding_window_view(mono, HEARD)[::HOP]
            size = np.abs(np.fft.rfft(pieces * window, axis=1)).astype(np.float32)
            loud = np.concatenate([last, np.log1p(_LOUDER / HEARD * (size @ bands))])
            rise = np.maximum(loud[2:] - loud[:-2], 0.0)
            flux[start : start + count] = rise.sum(axis=1)
            bright[start : start + count] = rise[:, _BRIGHT:].sum(axis=1)
            last = loud[-2:]
            if progress is not None:
                progress((start + count) / hops)
        return cls(_levelled(flux), bright)

    @cached_property
    def peaks(self) -> tuple[Floats, Floats]:
        """Onsets: (k,) seconds, and (k,) their strengths.

        Each is timed by its rise to half its strength, not by its top: where a bass note speaks a
        little after the stroke with which it begins, the top comes late and the rise does not.
        """
        s = self.strength
        top = np.flatnonzero((s[1:-1] > s[:-2]) & (s[1:-1] >= s[2:]) & (s[1:-1] > 0.08)) + 1
        half = s[top] / 2.0
        above = top.copy()  # the first hop of the rise that is above the half
        for _ in range(_RISE):
            above -= (above > 0) & (s[above - 1] >= half)
        before = s[np.maximum(above - 1, 0)]
        part = ((s[above] - half) / np.maximum(s[above] - before, 1e-12)).clip(0.0, 1.0)
        return (above - part + _HALF_EARLY) * HOP_S, s[top]

    def near(self, begin_s: float, end_s: float) -> tuple[Floats, Floats]:
        """The onsets from ``begin_s`` to ``end_s``, and their strengths."""
        times_s, strength = self.peaks
        low, high = np.searchsorted(times_s, (begin_s, end_s))
        return times_s[low:high], strength[low:high]


def _bands() -> Frames:
    """(bins, bands): which parts of the spectrum belong together, narrow ones below."""
    hz = np.fft.rfftfreq(HEARD, 1.0 / RATE)
    edges = np.geomspace(60.0, 16_000.0, _BANDS + 1)
    table = np.zeros((len(hz), _BANDS), np.float32)
    for band, (low, high) in enumerate(pairwise(edges.tolist())):
        inside = (hz >= low) & (hz < high)
        if not inside.any():
            inside[np.abs(hz - (low + high) / 2.0).argmin()] = True
        table[inside, band] = 1.0 / inside.sum()
    return table


def _levelled(flux: Floats) -> Floats:
    """``flux`` above what is usual around it, over the strong onsets around it."""
    width = round(_AROUND_S / HOP_S)
    padded = np.pad(flux, width // 2, mode="reflect" if len(flux) > width else "edge")
    marks = np.arange(0, len(flux), width // 8)
    rows = np.stack([padded[mark : mark + width] for mark in marks])
    usual, strong = np.median(rows, axis=1), np.quantile(rows, 0.995, axis=1)
    hops = np.arange(len(flux))
    usual, strong = np.interp(hops, marks, usual), np.interp(hops, marks, strong)
    least = 0.1 * float(strong.max(initial=0.0)) + 1e-9  # noise in a pause is no onset
    return np.asarray(np.maximum(flux - usual, 0.0) / np.maximum(strong - usual, least))


# Taps.


def refined(
    taps_s: Sequence[float] | Floats, onsets: Onsets, per_bar: int = 4, *, first: int = 0
) -> BeatMap:
    """The beats that ``taps_s`` (seconds in the recording) mean, on the onsets of the recording.

    The first tap is beat 0 of the map. Where a tap was left out its beat is put in, but a beat that
    is held stays one: it is told by nothing that begins in it. TapError says in plain words when no
    beats can be told: fewer than ``FEWEST`` taps, or too irregular ones.
    """
    taps = _once(np.sort(np.asarray(taps_s, np.float64)))
    if len(taps) < FEWEST:
        raise TapError(
            f"{len(taps)} taps are too few to tell the beats: tap at least {FEWEST}, one on each "
            "beat."
        )
    beats = np.append(0, np.cumsum(_unheld(taps, _steps(taps), onsets)))
    grid = np.arange(beats[-1] + 1)
    taps, slipped = _mended(taps, beats)
    tapped = np.isin(grid, beats[~slipped])
    guess = np.interp(grid, beats, taps)
    scatter_s = _scatter_s(taps, beats)
    guess = guess + _early_s(taps, onsets, scatter_s)
    for _ in range(2):
        found, certain = _laid(guess, tapped, onsets, scatter_s=scatter_s)
        both = tapped & certain
        if both.sum() >= FEWEST // 2:
            # Where all were early by a little more or less than was thought.
            guess = guess + float(np.median(found[both] - guess[both]))
    found, _ = _laid(guess, tapped, onsets, scatter_s=scatter_s)
    return BeatMap.of(found, first, per_bar)


def continued(beat_map: BeatMap, onsets: Onsets) -> BeatMap:
    """``beat_map`` from the beginning of the recording to its end, along its onsets.

    Bar 1 stays where it is; bars before it come to the front as whole beats.
    """
    times_s = np.array(beat_map.times_s)
    length_s = len(onsets.strength) * HOP_S
    after_s = _tracked(onsets.strength, times_s)
    # Backwards is forwards in a recording that runs backwards.
    before_s = length_s - HOP_S - _tracked(onsets.strength[::-1], length_s - HOP_S - times_s[::-1])
    guess = np.concatenate([before_s[::-1], times_s, after_s])
    known = np.zeros(len(guess), np.bool_)
    known[len(before_s) : len(before_s) + len(times_s)] = True
    found, _ = _laid(guess, np.ones(len(guess), np.bool_), onsets, scatter_s=_TRACKED_SCATTER_S)
    found[known] = times_s
    longer = len(before_s)
    changes = tuple((beat + longer, per_bar) for beat, per_bar in beat_map.changes)
    first = beat_map.first + longer
    return replace(BeatMap.of(found, first, beat_map.per_bar), changes=changes)


def _once(taps: Floats) -> Floats:
    """Without those that follow another at once: a pad that triggers twice."""
    if len(taps) < 2:
        return taps
    usual = float(np.median(np.diff(taps)))
    distinct = [float(taps[0])]
    for tap in taps[1:].tolist():
        if tap - distinct[-1] > usual / 3.0:
            distinct.append(tap)
    return np.array(distinct)


def _steps(taps: Floats) -> Ints:
    """How many beats lie from each tap to the next; TapError where they are no beats."""
    intervals = np.diff(taps)
    half = 4
    around = [intervals[max(0, n - half) : n + half + 1] for n in range(len(intervals))]
    # The lower of the middles: where taps are left out intervals are longer, never shorter.
    usual = np.array([np.quantile(each, 0.4) for each in around])
    parts = intervals / usual
    steps = np.maximum(np.rint(parts), 1.0)
    off = np.abs(parts / steps - 1.0)
    if np.mean(off > 0.22) > 0.2:
        raise TapError(
            "The taps are too irregular to tell the beats: tap one stroke on each beat, evenly, "
            "and again from the beginning."
        )
    if steps.max() > GAP_BEATS:
        at_s = float(taps[int(steps.argmax())])
        raise TapError(
            f"After {at_s:.1f} s there is no tap for {float(intervals[steps.argmax()]):.1f} s: tap "
            "through to the end, or only at the beginning."
        )
    return np.asarray(steps, np.int64)


def _unheld(taps: Floats, steps: Ints, onsets: Onsets) -> Ints:
    """``steps`` with one beat from tap to tap where the beat was held, and no tap left out.

    Where a tap was left out the taps after it go on in the time of those before, and something
    begins on most of the beats between.
    """
    unheld = steps.copy()
    for number in np.flatnonzero(steps > 1).tolist():
        begin_s, end_s = float(taps[number]), float(taps[number + 1])
        count = int(steps[number])
        between = np.linspace(begin_s, end_s, count + 1)[1:-1]
        reach_s = _BESIDE * (end_s - begin_s) / count
        begun = [
            bool((onsets.near(at - reach_s, at + reach_s)[1] > _BEGUN).any()) for at in between
        ]
        if 2 * sum(begun) < len(begun):
            unheld[number] = 1
    return unheld


def _mended(taps: Floats, beats: Ints) -> tuple[Floats, NDArray[np.bool_]]:
    """``taps`` with slips put where the taps around have the beat, and which these were.

    A slip goes on neither with the taps before it nor with those after it. Above all the first
    tap may be one: who does not know the recording yet answers its first beat when it is over.
    """
    mended, slipped = taps.copy(), np.zeros(len(taps), np.bool_)
    for number, (tap, beat) in enumerate(zip(taps.tolist(), beats.tolist(), strict=True)):
        sides = [slice(number - _SIDE, number)] if number >= _SIDE else []
        sides += [slice(number + 1, number + 1 + _SIDE)] if number + _SIDE < len(taps) else []
        lines = [np.polyfit(beats[side] - beat, taps[side], 1).tolist() for side in sides]
        period, expected = min(lines, key=lambda line: abs(tap - line[1]))
        if abs(tap - expected) > max(_SLIP * period, _SLIP_S):
            mended[number], slipped[number] = expected, True
    return mended, slipped


def _scatter_s(taps: Floats, beats: Ints) -> float:
    """How far single taps scatter, as a standard deviation: from their second differences."""
    periods = np.diff(taps) / np.diff(beats)
    bends = np.abs(np.diff(periods))
    return float(np.clip(1.4826 * np.median(bends) / 6.0**0.5, _LEAST_SCATTER_S, 0.035))


def _early_s(taps: Floats, onsets: Onsets, scatter_s: float) -> float:
    """How much later than the taps the onsets are that they mean."""
    shifts = np.arange(LATEST_S, EARLIEST_S, HOP_S)
    width = max(1, round(scatter_s / HOP_S))
    reach = np.arange(-3 * width, 3 * width + 1)
    blurred = np.convolve(onsets.strength, np.exp(-0.5 * (reach / width) ** 2), "same")
    hops = np.arange(len(blurred)) * HOP_S
    votes = np.array([np.interp(taps + shift, hops, blurred).mean() for shift in shifts])
    usual = np.exp(-0.5 * ((shifts - USUAL_S) / 0.08) ** 2)
    return float(shifts[int((votes * usual).argmax())])


# Beats onto onsets.

_TRACKED_SCATTER_S = 0.014
_STRONG = 5.0  # what an onset of usual strength is worth, in units of the squared distances below
_NO_ONSET = -1.0
_FAR_CAP = 4.0  # a tap can slip
_UNEVEN_CAP = 6.0  # the tempo can jump
_FEW_BEATS = 5


def _laid(
    guess: Floats, tapped: NDArray[np.bool_], onsets: Onsets, *, scatter_s: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Each of ``guess`` (n,) on the onset it means, and whether there is one.

    The best path through the candidates of all beats, scored for strength, for nearness to the
    guess, and for each three beats that they are even.
    """
    count = len(guess)
    reach_s = 4.5 * scatter_s
    periods = np.gradient(guess)
    times: list[Floats] = []
    worth: list[Floats] = []
    lands: list[NDArray[np.bool_]] = []
    for at, is_tap, period in zip(guess.tolist(), tapped.tolist(), periods.tolist(), strict=True):
        within = min(reach_s, 0.3 * period)
        width = scatter_s if is_tap else 2.0 * scatter_s
        near_s, strength = onsets.near(at - within, at + within)
        bare = at + within * np.array([-0.5, -0.25, 0.0, 0.25, 0.5])
        time = np.concatenate([near_s, bare])
        gain = np.append(_STRONG * np.minimum(strength, 1.3), np.full(len(bare), _NO_ONSET))
        times.append(time)
        worth.append(gain - np.minimum(0.5 * ((time - at) / width) ** 2, _FAR_CAP))
        lands.append(np.arange(len(time)) < len(near_s))

    # Paths by their last two candidates, (before, last): the best score of each, and whence.
    score = worth[0][:, None] + worth[1][None, :]
    came: list[Ints] = []
    for number in range(2, count):
        a, b, c = times[number - 2], times[number - 1], times[number]
        even_s = 0.006 + 0.012 * abs(float(periods[number - 1]))
        bend = (c[None, None, :] - 2.0 * b[None, :, None] + a[:, None, None]) / even_s
        total = score[:, :, None] - np.minimum(0.5 * bend * bend, _UNEVEN_CAP)
        came.append(total.argmax(axis=0))
        score = total.max(axis=0) + worth[number][None, :]
    before, last = np.unravel_index(int(score.argmax()), score.shape)
    path = [int(last), int(before)]
    for whence in reversed(came):
        path.append(int(whence[path[-1], path[-2]]))
    path.reverse()

    found = np.array([times[n][k] for n, k in enumerate(path)])
    certain = np.array([bool(lands[n][k]) for n, k in enumerate(path)])
    return (_filled(found, guess, certain) if certain.any() else found), certain


def _filled(found: Floats, guess: Floats, certain: NDArray[np.bool_]) -> Floats:
    """``found`` with beats on which nothing begins put between their neighbours.

    Evenly where they are few; in a longer pause, and outside, as they lie in ``guess``.
    """
    number = np.arange(len(found))
    known = number[certain]
    moved = guess + np.interp(number, known, (found - guess)[certain])
    even = np.interp(number, known, found[certain])
    place = np.searchsorted(known, number)
    inside = (place > 0) & (place < len(known))
    gap = known[np.minimum(place, len(known) - 1)] - known[np.maximum(place - 1, 0)]
    return np.where(certain, found, np.where(inside & (gap <= _FEW_BEATS), even, moved))


# Further on.

_SHORTEST, _LONGEST = 0.64, 1.6  # of the period that was tapped
_PERIODS = 48  # that are told apart, 2 per cent each
_CHANGE = 250.0  # what a change of the period costs, for its squared logarithm
_JUMP = 2.0, 8.0  # what one costs at most, and for its logarithm
_OTHER = 2.0  # what each beat costs whose period is not the tapped one, likewise

#: Nearer to a beat than this part of it is the beat itself; and the most that what is heard
#: between the beats may weigh against what is heard on them.
_FIRST_PART, _MOST_WEIGHT = 0.2, 2.0


def _tracked(strength: Floats, times_s: Floats) -> Floats:
    """Beats after the last of ``times_s``, to the end of ``strength``."""
    tail = np.diff(times_s)[-8:]
    period = float(np.median(tail)) / HOP_S
    low, high = max(2, round(_SHORTEST * period)), round(_LONGEST * period)
    origin = round(float(times_s[-1]) / HOP_S)
    if origin + low >= len(strength):
        return np.zeros(0)
    reach = np.arange(-4, 5)
    blurred = np.convolve(strength, np.exp(-0.5 * (reach / 1.5) ** 2), "same")
    heard = np.minimum(blurred, 2.0)
    part, weight = _between(heard, times_s)
    gain = heard[origin:]
    gain = gain - gain.mean()

    hops = len(gain)
    periods = np.unique(np.rint(np.geomspace(low, high, _PERIODS)).astype(np.int64))
    log = np.log(periods / period)
    # (to, from): what it costs to change from one period to another.
    cost = _change(log[:, None] - log[None, :]) + _OTHER * log[:, None] ** 2
    nothing = -1e9
    back = np.rint((1.0 - part) * periods).astype(np.int64)
    rows = high + low  # best is needed for so long, and then written over
    best = np.full((rows, len(periods)), nothing)
    best[0] = -_change(log)
    whence = np.zeros((hops, len(periods)), np.int8)
    for start in range(1, hops, low):  # so many at once hold no two beats of one path
        at = np.arange(start, min(start + low, hops))
        source = at[:, None] - periods[None, :]
        prior = best[source % rows]  # before the first hop lie rows that nothing was written to
        prior -= cost
        chosen = prior.argmax(axis=2)
        whence[at] = chosen
        worth = gain[at, None]
        if weight:
            worth = worth + weight * gain[np.maximum(at[:, None] - back[None, :], 0)]
        best[at % rows] = np.take_along_axis(prior, chosen[:, :, None], axis=2)[:, :, 0] + worth
    ends = np.arange(max(0, hops - high), hops)
    end, kind = divmod(int(best[ends % rows].argmax()), len(periods))
    hop = int(ends[end])
    found = []
    while hop > 0:
        found.append(origin + hop)
        kind, hop = int(whence[hop, kind]), hop - int(periods[kind])
    return np.array(found[::-1], np.float64) * HOP_S


def _between(heard: Floats, times_s: Floats) -> tuple[float, float]:
    """Where between the beats at ``times_s`` most is heard, as a part of a beat, and its weight.

    Where that is more than on the beats, the beats are to be known by it: or they would slip to
    where more is heard. Weighed by how much more it is, it is worth most where it was. Elsewhere
    it says nothing, and its weight is 0.
    """
    parts = np.arange(_FIRST_PART, 1.0 - _FIRST_PART + 0.01, 0.05)
    before, lengths = times_s[:-1], np.diff(times_s)
    hops = np.rint((before + parts[:, None] * lengths) / HOP_S).astype(np.int64)
    means = heard[hops.clip(0, len(heard) - 1)].mean(axis=1)
    on_beats = heard[np.rint(before / HOP_S).astype(np.int64).clip(0, len(heard) - 1)].mean()
    most = int(means.argmax())
    more = float(means[most] / max(on_beats, 1e-9))
    return float(parts[most]), min(more, _MOST_WEIGHT) if more > 1.0 else 0.0


def _change(log: Floats) -> Floats:
    """What it costs to change the period by the logarithm ``log``."""
    size = np.abs(log)
    return np.minimum(_CHANGE * size * size, _JUMP[0] + _JUMP[1] * size)
