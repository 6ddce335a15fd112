"""Which hit answers which target: the exact optimum within the capture windows.

Measured: for each voice, of all one-to-one answers in which a hit lies in its target's window,
one with the most answers and, of these, the least total absolute error. The window reaches
``capture_ms`` to either side, but never more than half the way to the neighbouring target of
that voice; both ends are inside. What is left: a missed target and an extra hit of another voice
inside its window make a wrong drum, again the most pairs and then the least total error.

Conventions: times are whole half-nanoseconds (``HALF_NS_PER_S``), int64, so that the middle
between two targets is exact, a hit on the edge of a window is on it, and equal distances are
equal. Hits are sorted. Where two answers are equally good, the earlier hit is taken.

Because windows of one voice touch but never overlap, almost every window is settled by itself:
its nearest hit answers. Only flams, drags and hits exactly half-way between two targets need the
search in ``assignment``. The cost grows with the number of hits, however they lie.

A grace stroke belongs to its main stroke: it has no window of its own, lies ``GRACE_S`` before
where it is expected, and when there are fewer hits than strokes it is the graces that are left
out.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from playalong.grading.matching.assignment import align, pair
from playalong.pattern.targets import GRACE_S, Targets

HALF_NS_PER_S = 2_000_000_000
HALF_NS_PER_MS = 2_000_000

Ints = NDArray[np.int64]

#: Which of its hits answers a target.
NEAREST, FIRST, LAST = range(3)

_GRACE = round(GRACE_S * HALF_NS_PER_S)

#: Where there is no neighbour: farther than any window.
_FAR = 3600 * HALF_NS_PER_S


def half_ns(time_s: NDArray[np.float64]) -> Ints:
    """Seconds, rounded to the nanosecond, as whole half-nanoseconds."""
    whole = np.rint(time_s * 1e9).astype(np.int64)
    whole *= 2
    return whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """The targets of one voice in order of time, with their capture windows; arrays of n.

    ``target`` int64, the target's number; ``time``, ``start``, ``end`` int64 half-nanoseconds;
    ``graces`` int8, grace strokes that belong to it; ``takes`` int8, which of its hits answers: the
    nearest (``NEAREST``), the first, where it begins a roll, or the last, right after one.
    """

    target: Ints
    time: Ints
    start: Ints
    end: Ints
    graces: NDArray[np.int8]
    takes: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.time)

    def __getitem__(self, part: slice | Ints | NDArray[np.bool_]) -> "Windows":
        return Windows(
            target=self.target[part],
            time=self.time[part],
            start=self.start[part],
            end=self.end[part],
            graces=self.graces[part],
            takes=self.takes[part],
        )

    @classmethod
    def joined(cls, parts: "Sequence[Windows]") -> "Windows":
        """All parts, in order of targets; of no parts, no windows."""
        if not parts:
            none, small = np.empty(0, np.int64), np.empty(0, np.int8)
            return cls(target=none, time=none, start=none, end=none, graces=small, takes=small)
        whole = cls(
            **{
                column.name: np.concatenate([getattr(part, column.name) for part in parts])
                for column in fields(cls)
            }
        )
        return whole[np.argsort(whole.target, kind="stable")]


def stroke_times(time: int, graces: int) -> list[int]:
    """When the grace strokes before a main stroke, and itself at last, are expected."""
    return [time - _GRACE * place for place in range(graces, -1, -1)]


def windows_of(targets: Targets, capture_ms: float) -> dict[int, Windows]:
    """The windows of each voice that has targets, by its index in ``kit.VOICES``."""
    time = half_ns(targets.time_s)
    capture = round(capture_ms * HALF_NS_PER_MS)
    found = {}
    for voice in np.flatnonzero(np.bincount(targets.voice, minlength=1)).tolist():
        numbers = np.flatnonzero(targets.voice == voice)
        own = time[numbers]
        middle = own[:-1] + np.diff(own) // 2
        start, end = own - capture, own + capture
        start[1:] = np.maximum(start[1:], middle)
        end[:-1] = np.minimum(end[:-1], middle)
        found[voice] = Windows(
            target=numbers,
            time=own,
            start=start,
            end=end,
            graces=targets.graces[numbers],
            takes=_takes(targets, numbers),
        )
    return found


def _takes(targets: Targets, numbers: Ints) -> NDArray[np.int8]:
    """Which of its hits answers each of the targets ``numbers``, all of one voice."""
    takes = np.full(len(numbers), NEAREST, np.int8)
    rolls = targets.rolls[numbers] >= 0
    if not rolls.any():
        return takes
    lasts_s, apart_s = targets.roll_s[numbers][:-1], np.diff(targets.time_s[numbers])
    after = np.append(False, rolls[:-1] & (lasts_s > 0.9 * apart_s))
    takes[rolls & ~after] = FIRST
    takes[after & ~rolls] = LAST
    return takes


def tolerances(targets: Targets, tolerance_ms: float) -> Ints:
    """(n,) how far from each target a hit is on time, in half-nanoseconds.

    That is ``tolerance_ms``, and at most two fifths of the way to a neighbour of its voice.
    """
    most: Ints = _to_neighbours(targets).min(axis=0) * 2 // 5
    return np.minimum(round(tolerance_ms * HALF_NS_PER_MS), most)


def edges(targets: Targets, capture_ms: float) -> Ints:
    """(2, n) how far before and after each target its window reaches, in half-nanoseconds."""
    widest: Ints = np.minimum(round(capture_ms * HALF_NS_PER_MS), _to_neighbours(targets) // 2)
    return widest


def _to_neighbours(targets: Targets) -> Ints:
    """(2, n) how far the neighbours of its voice before and after each target are from it."""
    time = half_ns(targets.time_s)
    found = np.full((2, len(targets)), _FAR, np.int64)
    for voice in np.flatnonzero(np.bincount(targets.voice, minlength=1)).tolist():
        numbers = np.flatnonzero(targets.voice == voice)
        found[0, numbers[1:]] = found[1, numbers[:-1]] = np.diff(time[numbers])
    return found


@dataclass(frozen=True, slots=True)
class Answers:
    """Who answers whom, for one voice.

    ``hit`` int64 (n,): for each window the index of the hit that answers it, -1 for none.
    ``window`` int64 (m,): for each hit the index of the window that it answers, -1 for none.
    ``grace`` bool (m,): the hit is a grace stroke of that window's target.
    """

    hit: Ints
    window: Ints
    grace: NDArray[np.bool_]


def answer(windows: Windows, hits: Ints) -> Answers:
    """The best answers of ``hits`` (m sorted times of one voice) to ``windows``."""
    found = Answers(
        np.full(len(windows), -1, dtype=np.int64),
        np.full(len(hits), -1, dtype=np.int64),
        np.zeros(len(hits), dtype=np.bool_),
    )
    if not len(windows) or not len(hits):
        return found
    # The last window that starts at or before each hit.
    which = np.searchsorted(windows.start, hits, side="right") - 1
    within = (which >= 0) & (hits <= windows.end[which])
    on_edge = within & (hits == windows.start[which]) & (which > 0)
    on_edge &= windows.end[np.maximum(which - 1, 0)] == hits

    alone = windows.graces == 0
    joined = np.zeros(len(windows), dtype=np.bool_)  # with the window before
    joined[which[on_edge]] = True
    alone &= ~joined
    alone[:-1] &= ~joined[1:]

    _nearest(windows, hits, np.flatnonzero(within & alone[which]), which=which, found=found)
    for first, last in _runs(~alone, joined):
        _search(windows, hits, first=first, last=last, found=found)
    return found


def _nearest(windows: Windows, hits: Ints, rows: Ints, *, which: Ints, found: Answers) -> None:
    """Give each lone window that of its hits, ``rows``, which it takes, the earliest of equals."""
    if not len(rows):
        return
    window = which[rows]
    if bool((window[1:] > window[:-1]).all()):  # one hit in each
        found.hit[window], found.window[rows] = rows, window
        return
    distance = np.abs(hits[rows] - windows.time[window])
    takes = windows.takes[window]
    if takes.any():
        begins = np.where(takes == FIRST, hits[rows] - windows.start[window], distance)
        distance = np.where(takes == LAST, windows.end[window] - hits[rows], begins)
    firsts = _firsts(window)
    least = np.minimum.reduceat(distance, firsts)
    sizes = np.diff(np.append(firsts, len(rows)))
    equal = np.flatnonzero(distance == np.repeat(least, sizes))
    chosen = equal[_firsts(window[equal])]
    found.hit[window[chosen]] = rows[chosen]
    found.window[rows[chosen]] = window[chosen]


def _firsts(values: Ints) -> Ints:
    """The first row of each stretch of equal ``values``, at least one."""
    return np.append(0, np.flatnonzero(values[1:] != values[:-1]) + 1)


def _runs(member: NDArray[np.bool_], joined: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """Runs (first, last) of members, each joined with the one before it."""
    members = np.flatnonzero(member)
    begins = np.flatnonzero(~joined[members])
    ends = np.append(begins, len(members))[1:] - 1
    yield from zip(members[begins].tolist(), members[ends].tolist(), strict=True)


def _search(windows: Windows, hits: Ints, *, first: int, last: int, found: Answers) -> None:
    """Settle the windows ``first`` to ``last``, which share hits or have grace strokes."""
    strokes: list[tuple[int, int, int]] = []
    candidates: set[int] = set()
    for window in range(first, last + 1):
        time, start, end = (
            int(column[window]) for column in (windows.time, windows.start, windows.end)
        )
        times = stroke_times(time, int(windows.graces[window]))
        strokes += [(at, start, end) for at in times]
        candidates |= _candidates(hits, start=start, end=end, times=times)
    rows = sorted(candidates)
    answers = iter(align(strokes, [int(hits[row]) for row in rows]))
    for window in range(first, last + 1):
        own = islice(answers, int(windows.graces[window]) + 1)
        played = [rows[choice] for choice in own if choice is not None]
        if played:
            found.hit[window] = played[-1]
            found.window[played] = window
            found.grace[played[:-1]] = True


def _candidates(hits: Ints, *, start: int, end: int, times: list[int]) -> set[int]:
    """The hits in a window that a best answer may need: near a stroke, or on an edge.

    Of the hits on one side of a stroke, with k strokes in the window, only the k nearest matter:
    one of them is always free. On an edge the neighbouring window may take one too.
    """
    low = int(np.searchsorted(hits, start, side="left"))
    high = int(np.searchsorted(hits, end, side="right"))
    reach = len(times) + 1
    rows = {*range(low, min(low + reach, high)), *range(max(high - reach, low), high)}
    for time in times:
        near = int(np.searchsorted(hits, time))
        rows |= set(range(max(near - reach, low), min(near + reach, high)))
    return rows


def wrong_drums(time: Ints, start: Ints, end: Ints, *, extras: Ints) -> Ints:
    """For each missed target the index of the extra hit that was meant for it, -1 for none.

    ``time``, ``start``, ``end``: (n,) of the missed targets, in any order; ``extras``: (m,)
    sorted times of hits that answer nothing.
    """
    found = np.full(len(time), -1, dtype=np.int64)
    if not len(time) or not len(extras):
        return found
    low = np.searchsorted(extras, start, side="left")
    high = np.searchsorted(extras, end, side="right")
    rows = np.flatnonzero(high > low)
    rows = rows[np.lexsort((time[rows], low[rows]))]
    if not len(rows):
        return found
    reached = np.maximum.accumulate(high[rows])
    begins = np.append(0, np.flatnonzero(low[rows][1:] >= reached[:-1]) + 1)
    sizes = np.diff(np.append(begins, len(rows)))

    lone = rows[begins[sizes == 1]]
    after = np.clip(np.searchsorted(extras, time[lone]), low[lone], high[lone] - 1)
    before = np.maximum(after - 1, low[lone])
    nearer = np.abs(extras[before] - time[lone]) <= np.abs(extras[after] - time[lone])
    found[lone] = np.where(nearer, before, after)

    for begin, size in zip(begins[sizes > 1].tolist(), sizes[sizes > 1].tolist(), strict=True):
        group = rows[begin : begin + size].tolist()
        costs = []
        for row in group:
            near = int(np.searchsorted(extras, time[row]))
            reach = range(max(near - size, int(low[row])), min(near + size, int(high[row])))
            costs.append({hit: abs(int(extras[hit]) - int(time[row])) for hit in reach})
        for row, hit in zip(group, pair(costs), strict=True):
            found[row] = -1 if hit is None else hit
    return found
