"""Flams and drags: how a grace stroke should lie before its main stroke.

Of two hits of experienced drummers on one snare less than 80 ms apart, the first softer, the first
lies 42 ms ahead (15 to 77 ms, 5th and 95th percentile) and 5 dB softer (0.6 to 26 dB): measured
from grooves of the Groove MIDI Dataset (Gillick et al., ICML 2019, CC BY 4.0). So a flam is

* ``flat`` where the two are less than 12 ms apart: nearly one stroke;
* ``wide`` where they are more than 80 ms apart: two strokes;
* its grace is ``too loud`` where it is as loud as its main stroke, bar three parts in a hundred of
  velocity.

A drag is ``open`` where its strokes follow each other like written 32nd notes: more than 55 ms
apart and at least four fifths of a 32nd note, whichever is more, and at most what is wide in a
flam. At fast tempi there is no telling the two apart, and nothing is said.

What is lost grows evenly from these borders, to half a stroke, which is what a grace stroke that
is missing costs as well: no millisecond and no step of velocity costs more than a twentieth.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.targets import Targets

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Ornament(StrEnum):
    """What became of the grace strokes of a flam or a drag, and of a roll (``matching.rolls``)."""

    RIGHT = "right"
    FLAT = "flat"
    WIDE = "wide"
    OPEN = "open"
    GRACE_LOUD = "grace too loud"
    GRACE_MISSING = "grace missing"
    ROLL_SHORT = "roll short"
    ROLL_LONG = "roll long"
    ROLL_BROKEN = "roll broken"
    ROLL_UNEVEN = "roll uneven"


#: The codes of ornaments in arrays.
ORNAMENTS: tuple[Ornament, ...] = tuple(Ornament)
_CODE = {ornament: code for code, ornament in enumerate(ORNAMENTS)}

#: What a flam or a drag loses at most for its grace strokes.
MOST = 0.5

_FLAT_MS, _WIDE_MS, _OPEN_MS = 12.0, 80.0, 55.0
_OPEN_SHARE = 0.8
#: Between no loss and ``MOST``: from flat to one stroke, and beyond wide.
_FLAT_STEPS_MS, _WIDE_STEPS_MS = 10.0, 40.0
_AS_LOUD, _LOUD_STEPS = 0.97, 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Graced:
    """The answered flams and drags of a run, arrays of f.

    ``row`` int64, where they stand among the answered targets; ``ornament`` int8, index into
    ``ORNAMENTS``; ``lost`` float64, 0 to ``MOST``; ``apart_ms`` float64, the mean distance from
    stroke to stroke, nan where all graces are missing; ``softer`` float64, velocity of the loudest
    grace stroke as a part of the main stroke's, nan as well.
    """

    row: Ints
    ornament: NDArray[np.int8]
    lost: Floats
    apart_ms: Floats
    softer: Floats


def graced(
    targets: Targets,
    target: Ints,
    velocity: Floats,
    *,
    grace_target: Ints,
    grace_ms: Floats,
    grace_velocity: Floats,
) -> Graced:
    """Judge flams and drags.

    ``target``, ``velocity``: (k,) the answered targets and the velocities of their main strokes.
    ``grace_target``, ``grace_ms``, ``grace_velocity``: (g,) the grace strokes played: the targets
    that they belong to, how far they lie from the main stroke (negative: before it), velocities.
    """
    row = np.flatnonzero(targets.graces[target] > 0)
    if not len(row):
        none = np.zeros(0)
        return Graced(row=row, ornament=none.astype(np.int8), lost=none, apart_ms=none, softer=none)
    own = target[row]
    expected = targets.graces[own].astype(np.int64)
    n = len(targets)
    played = np.bincount(grace_target, minlength=n)[own]
    first_ms, loudest = np.zeros(n), np.zeros(n)
    np.maximum.at(first_ms, grace_target, -grace_ms)
    np.maximum.at(loudest, grace_target, grace_velocity)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart_ms = np.where(played > 0, first_ms[own] / played, np.nan)
        softer = np.where(played > 0, loudest[own] / np.maximum(velocity[row], 1.0), np.nan)

    thirty_second_ms = 1000.0 * targets.seconds_per_whole / 32.0
    open_ms = min(max(_OPEN_MS, _OPEN_SHARE * thirty_second_ms), _WIDE_MS)
    wide_ms = np.where(expected > 1, open_ms, _WIDE_MS)
    there = np.where(np.isnan(apart_ms), (_FLAT_MS + wide_ms) / 2.0, apart_ms)
    over = np.where(np.isnan(softer), 0.0, softer - _AS_LOUD) * velocity[row]
    lost = np.maximum.reduce(
        [
            MOST * (expected - np.minimum(played, expected)) / expected,
            MOST * np.clip((_FLAT_MS - there) / _FLAT_STEPS_MS, 0.0, 1.0),
            MOST * np.clip((there - wide_ms) / _WIDE_STEPS_MS, 0.0, 1.0),
            MOST * np.clip(over / _LOUD_STEPS, 0.0, 1.0),
        ]
    )
    ornament = np.full(len(row), _CODE[Ornament.RIGHT], np.int8)
    ornament[over > 0.0] = _CODE[Ornament.GRACE_LOUD]
    wide = there > wide_ms
    ornament[wide] = np.where(expected[wide] > 1, _CODE[Ornament.OPEN], _CODE[Ornament.WIDE])
    ornament[there < _FLAT_MS] = _CODE[Ornament.FLAT]
    ornament[played < expected] = _CODE[Ornament.GRACE_MISSING]
    return Graced(row=row, ornament=ornament, lost=lost, apart_ms=apart_ms, softer=softer)
