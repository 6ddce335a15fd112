"""Where the player is against what is written, all along a run.

The lag of a hit against a target of its voice is the time from the one to the other. Every pair
that could belong together votes for its lag, in the second of the run in which the target is
written, with a bell that is as wide as people scatter: the table of votes, seconds of the run by
lags. The player's course is the path through it that gathers most votes, where moving to a
neighbouring lag costs a little for each step (a tempo that is not quite the written one) and
leaping to another costs as much as most of a bar's strokes (a place that was lost), and what is
left out. The best path
is found by dynamic programming (Viterbi, Error bounds for convolutional codes, IEEE Transactions
on Information Theory 13(2), 1967; from memory).

A path is coarse, to ``BIN_S``; who wants it finer fits lines through the pairs that lie on it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: The width of a lag's place in the table.
BIN_S = 0.010

#: How long a row of the table is, in written seconds.
ROW_S = 1.0

#: The table has no more cells than this: in an hour, lags of some seconds are looked at.
_MOST_CELLS = 4_000_000

#: The spread of a vote: what drummers' strokes have around the click (24 ms, median of takes of
#: the Groove MIDI Dataset, Gillick et al., ICML 2019).
BELL_S = 0.024
_BELL = np.exp(-0.5 * (np.arange(-6, 7) * BIN_S / BELL_S) ** 2)

#: The fastest that a path drifts without a leap, in lags for a row: about an eighth of the tempo.
_DRIFT = 12

#: A step that is so much larger than is usual on the path, in lags, belongs to a leap; and a leap
#: leads further than this.
_SUDDEN, _LEAST_LEAP = 5, 12

#: What a step to the next lag costs, as a part of the strokes of a row; what a leap costs, as a
#: part of the strokes of a bar.
_STEP_COST, _LEAP_COST = 0.03, 0.5


@dataclass(frozen=True, kw_only=True)
class LagPath:
    """A path; arrays of r, a value for each row.

    ``start_s`` float64, the written second at which a row begins; ``lag_s`` float64, how much
    later than written (at ``ratio`` times the tempo) the player is; ``stretch`` int64, counts
    the leaps before. ``votes`` is what the path gathered, at most one for each target.
    """

    start_s: Floats
    lag_s: Floats
    stretch: Ints
    ratio: float
    votes: float

    def rows(self, written_s: Floats) -> Ints:
        """The row in which each written second lies."""
        after = np.searchsorted(self.start_s, written_s, side="right") - 1
        return np.clip(after, 0, len(self.start_s) - 1)

    def lags_s(self, written_s: Floats) -> Floats:
        """The lag at each written second: between the rows' middles on a line, but for leaps."""
        row, middle = self.rows(written_s), self.start_s + ROW_S / 2.0
        found = np.empty(len(written_s))
        for number in range(int(self.stretch[-1]) + 1):
            own, here = self.stretch == number, self.stretch[row] == number
            found[here] = np.interp(written_s[here], middle[own], self.lag_s[own])
        return found


def counted_voices(targets: Targets, hits: Hits) -> NDArray[np.int16]:
    """The voices of hits as they count in the pattern."""
    return targets.counts_as[hits.voice]


def lag_path(
    targets: Targets,
    hits: Hits,
    *,
    ratio: float = 1.0,
    start_s: float = 0.0,
    reach_s: float = 0.5,
    begins_s: float = np.inf,
    leaps: bool = False,
) -> LagPath:
    """The best path of ``hits`` against ``targets``, laid from second 0.

    The player's tempo is about ``ratio`` times the written one, and bar 1 begins near
    ``start_s``, at most ``begins_s`` from there. Lags up to ``reach_s`` from there are looked at,
    less in a run of many minutes; only with ``leaps`` may the path leap.
    """
    rows = max(1, int(np.ceil(targets.end_s / ROW_S)))
    reach = min(round(reach_s / BIN_S), max(_DRIFT, _MOST_CELLS // (2 * rows)))
    places = 2 * reach + 1
    votes = _votes(
        targets, hits, ratio, low_s=start_s - (places // 2) * BIN_S, shape=(rows, places)
    )
    strokes_row = len(targets) / rows
    step_cost = _STEP_COST * strokes_row
    leap_cost = _LEAP_COST * len(targets) / targets.bars

    drift = np.arange(-_DRIFT, _DRIFT + 1)
    toll = step_cost * np.abs(drift)
    off = np.abs(np.arange(places) - places // 2)
    value = np.where(off * BIN_S <= begins_s, votes[0] - step_cost * off / 4.0, -np.inf)
    # The values of each row, and for each lag those from which it can be reached. Whence the best
    # path came is asked only along that path.
    values = np.full((rows, places + 2 * _DRIFT), -np.inf)
    near = np.lib.stride_tricks.sliding_window_view(values, len(drift), axis=1)
    leapt_from = np.full((rows, places) if leaps else (0, 0), -1)
    for row in range(1, rows):
        values[row - 1, _DRIFT:-_DRIFT] = value
        gained = (near[row - 1].T - toll[:, None]).max(axis=0)
        if leaps:
            origin, leapt = _leaps(value, strokes_row * BIN_S / ROW_S)
            leap = leapt - leap_cost > gained
            leapt_from[row, leap] = origin[leap]
            gained[leap] = leapt[leap] - leap_cost
        value = gained + votes[row]

    lag = np.empty(rows, np.int64)
    lag[-1] = value.argmax()
    for row in range(rows - 1, 0, -1):
        own = int(lag[row])
        leapt_to = leapt_from[row, own] if leaps else -1
        stepped = own + drift[(near[row - 1, own] - toll).argmax()]
        lag[row - 1] = leapt_to if leapt_to >= 0 else stepped
    stretch = _stretches(lag, votes) if leaps else np.zeros(rows, np.int64)
    return LagPath(
        start_s=ROW_S * np.arange(rows, dtype=np.float64),
        lag_s=start_s + BIN_S * (lag - places // 2).astype(np.float64),
        stretch=stretch,
        ratio=ratio,
        votes=float(value.max()),
    )


def _stretches(lag: Ints, votes: Floats) -> Ints:
    """(r,) how many leaps lie before each row. A leap may be taken in a few large steps, against
    what is usual on the path: the lags between are then set to those before or after it."""
    steps = np.diff(lag)
    sudden = np.abs(steps - np.median(steps)) > _SUDDEN if len(steps) else np.zeros(0, np.bool_)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], sudden, [False]]).astype(np.int8)))
    stretch = np.zeros(len(lag), np.int64)
    for first, end in edges.reshape(-1, 2).tolist():
        before, after = int(lag[first]), int(lag[end])
        if abs(after - before) <= _LEAST_LEAP:
            continue
        stay = np.append(0.0, np.cumsum(votes[first + 1 : end, before]))
        gone = np.append(np.cumsum(votes[first + 1 : end, after][::-1])[::-1], 0.0)
        split = first + 1 + int((stay + gone).argmax())
        lag[first + 1 : split], lag[split:end] = before, after
        stretch[split:] += 1
    return stretch


def _leaps(value: Floats, back_cost: float) -> tuple[Ints, Floats]:
    """For each lag the best to leap from, and what its path is then worth.

    Who leaps back in lag leaves out strokes: each of ``back_cost`` a lag, lest hits vote twice.
    """
    place = np.arange(len(value))
    forth = np.maximum.accumulate(value)
    sloped = (value - back_cost * place)[::-1]
    back = np.maximum.accumulate(sloped)
    forth_from = np.maximum.accumulate(np.where(value >= forth, place, 0))
    back_from = np.maximum.accumulate(np.where(sloped >= back, place, 0))
    back_value = back[::-1] + back_cost * place
    return (
        np.where(forth >= back_value, forth_from, place[::-1][back_from[::-1]]),
        np.maximum(forth, back_value),
    )


def _votes(
    targets: Targets, hits: Hits, ratio: float, *, low_s: float, shape: tuple[int, int]
) -> Floats:
    """The table of votes, (rows, lags from ``low_s`` on)."""
    rows, places = shape
    # What is laid before second 0, where a start was found there, counts to the first row.
    row_of = np.clip((targets.time_s / ROW_S).astype(np.int64), 0, rows - 1)
    written_s = targets.time_s / ratio
    voices = counted_voices(targets, hits)
    edge = len(_BELL) // 2
    width = places + 2 * edge
    low_s -= (edge + 0.5) * BIN_S
    cells = [np.zeros(0, np.int64)]
    for code in np.unique(voices).tolist():
        target = np.flatnonzero(targets.voice == code)
        own_s = np.sort(hits.time_s[voices == code])  # those of a mended run are in no order
        first = np.searchsorted(own_s, written_s[target] + low_s)
        last = np.searchsorted(own_s, written_s[target] + low_s + width * BIN_S)
        n = last - first
        which = np.repeat(target, n)
        hit = np.arange(len(which)) - np.repeat(np.cumsum(n) - n, n) + np.repeat(first, n)
        place = ((own_s[hit] - written_s[which] - low_s) / BIN_S).astype(np.int64)
        cells.append(row_of[which] * width + np.clip(place, 0, width - 1))
    table = np.bincount(np.concatenate(cells), minlength=rows * width).reshape(rows, width)
    spread = np.zeros(shape)
    for shift, part in enumerate(_BELL.tolist()):
        spread += part * table[:, shift : shift + places]
    most = np.bincount(row_of, minlength=rows).astype(np.float64)
    return np.minimum(spread, most[:, None])
