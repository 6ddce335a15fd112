"""Following a player who has no click: where bar 1 began, at what tempo, and how it went on.

The capture windows want to be laid where the player is, so that a drift is told as drift and not
as misses. Three steps:

* ``find``: start and tempo. For each tempo on a grid, every hit of the first bars and every
  target of its voice vote for the start that would bring them together; a voice with few strokes
  counts more for each, since it says more of the place. The start with most votes wins; of starts
  nearly as good the earliest, since a take starts at bar 1.
* ``track``: from instant to instant an alpha-beta filter (Kalata, The tracking index, IEEE
  Transactions on Aerospace and Electronic Systems 20(2), 1984; from memory) predicts the next
  instant; the hits of its voices near there correct phase and period by a small part.
* ``course``: through all pairs that the tracking found, a straight line is fitted for each bar
  with its neighbours, and the lines are joined at the bars' middles. So single strokes keep their
  errors, and only what lasts for bars is taken as the player's time.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets
from playalong.pattern.voices import STAFF_ORDER, VOICES, folded

Floats = NDArray[np.float64]

#: How far from the written tempo the player's may be: from this part of it to that.
SLOWEST, FASTEST = 0.7, 1.4

_STEP = 0.004
_BARS_HEARD = 4
_VOTE_S = 0.010  # width of a vote's place; votes spread over three neighbours on each side
_NEARLY = 0.85
_PHASE_GAIN, _PERIOD_GAIN = 0.20, 0.02
_REACH_S = 0.10


@dataclass(frozen=True, slots=True)
class Found:
    """Where bar 1 starts, in seconds, and the player's tempo as a part of the written one."""

    start_s: float
    ratio: float


def find(
    targets: Targets, hits: Hits, start_s: float | None = None, ratio: float | None = None
) -> Found:
    """Start and tempo of ``hits`` (at least one) against ``targets``, laid from second 0.

    What is given, ``start_s`` or ``ratio``, is kept, and only the other is sought.
    """
    voices = _voices(targets, hits)
    first_s = float(hits.time_s[0])
    bar_s = float(np.diff([*targets.bar_starts_s, targets.end_s])[0])
    heard_s = bar_s * _BARS_HEARD
    hit = np.flatnonzero(hits.time_s < first_s + 1.5 * heard_s)
    target = np.flatnonzero(targets.time_s < heard_s)
    pairs = np.argwhere(voices[hit][:, None] == targets.voice[target][None, :])
    if not len(pairs):
        return Found(first_s if start_s is None else start_s, ratio or 1.0)
    hit_s = hits.time_s[hit[pairs[:, 0]]]
    written_s = targets.time_s[target[pairs[:, 1]]]
    strokes = np.bincount(targets.voice[target], minlength=len(VOICES))
    weight = 1.0 / strokes[targets.voice[target[pairs[:, 1]]]]

    low, high = (first_s - bar_s, first_s + bar_s)
    if start_s is not None:
        low, high = start_s - 3 * _VOTE_S, start_s + 3 * _VOTE_S
    ratios = [ratio] if ratio else np.arange(SLOWEST, FASTEST, _STEP).tolist()
    best = (0.0, Found(first_s if start_s is None else start_s, ratio or 1.0))
    for each in sorted(ratios, key=lambda value: abs(np.log(value))):
        votes, edges = np.histogram(
            hit_s - written_s / each,
            max(1, round((high - low) / _VOTE_S)),
            (low, high),
            weights=weight,
        )
        spread = np.convolve(votes, (0.25, 0.5, 0.75, 1.0, 0.75, 0.5, 0.25), "same")
        if float(spread.max()) > best[0] * 1.001:
            place = int(np.flatnonzero(spread >= _NEARLY * spread.max())[0])
            place += int(spread[place : place + 7].argmax())
            middle = float(edges[place] + edges[place + 1]) / 2.0
            best = float(spread.max()), Found(middle if start_s is None else start_s, each)
    return best[1]


def follow(targets: Targets, hits: Hits, found: Found) -> Targets:
    """``targets`` (laid from second 0 at the written tempo) laid on the player's own course."""
    written, played, row = _track(targets, hits, found)
    bars = np.append(targets.bar_starts_s, targets.end_s)
    at, lines = _course(bars, written, played, targets.voice[row], targets.bar[row], found)

    def moved(written_s: Floats) -> Floats:
        # Beyond the outermost bars' middles the line goes straight on.
        inner = np.interp(written_s, at, lines[0])
        before, after = written_s < at[0], written_s > at[-1]
        inner[before] = lines[0][0] + (written_s[before] - at[0]) * lines[1][0]
        inner[after] = lines[0][-1] + (written_s[after] - at[-1]) * lines[1][-1]
        return inner

    starts = moved(bars)
    return replace(
        targets,
        time_s=moved(targets.time_s),
        bar_starts_s=starts[:-1],
        end_s=float(starts[-1]),
        followed=True,
    )


def _voices(targets: Targets, hits: Hits) -> NDArray[np.int16]:
    """The voices of hits as they count in the pattern."""
    table = [STAFF_ORDER[folded(voice.name, targets.voices)] for voice in VOICES]
    return np.array(table, np.int16)[hits.voice]


def _track(targets: Targets, hits: Hits, found: Found) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Pairs of written and played seconds that belong together, and their targets."""
    voices = _voices(targets, hits)
    by_voice = {code: hits.time_s[voices == code] for code in np.unique(voices).tolist()}
    instants = np.flatnonzero(np.diff(targets.time_s, prepend=-np.inf) > 1e-9)
    ends = np.append(instants[1:], len(targets))
    period = 1.0 / found.ratio
    now_s, last_s = found.start_s, 0.0
    written: list[float] = []
    played: list[float] = []
    rows: list[int] = []
    for first, end in zip(instants.tolist(), ends.tolist(), strict=True):
        at_s = float(targets.time_s[first])
        step_s = at_s - last_s
        now_s, last_s = now_s + step_s * period, at_s
        errors = []
        for row in range(first, end):
            own = by_voice.get(int(targets.voice[row]))
            if own is None:
                continue
            near = int(np.searchsorted(own, now_s))
            error = min(
                (float(own[k]) - now_s for k in (near - 1, near) if 0 <= k < len(own)), key=abs
            )
            if abs(error) <= _REACH_S:
                errors.append(error)
                written.append(at_s)
                played.append(now_s + error)
                rows.append(row)
        if errors:
            # The median of strokes together: one that is far off pulls nothing.
            error = float(np.median(errors))
            now_s += _PHASE_GAIN * error
            if step_s > 0:
                period += _PERIOD_GAIN * error / max(step_s, 0.1)
                period = min(max(period, 0.5 / found.ratio), 2.0 / found.ratio)
    return np.array(written), np.array(played), np.array(rows, np.int64)


def _course(
    bars: Floats,
    written: Floats,
    played: Floats,
    voice: NDArray[np.int16],
    bar: NDArray[np.int32],
    found: Found,
) -> tuple[Floats, tuple[Floats, Floats]]:
    """Middles of the bars in written seconds, and there the played time and its slope."""
    middles = (bars[:-1] + bars[1:]) / 2.0
    at: list[float] = []
    level: list[float] = []
    slope: list[float] = []
    for index, middle in enumerate(middles.tolist()):
        low, high = np.searchsorted(bar, (index - 1, index + 2))
        x, y, kinds = written[low:high] - middle, played[low:high], voice[low:high]
        if len(x) < 4 or np.ptp(x) <= 0.0:
            continue
        # One line, and for each voice how far it is from the line: a limb's habit stays an error.
        codes, which = np.unique(kinds, return_inverse=True)
        columns = np.zeros((len(x), 2 + len(codes) - 1))
        columns[:, 0], columns[:, 1] = 1.0, x
        others = np.flatnonzero(which > 0)
        columns[others, 1 + which[others]] = 1.0
        fit = np.linalg.lstsq(columns, y, rcond=None)[0]
        lean = np.concatenate([[0.0], fit[2:]])[which].mean()
        at.append(middle)
        level.append(float(fit[0] + lean))
        slope.append(float(fit[1]))
    if not at:
        return np.zeros(1), (np.array([found.start_s]), np.array([1.0 / found.ratio]))
    return np.array(at), (np.array(level), np.array(slope))
