"""One repetition as the plan sees it: what its grade comes to.

Clean: nothing missed, nothing extra, no wrong drum, no grace stroke left out, nothing outside
tolerance or loudness. Steady: the tempo shows no trend that is more than chance (see
``grading.steadiness``) and is within ``DRIFT_PERCENT`` of the one asked.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from playalong.grading.grade import Grade, PlaceGrade
from playalong.grading.measures.steadiness import STEADY
from playalong.pattern.model import Dynamic, Pattern
from playalong.practice.phrases import Code, Said, said

#: A tempo that is farther from the one asked does not hold, in per cent. Our own choice: below
#: the 2.5 % at which one displaced onset is heard (Friberg and Sundberg, JASA 98, 1995).
DRIFT_PERCENT = 2.0

_KICK = "kick"


@dataclass(frozen=True, slots=True)
class Fault:
    """The stroke that went wrong most often: bar of the graded pattern, position, voice."""

    bar: int
    at: Fraction
    voice: str


@dataclass(frozen=True, slots=True)
class Repetition:
    """What came of one repetition.

    ``advice`` is what to change ("" for nothing), ``together`` what is to be said of ghost notes
    over the kick, ``worst`` the stroke with the most faults, ``seconds`` how long the playing took.
    """

    clean: bool
    steady: bool = True
    advice: str = ""
    together: tuple[Said, ...] = ()
    worst: Fault | None = None
    seconds: float = 0.0


def repetition(grade: Grade, pattern: Pattern, seconds: float) -> Repetition:
    """The repetition behind ``grade``; ``pattern`` is the one that was laid out and graded."""
    counts, graces = grade.counts, grade.graces
    steadiness = grade.steadiness
    drift = steadiness.drift_percent
    return Repetition(
        clean=counts.on_time == counts.targets
        and not (counts.extra or counts.too_loud or counts.too_soft)
        and (graces is None or graces.played == graces.asked),
        steady=steadiness.trend == STEADY and (drift is None or abs(drift) <= DRIFT_PERCENT),
        advice=grade.advice,
        together=tuple(_together(grade.places)),
        worst=_worst(grade.places, pattern),
        seconds=seconds,
    )


def _worst(places: tuple[PlaceGrade, ...], pattern: Pattern) -> Fault | None:
    strokes = [(number, s) for number, bar in enumerate(pattern.bars) for s in bar.strokes]
    faults = [place.targets - place.clean for place in places]
    if not any(faults):
        return None
    number, stroke = strokes[faults.index(max(faults))]
    return Fault(number, stroke.at, stroke.voice)


def _together(places: tuple[PlaceGrade, ...]) -> Iterator[Said]:
    """Each place with a ghost note over the kick, or one line where all of them hold."""
    kicks = {
        (place.bar, place.count): place
        for place in places
        if place.voice == _KICK and place.dynamic is not Dynamic.GHOST
    }
    pairs = [
        (place, kicks[place.bar, place.count])
        for place in places
        if place.dynamic is Dynamic.GHOST
        and place.voice != _KICK
        and (place.bar, place.count) in kicks
    ]
    held = True
    for ghost, kick in pairs:
        where = {"voice": ghost.voice, "count": ghost.count}
        if ghost.too_loud:
            yield said(Code.GHOST_OVER_KICK, **where)
        if kick.too_soft:
            yield said(Code.KICK_UNDER_GHOST, **where)
        answered = ghost.mean_db is not None and kick.mean_db is not None
        held = held and answered and not (ghost.too_loud or kick.too_soft)
    if pairs and held:
        yield said(Code.BOTH_HELD)
