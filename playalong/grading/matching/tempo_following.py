"""Following a player who has no click: where bar 1 began, at what tempo, and how it went on.

The capture windows want to be laid where the player is, so that a drift is told as drift and not
as misses. Two steps:

* ``find``: start and tempo. For each tempo on a grid, every hit of the first bars and every
  target of its voice vote for the start that would bring them together; a voice with few strokes
  counts more for each, since it says more of the place. The likeliest starts and tempi are then
  held against the whole take (see ``lag_path``), and the one wins that answers most and leaves
  fewest hits before bar 1; strokes that count in, or one that slipped, are left there. Taps on
  what the pattern does not write, such as the rim, count in and answer nothing.
* ``follow``: the player's path is found, and through the pairs that lie on it a straight line is
  fitted around each second of the run, from a bar and a half before to as much after. So single
  strokes keep their errors, and only what lasts for bars is taken as the player's time.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from playalong.grading.matching.lag_path import BELL_S, ROW_S, LagPath, counted_voices, lag_path
from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets
from playalong.pattern.voices import VOICES

Floats = NDArray[np.float64]

#: How far from the written tempo the player's may be: from this part of it to that.
SLOWEST, FASTEST = 0.7, 1.4

_STEP = 0.004
_BARS_HEARD = 4
#: How many bars may go by before bar 1: a count-in, or two.
_BARS_BEFORE = 2.3
_VOTE_S = 0.010  # width of a vote's place; votes spread over three neighbours on each side
_VOTE = np.array((0.25, 0.5, 0.75, 1.0, 0.75, 0.5, 0.25))
_SAME = 12  # votes' places: starts so near one another are one

#: Starts that answer as much, but for this part of it, are looked at more closely.
_AS_GOOD = 0.03

#: How many likely starts are held against the take, of those with at least this part of the most
#: votes (a roll has as many as it has strokes), and for how many seconds of it.
_LIKELY, _MOST_LIKELY, _NEARLY, _HELD_S = 16, 96, 0.85, 45.0
#: What a hit before bar 1 takes off, in answered strokes: little for as many as count in, more
#: for each further one; and what another tempo than the written one does, as a part of the
#: strokes held: ten per cent off takes one per cent.
_COUNT_IN, _COUNT_IN_COST, _BEFORE_COST, _TEMPO_COST = 9, 0.2, 0.6, 0.1
#: What a stroke is worth that is asked after the last hit, where nobody has said how many bars were
#: played: it was not missed. For nothing, a start a bar too early would miss no more than the right
#: one; as an answered stroke, one a bar too late would not. In a bar that was begun less:
#: more likely it was missed. But a groove may end on a 1, which is then no bar that was begun.
_AFTER, _BEGUN = 0.5, 0.25

#: Where the hit lies that is a grace stroke: in seconds from where its main stroke was expected.
_GRACE_S = (-0.1, 0.08)

#: How far from the path a hit may lie to belong to it.
_REACH_S = 0.07
#: Holds the tempo of a fitted line to that of the path where few strokes tell: as much as strokes
#: with a spread of 24 ms would whose tempo is known to one per cent, in square seconds.
_STEADY = 6.0
#: Where the player's course keeps so near to a straight one, it is taken to be straight.
_STRAIGHT_S = 0.04

#: How far the whole course may be shifted, and for what part of the targets more.
_SHIFTS_S, _SHIFT_GAIN = np.arange(-3, 4) * 0.01, 0.01
_WINDOW_S = 0.1


@dataclass(frozen=True, slots=True)
class StartAndTempo:
    """Where bar 1 starts, in seconds, and the player's tempo as a part of the written one."""

    start_s: float
    ratio: float


@dataclass(frozen=True, kw_only=True)
class _Held:
    """A likely start, held against the take: ``found`` as it then is, and the ``path`` from there.

    In strokes, what it ``answered``, and what speaks for it and against it ``beside`` that; of
    ``graces_asked`` flams and drags, how many have a grace stroke.
    """

    found: StartAndTempo
    path: LagPath
    answered: float
    beside: float
    graces: int
    graces_asked: int

    def worth(self, share: float) -> float:
        """How much speaks for it, of a player who plays this part of all grace strokes."""
        return self.answered + self.beside - share * (self.graces_asked - self.graces)


def find(
    targets: Targets,
    hits: Hits,
    *,
    start_s: float | None = None,
    ratio: float | None = None,
    open_end: bool = False,
) -> StartAndTempo:
    """Start and tempo of ``hits`` (at least one) against ``targets``, laid from second 0.

    What is given, ``start_s`` or ``ratio``, is kept, and only the other is sought. ``open_end``:
    nobody has said how many bars were played, and the targets go on after them.
    """
    if start_s is not None and ratio is not None:
        return StartAndTempo(start_s, ratio)
    hits = _without_count_in(targets, hits)
    first_s = float(hits.time_s[0] - targets.time_s[0] / (ratio or 1.0))
    simplest = StartAndTempo(first_s if start_s is None else start_s, ratio or 1.0)
    likely = _likely(targets, hits, start_s=start_s, ratio=ratio)
    if not likely:
        return simplest
    held = [_held(targets, hits, each, open_end=open_end) for each in (simplest, *likely)]
    share = max(each.graces / max(each.graces_asked, 1) for each in held)
    best = max(held, key=lambda each: each.worth(share))
    # Which of those that are as good as the best, but for the width of a lag's place?
    least = best.worth(share) - _AS_GOOD * best.answered
    as_good = [
        _closer(targets, hits, each)
        for each in held
        if each.worth(share) >= least and abs(each.found.ratio - best.found.ratio) < _STEP / 2.0
    ]
    best = max(as_good, key=lambda each: each.worth(share))
    return best.found if start_s is None else replace(best.found, start_s=start_s)


def _without_count_in(targets: Targets, hits: Hits) -> Hits:
    """The hits from the first on a voice that the pattern writes; all, where so many come before it
    that they count nothing in."""
    written = np.isin(hits.voice, targets.voice)
    first = int(written.argmax())
    if first > _COUNT_IN:
        return hits
    return Hits(hits.time_s[first:], hits.voice[first:], hits.velocity[first:])


def _likely(
    targets: Targets, hits: Hits, *, start_s: float | None, ratio: float | None
) -> list[StartAndTempo]:
    """The starts and tempi with most votes of the first bars."""
    voices = counted_voices(targets, hits)
    bar_s = float(np.diff([*targets.bar_starts_s, targets.end_s])[0])
    first_s = float(hits.time_s[0] - targets.time_s[0])
    low, high = first_s - bar_s, first_s + _BARS_BEFORE * bar_s
    if start_s is not None:
        low, high = start_s - 3 * _VOTE_S, start_s + 3 * _VOTE_S
    heard_s = bar_s * _BARS_HEARD
    hit = np.flatnonzero(hits.time_s < high + heard_s / SLOWEST)
    target = np.flatnonzero(targets.time_s < heard_s)
    pairs = np.argwhere(voices[hit][:, None] == targets.voice[target][None, :])
    if not len(pairs):
        return []
    hit_s = hits.time_s[hit[pairs[:, 0]]]
    written_s = targets.time_s[target[pairs[:, 1]]]
    strokes = np.bincount(targets.voice[target], minlength=len(VOICES))
    weight = 1.0 / strokes[targets.voice[target[pairs[:, 1]]]]

    places = max(1, round((high - low) / _VOTE_S))
    width = (high - low) / places
    ratios = np.array([ratio]) if ratio else np.arange(SLOWEST, FASTEST, _STEP)
    table = np.empty((len(ratios), places))
    for row, each in enumerate(ratios.tolist()):
        place = ((hit_s - written_s / each - low) / width).astype(np.int64)
        inside = (hit_s >= low + written_s / each) & (place < places)
        votes = np.bincount(place[inside], weight[inside], places)
        table[row] = np.convolve(votes, _VOTE, "same")[:places] if places > 6 else votes
    found: list[StartAndTempo] = []
    votes_of, most = table.copy(), float(table.max())
    while len(found) < _MOST_LIKELY:
        row, place = divmod(int(table.argmax()), places)
        least = 0.0 if len(found) < _LIKELY else _NEARLY * most
        if table[row, place] <= least:
            break
        around = np.arange(max(0, place - len(_VOTE) // 2), place + 1 + len(_VOTE) // 2)
        around = around[around < places]
        middle = low + (np.average(around, weights=votes_of[row, around]) + 0.5) * width
        found.append(StartAndTempo(middle if start_s is None else start_s, float(ratios[row])))
        # What lies around it is found from here as well.
        near = np.abs(ratios - ratios[row]) < 0.02
        table[near, max(0, place - _SAME) : place + _SAME + 1] = 0.0
    return found


def _held(targets: Targets, hits: Hits, found: StartAndTempo, *, open_end: bool) -> _Held:
    """What it is worth that the player began about so, and where bar 1 then starts."""
    held = targets.until(_HELD_S * found.ratio)
    path = lag_path(
        held, hits, ratio=found.ratio, start_s=found.start_s, reach_s=0.3, begins_s=_SAME * _VOTE_S
    )
    start_s = float(path.lag_s[0])
    laid_s = held.time_s / found.ratio + path.lags_s(held.time_s)
    after = laid_s > hits.time_s[-1] + _REACH_S
    before = int(np.count_nonzero(hits.time_s < start_s - _REACH_S))
    cost = _COUNT_IN_COST * min(before, _COUNT_IN) + _BEFORE_COST * max(before - _COUNT_IN, 0)
    cost += _TEMPO_COST * abs(float(np.log(found.ratio))) * len(held)
    gain = _not_asked(held, after) if open_end else 0.0
    asked = (held.graces > 0) & ~after
    return _Held(
        found=replace(found, start_s=start_s),
        path=path,
        answered=path.votes,
        beside=gain - cost,
        graces=_with_graces(held, hits, laid_s=laid_s, rows=asked),
        graces_asked=int(np.count_nonzero(asked)),
    )


def _closer(targets: Targets, hits: Hits, held: _Held) -> _Held:
    """What it answers along a smooth course, which hangs on no place of a lag."""
    laid = along(targets.until(_HELD_S * held.found.ratio), hits, held.path)
    error_s = _errors_s(laid, hits, laid.time_s)
    return replace(held, answered=float(np.exp(-0.5 * (error_s / BELL_S) ** 2).sum()))


def _with_graces(targets: Targets, hits: Hits, *, laid_s: Floats, rows: NDArray[np.bool_]) -> int:
    """How many of the flams and drags in these rows have a grace stroke."""
    voices = counted_voices(targets, hits)
    count = 0
    for code in np.unique(targets.voice[rows]).tolist():
        at_s = laid_s[rows & (targets.voice == code)]
        own_s = np.sort(hits.time_s[voices == code])  # those of a mended run are in no order
        first, last = (np.searchsorted(own_s, at_s + edge_s) for edge_s in _GRACE_S)
        count += int(np.count_nonzero(last - first > 1))  # one is the main stroke
    return count


def _not_asked(targets: Targets, after: NDArray[np.bool_]) -> float:
    """What the strokes after the last hit are worth, where the bars that were played are unknown.

    ``after``, (n,), which those are.
    """
    if after.all():
        return _AFTER * len(targets)
    last = int(targets.bar[~after].max())
    in_last = targets.bar == last
    begun = after & in_last
    worth = _AFTER * np.count_nonzero(after & ~in_last)
    played = targets.at[targets.place[in_last & ~after]]
    if begun.any() and not (played - targets.at[targets.place[in_last]].min()).any():
        return float(worth + _AFTER * (np.count_nonzero(begun) - len(played)))
    return float(worth + _BEGUN * np.count_nonzero(begun))


def follow(targets: Targets, hits: Hits, found: StartAndTempo) -> Targets:
    """``targets`` (laid from second 0 at the written tempo) laid on the player's own course."""
    reach_s = 0.5 + 0.04 * targets.end_s
    path = lag_path(
        targets, hits, ratio=found.ratio, start_s=found.start_s, reach_s=reach_s, leaps=True
    )
    return along(targets, hits, path)


def along(targets: Targets, hits: Hits, path: LagPath) -> Targets:
    """``targets`` laid on the player's own course, which is near ``path``."""
    written_s, lag_s = _pairs(targets, hits, path)
    middles_s = path.start_s + ROW_S / 2.0
    around_s = 1.5 * (targets.end_s - targets.start_s) / targets.bars
    row_of = path.rows(written_s)
    level, slope = path.lags_s(middles_s), np.zeros(len(middles_s))
    for row, middle_s in enumerate(middles_s.tolist()):
        low, high = np.searchsorted(written_s, (middle_s - around_s, middle_s + around_s))
        own = path.stretch[row_of[low:high]] == path.stretch[row]
        x, y = written_s[low:high][own] - middle_s, lag_s[low:high][own]
        if len(x) < 4:
            continue
        level[row] = y.mean()
        off = x - x.mean()
        slope[row] = float(off @ y) / (float(off @ off) + _STEADY)
        level[row] -= slope[row] * x.mean()

    if not path.stretch[-1] and len(lag_s):
        off = written_s - written_s.mean()
        lean = float(off @ lag_s) / (float(off @ off) + _STEADY)
        straight = lag_s.mean() + lean * (middles_s - written_s.mean())
        heard = np.bincount(row_of, minlength=len(middles_s)) > 0
        if np.abs(level - straight)[heard].max() <= _STRAIGHT_S:
            level, slope = straight, np.full(len(level), lean)

    def moved(at_s: Floats) -> Floats:
        row = path.rows(at_s)
        lag = np.empty(len(at_s))
        for number in range(int(path.stretch[-1]) + 1):
            own = np.flatnonzero(path.stretch == number)
            here = path.stretch[row] == number
            at, middle = at_s[here], middles_s[own]
            # Beyond the outermost middles the line goes straight on.
            inner = np.interp(at, middle, level[own])
            inner += np.minimum(at - middle[0], 0.0) * slope[own[0]]
            inner += np.maximum(at - middle[-1], 0.0) * slope[own[-1]]
            lag[here] = inner
        return at_s / path.ratio + lag

    time_s = moved(targets.time_s)
    shift_s = _best_shift(targets, time_s, hits)
    bars_s = moved(np.append(targets.bar_starts_s, targets.end_s)) + shift_s
    return replace(
        targets,
        time_s=time_s + shift_s,
        bar_starts_s=bars_s[:-1],
        end_s=float(bars_s[-1]),
        followed=True,
    )


def _best_shift(targets: Targets, time_s: Floats, hits: Hits) -> float:
    """The small shift of all targets with which most are answered; none for a single stroke.

    A player's middle may lie beside the beat, and where strokes are close together the windows
    want to be laid around the beat.
    """
    voices = counted_voices(targets, hits)
    answered = np.zeros(len(_SHIFTS_S), np.int64)
    for code in np.unique(voices).tolist():
        own = time_s[targets.voice == code]
        played = hits.time_s[voices == code]
        if not len(own):
            continue
        edge = np.append((own[:-1] + own[1:]) / 2.0, np.inf)
        for number, shift_s in enumerate(_SHIFTS_S.tolist()):
            window = np.searchsorted(edge, played - shift_s)
            near = np.abs(played - shift_s - own[window]) <= _WINDOW_S
            answered[number] += np.count_nonzero(np.bincount(window[near]))
    middle = len(_SHIFTS_S) // 2
    best = int(np.argmax(answered - 1e-3 * np.abs(np.arange(len(_SHIFTS_S)) - middle)))
    enough = answered[best] - answered[middle] > _SHIFT_GAIN * len(targets)
    return float(_SHIFTS_S[best]) if enough else 0.0


def _pairs(targets: Targets, hits: Hits, path: LagPath) -> tuple[Floats, Floats]:
    """Written seconds and lags of the pairs on a path, but for the habit of each voice.

    In order of written time; a pair is a target and the hit of its voice that is nearest.
    """
    lag_s = path.lags_s(targets.time_s)
    error_s = _errors_s(targets, hits, targets.time_s / path.ratio + lag_s)
    known = np.flatnonzero(np.abs(error_s) <= _REACH_S)
    error_s, voice = error_s[known], targets.voice[known]
    n = np.maximum(np.bincount(voice, minlength=len(VOICES)), 1)
    habit = np.bincount(voice, error_s, len(VOICES)) / n
    middle = float(error_s.mean()) if len(known) else 0.0
    return targets.time_s[known], lag_s[known] + error_s - habit[voice] + middle


def _errors_s(targets: Targets, hits: Hits, expected_s: Floats) -> Floats:
    """(n,) how much later than expected the nearest hit of each target's voice came; inf where
    there is none.
    """
    voices = counted_voices(targets, hits)
    error_s = np.full(len(targets), np.inf)
    for code in np.unique(targets.voice).tolist():
        own_s = np.sort(hits.time_s[voices == code])  # those of a mended run are in no order
        if not len(own_s):
            continue
        rows = np.flatnonzero(targets.voice == code)
        at = expected_s[rows]
        after = np.clip(np.searchsorted(own_s, at), 0, len(own_s) - 1)
        before = np.maximum(after - 1, 0)
        later, earlier = own_s[after] - at, own_s[before] - at
        error_s[rows] = np.where(np.abs(later) < np.abs(earlier), later, earlier)
    return error_s
