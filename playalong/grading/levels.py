"""Levels: how strict a grade is, as one table.

Experienced drummers on an electronic kit, to a metronome, have 90 % of their strokes within 37 ms
of their own middle (22 to 59 ms, 5th and 95th percentile of takes) and 95 % within 47 ms (26 to
81 ms); the spread of all their strokes is 24 ms (15 to 36 ms), their ghost notes lie 23 dB (16 to
37 dB) under the other snare strokes, and their kick spreads by 5 dB (2 to 9 dB). Measured from
grooves of the Groove MIDI Dataset (Gillick et al., Learning to Groove with Inverse Sequence
Transformations, ICML 2019, CC BY 4.0). So

* ``intermediate`` takes what a good drummer's ordinary take has;
* ``beginner`` is a third wider: nearly every stroke that was meant for its place is on time;
* ``advanced`` asks for the better half of those takes, ``professional`` for the best of them: its
  tolerance is that of the best, its spread that of one in three.

What is asked of spread leaves room for people: of a hundred simulated players of a level's name
(``simulation.skills``), ninety-five are even enough for it.

The tolerance decides verdicts. What is asked of spread, ghost contrast and evenness is told, and
weighs nothing on a kit whose loudness was not measured, since velocities say nothing of decibels
there.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Level(StrEnum):
    """How strict."""

    BEGINNER = "beginner"
    INTERMEDIATE = "intermediate"
    ADVANCED = "advanced"
    PROFESSIONAL = "professional"


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelLimits:
    """What a level asks.

    ``tolerance_ms``: how far from its target a stroke may lie and still be on time; ``spread_ms``:
    the standard deviation of the errors that still counts as even; ``contrast_db``: how far
    ghost notes should lie under the voice's other strokes, on a measured kit; ``evenness_db``:
    the standard deviation of the level of equal strokes, on a measured kit.
    """

    tolerance_ms: float
    spread_ms: float
    contrast_db: float
    evenness_db: float


LEVELS: Mapping[Level, LevelLimits] = {
    Level.BEGINNER: LevelLimits(
        tolerance_ms=60.0, spread_ms=40.0, contrast_db=8.0, evenness_db=9.0
    ),
    Level.INTERMEDIATE: LevelLimits(
        tolerance_ms=45.0, spread_ms=27.0, contrast_db=12.0, evenness_db=7.0
    ),
    Level.ADVANCED: LevelLimits(
        tolerance_ms=35.0, spread_ms=23.0, contrast_db=16.0, evenness_db=5.0
    ),
    Level.PROFESSIONAL: LevelLimits(
        tolerance_ms=25.0, spread_ms=20.0, contrast_db=20.0, evenness_db=4.0
    ),
}

DEFAULT_LEVEL = Level.INTERMEDIATE
