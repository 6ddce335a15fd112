"""The words for what became of a hit or a target, and the rules of judging.

Errors are milliseconds, positive is late. These words are the same in code, files, screens and
reports.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from playalong.grading.graces import Ornament
from playalong.grading.levels import DEFAULT_LEVEL, LEVELS, Level
from playalong.grading.loudness import DEFAULT_BANDS, Bands, Loudness


class Verdict(StrEnum):
    """What became of a hit or a target."""

    ON_TIME = "on time"
    EARLY = "early"
    LATE = "late"
    MISSED = "missed"
    EXTRA = "extra"
    WRONG_DRUM = "wrong drum"


#: The codes of the verdicts in arrays.
VERDICTS: tuple[Verdict, ...] = tuple(Verdict)

#: The verdicts of a hit that answers its target.
MATCHED = (Verdict.ON_TIME, Verdict.EARLY, Verdict.LATE)


class HiHat(StrEnum):
    """Whether the hi-hat was open as written; half open is taken for either."""

    RIGHT = "right"
    NOT_OPEN = "not open"
    NOT_CLOSED = "not closed"


#: The codes of the hi-hat's verdicts in arrays.
HI_HATS: tuple[HiHat, ...] = tuple(HiHat)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """How a run is judged.

    ``level``: how strict. ``capture_ms``: how far from a target a hit of its voice may lie and
    still answer it, never more than half the way to the neighbouring target of that voice.
    ``tolerance_ms``: how far it may lie and still be on time, that of the level unless another is
    asked, and never more than two fifths of that way. ``bands``: the velocities that fit each
    dynamic, where they were measured, and otherwise what a sheet draws. ``left_handed``: sticking
    is mirrored.
    """

    level: Level = DEFAULT_LEVEL
    capture_ms: float = 100.0
    tolerance_ms: float = LEVELS[DEFAULT_LEVEL].tolerance_ms
    bands: Bands = field(default=DEFAULT_BANDS)
    left_handed: bool = False

    @classmethod
    def at(cls, level: Level) -> "Rules":
        """The rules of a level."""
        return cls(level=level, tolerance_ms=LEVELS[level].tolerance_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictEvent:
    """What the grader says of one target, one hit, or both together.

    ``target`` and ``hit`` are numbers in the run's targets and hits. ``missed`` has no hit,
    ``extra`` no target, ``wrong drum`` both. ``error_ms`` is None where there is no pair.
    ``loudness`` is None where nothing is asked, ``hi_hat`` of other voices, ``ornament`` where no
    grace strokes are written. A ``grace`` stroke names the target that it belongs to, and its
    ``error_ms`` is its distance to the main stroke (negative: before it).

    A later event on the same target or hit takes the place of an earlier one. After a ``settled``
    one who answers whom, and how well in time, stays as it is. Loudness is heard against
    all strokes of the run, and a drag may lie wider than its window: what is said of these stands
    once the run is over.
    """

    verdict: Verdict
    target: int | None
    hit: int | None
    error_ms: float | None = None
    loudness: Loudness | None = None
    grace: bool = False
    settled: bool = False
    hi_hat: HiHat | None = None
    ornament: Ornament | None = None
