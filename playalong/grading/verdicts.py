"""The words for what became of a hit or a target, and the rules of judging.

Errors are milliseconds, positive is late. These words are the same in code, files, screens and
reports.
"""

from dataclasses import dataclass, field
from enum import StrEnum

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


@dataclass(frozen=True, slots=True)
class Rules:
    """How a run is judged.

    ``capture_ms``: how far from a target a hit of its voice may lie and still answer it, never
    more than half the way to the neighbouring target of that voice. ``tolerance_ms``: how far
    it may lie and still be on time. ``bands``: the velocities that fit each dynamic.
    """

    capture_ms: float = 100.0
    tolerance_ms: float = 30.0
    bands: Bands = field(default=DEFAULT_BANDS)


@dataclass(frozen=True, slots=True)
class VerdictEvent:
    """What the grader says of one target, one hit, or both together.

    ``target`` and ``hit`` are numbers in the run's targets and hits. ``missed`` has no hit,
    ``extra`` no target, ``wrong drum`` both. ``error_ms`` is None where there is no pair.
    ``loudness`` is None where nothing is asked. A ``grace`` stroke names the target that it
    belongs to, and its ``error_ms`` is its distance to the main stroke (negative: before it).
    A later word on the same target or hit takes the place of an earlier one; after a
    ``settled`` one there is none.
    """

    verdict: Verdict
    target: int | None
    hit: int | None
    error_ms: float | None = None
    loudness: Loudness | None = None
    grace: bool = False
    settled: bool = False
