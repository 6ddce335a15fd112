"""One repetition as the plan sees it: what its grade comes to.

Clean: nothing missed, nothing extra, no wrong drum, nothing outside tolerance or loudness, the
hi-hat open and closed as written, and flams and drags with the grace strokes that they want.
Steady: the tempo shows no trend that is more than chance (see ``grading.steadiness``) and is within
``DRIFT_PERCENT`` of the one asked.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from statistics import median

from playalong.grading.grade import Grade, PlaceGrade
from playalong.grading.measures.steadiness import STEADY
from playalong.pattern.model import Dynamic, Pattern
from playalong.practice.phrases import Code, Said, said

#: A tempo that is farther from the one asked does not hold, in per cent. Our own choice: below
#: the 2.5 % at which one displaced onset is heard (Friberg and Sundberg, JASA 98, 1995).
DRIFT_PERCENT = 2.0

#: A kick that is this much softer under a ghost note is weak: more than the spread of experienced
#: drummers' kicks, 5 dB (median of takes of the Groove MIDI Dataset, Gillick et al., ICML 2019).
WEAK_DB = 6.0

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
    counts = grade.counts
    steadiness = grade.steadiness
    drift = steadiness.drift_percent
    return Repetition(
        clean=counts.on_time == counts.targets
        and not (counts.extra or counts.too_loud or counts.too_soft)
        and not (counts.not_open or counts.not_closed)
        and not (counts.flam_flat or counts.flam_wide or counts.drag_open)
        and not (counts.grace_loud or counts.grace_missing),
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
        weak = _weak(kick, kicks.values())
        if weak:
            yield said(Code.KICK_UNDER_GHOST, **where)
        answered = ghost.mean_db is not None and kick.mean_db is not None
        held = held and answered and not (ghost.too_loud or weak)
    if pairs and held:
        yield said(Code.BOTH_HELD)


def _weak(kick: PlaceGrade, kicks: Iterable[PlaceGrade]) -> bool:
    """Whether a stroke of the kick is softer than the others by so much that it is heard."""
    others = [one.mean_db for one in kicks if one is not kick and one.mean_db is not None]
    if kick.mean_db is None or not others:
        return kick.too_soft > 0
    return kick.too_soft > 0 or kick.mean_db < median(others) - WEAK_DB
