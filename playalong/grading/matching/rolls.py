"""Rolls: which hits go on with one, and how it was played.

A roll is one target: its first stroke answers it as any stroke does. Hits of its voice that answer
nothing, from the window of its first stroke to a little after its end, go on with it: they are no
extra hits, and none of them is judged alone. Judged is, of the whole,

* its **end**: where the last stroke fell, less where it is asked. Of a counted roll that is its
  last stroke as written, of a buzz the end less the distance from bounce to bounce. ``short`` and
  ``long`` are more than 90 ms away (an end is less sharp than a beginning: our own choice), and
  more than half the distance from stroke to stroke;
* **gaps**: ``broken`` where two strokes are farther apart than ``HOLE`` times the distance that is
  asked, of a buzz than ``HOLE`` times its own middle one and 90 ms, from where on two strokes are
  heard and no roll (common practice); or where hardly a stroke follows the first;
* **evenness**, of a counted roll: the standard deviation of its strokes around even ones, from its
  own first to its own last; ``uneven`` above a fifth of the distance from stroke to stroke (our own
  choice: two and a half times what the steady of our simulated players have), or where more than a
  seventh too many strokes are squeezed in.

How even it is in level is shown, and not judged: what a bounce has lost is the pad's doing too.
What is lost grows evenly from these borders to half a stroke, as of flams.
"""

from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from playalong.grading.graces import MOST, ORNAMENTS, Graced, Ornament
from playalong.grading.matching.windows import HALF_NS_PER_MS, HALF_NS_PER_S, Windows, half_ns
from playalong.pattern.targets import BUZZ_S, Targets

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A gap is a hole from so many times the usual distance on, and in a buzz from so many ms on.
HOLE, _HOLE_MS = 1.75, 90.0

#: A counted roll is uneven above this part of the distance from stroke to stroke, and with so much
#: more strokes than are asked.
UNEVEN, _SQUEEZED = 0.2, 1 / 7

#: How much an end may be off, in ms, and in distances from stroke to stroke.
_END_MS, _HALF = 90.0, 0.5

#: From no loss to ``MOST``: ms that an end is off, distances that a gap is wider, parts of the
#: distance that strokes stray.
_END_STEPS_MS, _HOLE_STEPS, _UNEVEN_STEPS = 120.0, 1.5, 0.2

_CODE = {ornament: code for code, ornament in enumerate(ORNAMENTS)}


@dataclass(frozen=True, slots=True, kw_only=True)
class RollSpans:
    """Where rolls are: by voice the targets that begin them, and from when to when hits go on with
    them, in half-nanoseconds. ``time``: that of each target.
    """

    target: Mapping[int, Ints]
    start: Mapping[int, Ints]
    end: Mapping[int, Ints]
    time: Ints

    @classmethod
    def of(cls, targets: Targets, windows: Mapping[int, Windows], capture_ms: float) -> "RollSpans":
        """The spans of all rolls; one goes on for half the capture window after its end."""
        tail = round(capture_ms * HALF_NS_PER_MS / 2)
        target, start, end = {}, {}, {}
        for voice, own in windows.items():
            rows = np.flatnonzero(targets.rolls[own.target] >= 0)
            if len(rows):
                target[voice], start[voice] = own.target[rows], own.start[rows]
                lasts = np.rint(targets.roll_s[own.target[rows]] * HALF_NS_PER_S).astype(np.int64)
                end[voice] = own.time[rows] + lasts + tail
        return cls(target=target, start=start, end=end, time=half_ns(targets.time_s))

    def of_one(self, voice: int, time: int) -> int:
        """The target whose roll a hit goes on with, -1 for none."""
        starts = self.start.get(voice)
        row = -1 if starts is None else bisect_right(starts, time) - 1
        return int(self.target[voice][row]) if row >= 0 and time <= self.end[voice][row] else -1

    def for_all(self, voice: int, time: Ints) -> Ints:
        """The same of many hits, (m,)."""
        starts = self.start.get(voice)
        if starts is None:
            return np.full(len(time), -1, np.int64)
        row = np.searchsorted(starts, time, side="right") - 1
        within = (row >= 0) & (time <= self.end[voice][row])
        return np.where(within, self.target[voice][row], -1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rolled:
    """How each answered roll was played, arrays of r.

    ``row`` int64, where it stands among the answered targets; ``ornament``, ``lost`` as in
    ``Graced``; ``strokes`` int64, how many were played; ``end_ms`` where it ended less where it is
    asked to, ``apart_ms`` the middle distance from stroke to stroke, ``stray_ms`` the standard
    deviation around even ones, ``level_db`` that of its levels: float64, nan where too few strokes
    say it.
    """

    row: Ints
    ornament: NDArray[np.int8]
    lost: Floats
    strokes: Ints
    end_ms: Floats
    apart_ms: Floats
    stray_ms: Floats
    level_db: Floats


class Strokes(NamedTuple):
    """Strokes of rolls: the targets that they belong to, ms after that target, velocities."""

    target: Ints
    at_ms: Floats
    velocity: Floats


def rolled(targets: Targets, mains: Strokes, bounces: Strokes) -> Rolled:
    """Judge rolls. ``mains``: the k answered targets with their hits; ``bounces``: the hits that go
    on with rolls.
    """
    rows = np.flatnonzero(targets.rolls[mains.target] >= 0)
    order = np.lexsort((bounces.at_ms, bounces.target))
    belongs = bounces.target[order]
    found = []
    for row in rows.tolist():
        target = int(mains.target[row])
        low, high = np.searchsorted(belongs, (target, target + 1))
        own = order[low:high]
        at_ms = np.sort(np.append(bounces.at_ms[own], mains.at_ms[row]))
        velocity = np.append(bounces.velocity[own], mains.velocity[row])
        found.append(_judged(targets, target, at_ms, velocity=velocity))
    columns = list(zip(*found, strict=True)) if found else [()] * 7
    ornament, lost, strokes, *figures = columns
    end_ms, apart_ms, stray_ms, level_db = (np.array(column, np.float64) for column in figures)
    return Rolled(
        row=rows,
        ornament=np.array(ornament, np.int8),
        lost=np.array(lost, np.float64),
        strokes=np.array(strokes, np.int64),
        end_ms=end_ms,
        apart_ms=apart_ms,
        stray_ms=stray_ms,
        level_db=level_db,
    )


def _judged(
    targets: Targets, target: int, at_ms: Floats, *, velocity: Floats
) -> tuple[int, float, int, float, float, float, float]:
    expected, lasts_ms = int(targets.rolls[target]), 1000.0 * float(targets.roll_s[target])
    strokes, nan = len(at_ms), float("nan")
    way_ms = lasts_ms / expected if expected else 1000.0 * BUZZ_S
    if strokes < 3 and lasts_ms > 2.5 * way_ms:
        return _CODE[Ornament.ROLL_BROKEN], MOST, strokes, nan, nan, nan, nan
    gaps_ms = np.diff(at_ms)
    apart_ms = float(np.median(gaps_ms)) if len(gaps_ms) else way_ms
    step_ms = way_ms if expected else apart_ms
    end_ms = float(at_ms[-1]) - (lasts_ms - step_ms)
    even_ms = np.linspace(at_ms[0], at_ms[-1], expected or strokes)
    stray_ms = nan
    if strokes == len(even_ms) > 2:
        stray_ms = float(np.sqrt(np.mean((at_ms - even_ms)[1:-1] ** 2)))
    # Up to the end as asked: who stops too soon leaves no gap, but a short roll.
    hole_ms = max(HOLE * step_ms, 0.0 if expected else _HOLE_MS)
    widest_ms = float(gaps_ms.max(initial=0.0))
    end_over = abs(end_ms) - max(_END_MS, _HALF * step_ms)
    hole_over = (widest_ms - hole_ms) / step_ms
    uneven_over = (strokes - expected) / expected - _SQUEEZED if expected else -1.0
    if expected and not np.isnan(stray_ms):
        uneven_over = stray_ms / step_ms - UNEVEN
    lost = max(
        MOST * min(max(end_over / _END_STEPS_MS, 0.0), 1.0),
        MOST * min(max(hole_over / _HOLE_STEPS, 0.0), 1.0),
        MOST * min(max(uneven_over / _UNEVEN_STEPS, 0.0), 1.0),
    )
    ornament = Ornament.RIGHT
    if uneven_over > 0.0:
        ornament = Ornament.ROLL_UNEVEN
    if end_over > 0.0:
        ornament = Ornament.ROLL_SHORT if end_ms < 0.0 else Ornament.ROLL_LONG
    if hole_over > 0.0:
        ornament = Ornament.ROLL_BROKEN
    level_db = 40.0 * np.log10(np.maximum(velocity, 1.0) / 127.0)
    return _CODE[ornament], lost, strokes, end_ms, apart_ms, stray_ms, float(level_db.std())


def with_rolls(graces: Graced, rolls: Rolled) -> Graced:
    """Flams, drags and rolls together, in order of rows."""
    if not len(rolls.row):
        return graces
    none = np.full(len(rolls.row), np.nan)
    row = np.concatenate([graces.row, rolls.row])
    order = np.argsort(row, kind="stable")
    return Graced(
        row=row[order],
        ornament=np.concatenate([graces.ornament, rolls.ornament])[order],
        lost=np.concatenate([graces.lost, rolls.lost])[order],
        apart_ms=np.concatenate([graces.apart_ms, none])[order],
        softer=np.concatenate([graces.softer, none])[order],
    )
