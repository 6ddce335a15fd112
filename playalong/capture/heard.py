"""What was heard: hits as strokes, each flam, drag and roll one stroke, ready to be set to a grid.

The open and half-open hi-hat are strokes of the hi-hat, rim shots strokes of the snare: which of
the two a kit sends for one stroke is often chance. Two strokes close together on a drum, the first
no louder, are a flam, three a drag (common practice: 15 to 50 ms; real ones 42 ms apart, 15 to 77,
measured from the Groove MIDI Dataset, Gillick et al., ICML 2019).

Four strokes or more of a drum that follow each other as fast are a roll, which its first stroke
begins: a buzz where the others are far softer than the first (they bounce), or too fast to be
counted; else a counted one, as are strokes a little slower, even, of which the second of each pair
is the softer (doubles; common practice). A louder stroke right behind is none of its bounces.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import level_db
from playalong.midi.hits import Hits
from playalong.pattern.voices import STAFF_ORDER, VOICES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Strokes of a drum so near after each other are one thick stroke, if the first is no louder;
#: other voices have no grace strokes: there the softer one is the pad's own echo.
GRACE_S, _ECHO_S, _NO_LOUDER = 0.072, 0.040, 1.02

#: A drag has two grace strokes.
MOST_GRACES = 2

#: A roll has so many strokes at least, so near after each other where they are doubles. It is a
#: buzz with strokes nearer than ``_BUZZ_S``, or where they have so small a part of the velocity of
#: the first; a stroke so much louder than bounces is none.
DOUBLES_S, _LEAST_ROLL, _BUZZ_S, _BOUNCE, _LOUDER = 0.105, 4, 0.047, 0.75, 1.3
#: Doubles are even, their gaps within this part; and so much louder is the first of each pair at
#: least, as the logarithm of velocities, in such a part of the pairs, by so many standard errors.
_EVEN, _FIRST_LOUDER, _MOST_PAIRS, _SURELY = 0.3, 0.06, 0.7, 2.5

_OPEN = [STAFF_ORDER["hi-hat-open"], STAFF_ORDER["hi-hat-half"]]
_INTO = {
    STAFF_ORDER[voice]: STAFF_ORDER[into]
    for voice, into in (
        ("hi-hat-open", "hi-hat"),
        ("hi-hat-half", "hi-hat"),
        ("rim-shot", "snare"),
        ("foot-splash", "hi-hat-pedal"),
    )
}
_DRUMS = [
    STAFF_ORDER[voice] for voice in ("snare", "cross-stick", "high-tom", "mid-tom", "floor-tom")
]


@dataclass(frozen=True, kw_only=True)
class Heard:
    """Strokes in order of time, (n,) each.

    ``time_s`` of the main stroke; ``voice`` index into ``VOICES``; ``level`` in dB under the
    loudest (``grading.loudness``); ``graces`` the grace strokes before it; ``is_open`` of a hi-hat;
    ``hit`` the number of its hit among those heard; ``roll_s`` how long the roll lasts that it
    begins, in seconds, 0 for none; ``rolled`` the strokes of a counted one, 0 for a buzz.
    """

    time_s: Floats
    voice: Ints
    level: Floats
    graces: Ints
    is_open: Bools
    hit: Ints
    roll_s: Floats
    rolled: Ints

    def __len__(self) -> int:
        return len(self.time_s)

    def only(self, rows: Bools) -> "Heard":
        """These of them, (n,)."""
        return Heard(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})


def strokes_of(hits: Hits, doubles_s: float = DOUBLES_S) -> Heard:
    """The hits as strokes; doubles that are rolled have at most ``doubles_s`` from stroke to
    stroke."""
    voice = hits.voice.astype(np.int64)
    is_open = np.isin(voice, _OPEN)
    table = np.arange(len(VOICES))
    for own, into in _INTO.items():
        table[own] = into
    voice = table[voice]
    graces, is_main = np.zeros(len(hits), np.int64), np.ones(len(hits), np.bool_)
    roll_s, rolled = np.zeros(len(hits)), np.zeros(len(hits), np.int64)
    for code in np.unique(voice).tolist():
        rows = np.flatnonzero(voice == code)
        if code in _DRUMS:
            for roll in _rolls(rows.tolist(), hits, doubles_s):
                first, *others = roll
                is_main[others] = False
                gaps_s = np.diff(hits.time_s[roll])
                roll_s[first] = float(gaps_s.sum() + gaps_s.mean())
                rolled[first] = 0 if _is_buzz(hits, roll) else len(roll)
            rows = rows[is_main[rows] & (roll_s[rows] == 0.0)]
        _thick(rows, hits, graces, is_main=is_main, close_s=GRACE_S if code in _DRUMS else _ECHO_S)
        if code not in _DRUMS:
            graces[rows] = 0
    rows = np.flatnonzero(is_main)
    return Heard(
        time_s=hits.time_s[rows],
        voice=voice[rows],
        level=np.asarray(level_db(np.maximum(hits.velocity[rows], 1.0))),
        graces=graces[rows],
        is_open=is_open[rows],
        hit=rows,
        roll_s=roll_s[rows],
        rolled=rolled[rows],
    )


def _rolls(rows: list[int], hits: Hits, doubles_s: float) -> list[list[int]]:
    """The rolls among the hits of a drum, each as its hits: buzzes, and doubles if they are."""
    runs: list[list[int]] = []
    run: list[int] = []
    for row in [*rows, None]:
        if run and row is not None and hits.time_s[row] - hits.time_s[run[-1]] <= doubles_s:
            run.append(row)
            continue
        runs += [part for part in _parts(run, hits) if _is_even(hits, part)]
        run = [] if row is None else [row]
    buzzed = [part for part in runs if _is_buzz(hits, part)]
    others = [part for part in runs if part not in buzzed]
    if not _are_doubles(hits, others):
        return buzzed
    # Of an odd number the last is the stroke that the roll leads to.
    return buzzed + [part[: len(part) - len(part) % 2] for part in others]


def _parts(run: list[int], hits: Hits) -> list[list[int]]:
    """Hits close together, cut before each that is louder than a bounce."""
    if len(run) < _LEAST_ROLL:
        return []
    louder = _LOUDER * float(np.median(hits.velocity[run[1:]]))
    parts = [[run[0]]]
    for row in run[1:]:
        if hits.velocity[row] > louder:
            parts.append([row])
        else:
            parts[-1].append(row)
    return parts


def _is_even(hits: Hits, part: list[int]) -> bool:
    """Whether so many strokes follow each other evenly."""
    gaps_s = np.diff(hits.time_s[part])
    return len(part) >= _LEAST_ROLL and float(gaps_s.std()) <= _EVEN * float(gaps_s.mean())


def _are_doubles(hits: Hits, runs: list[list[int]]) -> bool:
    """Whether in all runs together the first of each pair is surely the louder one, whatever stroke
    a run begins with: that may be an accent."""
    pairs = [
        float(np.log(max(hits.velocity[one], 1.0) / max(hits.velocity[other], 1.0)))
        for run in runs
        for one, other in zip(run[2::2], run[3::2], strict=False)
    ]
    if len(pairs) < _LEAST_ROLL:
        return False
    chance = float(np.std(pairs, ddof=1)) / len(pairs) ** 0.5
    return bool(
        np.median(pairs) > _FIRST_LOUDER
        and np.mean(pairs) > _SURELY * chance
        and np.mean(np.array(pairs) > 0.0) >= _MOST_PAIRS
    )


def _is_buzz(hits: Hits, part: list[int]) -> bool:
    """Whether strokes that follow each other fast are bounces."""
    gap_s = float(np.diff(hits.time_s[part]).mean())
    bounce = float(np.median(hits.velocity[part[1:]]) / hits.velocity[part[0]])
    return bool(gap_s <= GRACE_S and (gap_s < _BUZZ_S or bounce < _BOUNCE))


def _thick(rows: Ints, hits: Hits, graces: Ints, *, is_main: Bools, close_s: float) -> None:
    """Make one stroke of those of a voice that are close together, the last being the main one."""
    groups: list[list[int]] = []
    for row in rows.tolist():
        before = groups[-1][-1] if groups else None
        if before is not None and hits.time_s[row] - hits.time_s[before] <= close_s:
            groups[-1].append(row)
        else:
            groups.append([row])
    for group in groups:
        *before_it, main = group
        loudest = _NO_LOUDER * hits.velocity[main]
        softer = all(hits.velocity[row] <= loudest for row in before_it)
        if before_it and softer and len(before_it) <= MOST_GRACES:
            graces[main] = len(before_it)
            is_main[before_it] = False
        elif len(group) == 2:  # an echo of the pad: the second one softer
            is_main[main] = hits.time_s[main] - hits.time_s[group[0]] > _ECHO_S
