"""The grade of one run: every figure, as frozen records.

Times are seconds, errors milliseconds (positive is late), levels decibel. Spreads are population
standard deviations. A figure that cannot be had is None. How each figure is made stands in the
module that makes it: timing, steadiness, dynamics, unison, feel, score, advice.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from playalong.pattern.model import Dynamic


@dataclass(frozen=True, slots=True)
class Counts:
    """How many of each.

    ``targets`` = ``matched`` + ``missed`` + ``wrong_drum``, and ``matched`` = ``on_time`` +
    ``early`` + ``late``. An optional stroke counts as a target only where it was played.
    """

    targets: int
    matched: int
    on_time: int
    early: int
    late: int
    missed: int
    extra: int
    wrong_drum: int
    too_loud: int
    too_soft: int


@dataclass(frozen=True, slots=True)
class Spread:
    """A number of errors, their mean and their population standard deviation, in ms."""

    n: int
    mean_ms: float | None
    sd_ms: float | None


@dataclass(frozen=True, slots=True)
class Timing:
    """Errors of all answered targets, and of each voice."""

    mean_ms: float | None
    sd_ms: float | None
    median_ms: float | None
    by_voice: Mapping[str, Spread]


@dataclass(frozen=True, slots=True)
class Score:
    """0 to 100 in all, and what of it each part kept (each 0 to 100)."""

    total: float
    strokes: float
    timing: float
    loudness: float
    steadiness: float


@dataclass(frozen=True, slots=True)
class PlaceGrade:
    """One stroke of the written pattern over all its repetitions.

    ``bar`` is the bar of the pattern (0 is the first), ``count`` the position as it is spoken
    ("e of 2"), ``targets`` how often it came, ``clean`` how often it was on time and of the
    right loudness.
    """

    bar: int
    count: str
    voice: str
    dynamic: Dynamic
    targets: int
    clean: int
    missed: int
    wrong_drum: int
    early: int
    late: int
    too_soft: int
    too_loud: int
    mean_ms: float | None
    mean_db: float | None
