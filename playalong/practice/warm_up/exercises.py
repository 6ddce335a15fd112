"""The exercises of the warm-up, as one table.

Each trains one thing and is warmed by the one figure that is about it. Its strokes stand in a
pattern file (``patterns/warm-up``). A pattern tells by its voices what it can be played on: one
pad, a pad and a foot, or a whole kit.

The order within the body follows common practice: large and slow movements before fine and fast
ones, hands and feet by themselves before both together, and what asks most of the ear at the end.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntEnum, StrEnum

from playalong.pattern.model import Pattern


class Measure(StrEnum):
    """The figure that an exercise is warmed by; ``figures`` says how each is made."""

    SPREAD = "spread"
    STEP = "step"
    EVENNESS = "evenness"
    STAIRS = "stairs"
    SOFTNESS = "softness"
    SOFT_OVER_KICK = "softness over the kick"
    TOGETHER = "together"
    FLAM_WIDTH = "width of flams"
    CARRIED = "time carried"
    ENTRIES = "entries"
    CHANGES = "changes"
    RECALLED = "what was not played back"


class Stage(IntEnum):
    """When in a warm-up an exercise comes."""

    LOOSEN = 0
    HANDS = 1
    FEET = 2
    TOGETHER = 3
    TIME = 4
    EAR = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """One exercise.

    ``name``; ``title`` and ``trains`` for the page; ``pattern``: its file; ``stage``; ``measure``.
    ``slowest_bpm`` is where it begins, ``whole_bpm`` the tempo at which its table of levels counts
    whole, ``fastest_bpm`` the end of its ladder. ``silent`` bars without a click follow ``silent``
    bars with it (one for one), 0 for none. ``is_heard``: the program plays a bar, the player the
    next.
    """

    name: str
    title: str
    trains: str
    pattern: str
    stage: Stage
    measure: Measure
    slowest_bpm: float
    whole_bpm: float
    fastest_bpm: float
    silent: int = 0
    is_heard: bool = False


def _silent(bars: int, title: str) -> Exercise:
    return Exercise(
        name=f"silent-{bars}",
        title=title,
        trains="the tempo goes on when the click does not",
        pattern="quarters",
        stage=Stage.TIME,
        measure=Measure.CARRIED,
        slowest_bpm=76.0,
        whole_bpm=96.0,
        fastest_bpm=132.0,
        silent=bars,
    )


def _one(
    name: str,
    title: str,
    trains: str,
    *,
    measure: Measure,
    tempi: tuple[float, float, float],
    stage: Stage = Stage.HANDS,
) -> Exercise:
    slowest, whole, fastest = tempi
    return Exercise(
        name=name,
        title=title,
        trains=trains,
        pattern=name,
        stage=stage,
        measure=measure,
        slowest_bpm=slowest,
        whole_bpm=whole,
        fastest_bpm=fastest,
    )


#: All exercises, in the order of a long warm-up.
EXERCISES: tuple[Exercise, ...] = (
    _one(
        "single-strokes",
        "Single Strokes",
        "every stroke in its place",
        measure=Measure.SPREAD,
        tempi=(54.0, 90.0, 150.0),
        stage=Stage.LOOSEN,
    ),
    _one(
        "left-hand-leads",
        "Left Hand Leads",
        "the same step from hand to hand",
        measure=Measure.STEP,
        tempi=(50.0, 84.0, 140.0),
        stage=Stage.LOOSEN,
    ),
    _one(
        "softest-roll",
        "The Softest Roll",
        "as soft as it will go",
        measure=Measure.SOFTNESS,
        tempi=(50.0, 76.0, 120.0),
    ),
    _one(
        "stairs",
        "Stairs of Loudness",
        "every stair louder or softer than the one before",
        measure=Measure.STAIRS,
        tempi=(50.0, 76.0, 120.0),
    ),
    _one(
        "doubles",
        "Doubles",
        "the second stroke as loud as the first",
        measure=Measure.EVENNESS,
        tempi=(50.0, 80.0, 140.0),
    ),
    _one(
        "paradiddles",
        "Paradiddles",
        "the accent on the first of four, and nowhere else",
        measure=Measure.STAIRS,
        tempi=(50.0, 80.0, 140.0),
    ),
    _one(
        "flams",
        "Flams",
        "flams of one width",
        measure=Measure.FLAM_WIDTH,
        tempi=(50.0, 72.0, 110.0),
    ),
    _one(
        "hi-hat-foot",
        "Hi-hat Foot",
        "the hi-hat foot even by itself",
        measure=Measure.SPREAD,
        tempi=(46.0, 70.0, 110.0),
        stage=Stage.FEET,
    ),
    _one(
        "kick-doubles",
        "Kick Doubles",
        "two strokes of the kick at one distance",
        measure=Measure.STEP,
        tempi=(56.0, 84.0, 130.0),
        stage=Stage.FEET,
    ),
    _one(
        "hand-and-foot",
        "Hand and Foot",
        "hand and foot as one stroke",
        measure=Measure.TOGETHER,
        tempi=(56.0, 84.0, 130.0),
        stage=Stage.TOGETHER,
    ),
    _one(
        "foot-under-hands",
        "Foot Under Hands",
        "the hi-hat foot with the hands",
        measure=Measure.TOGETHER,
        tempi=(56.0, 84.0, 130.0),
        stage=Stage.TOGETHER,
    ),
    _one(
        "ghost-over-kick",
        "Ghost Over Kick",
        "soft above, strong below, in one stroke",
        measure=Measure.SOFT_OVER_KICK,
        tempi=(48.0, 72.0, 110.0),
        stage=Stage.TOGETHER,
    ),
    _silent(1, "One Silent Bar"),
    _silent(2, "Two Silent Bars"),
    _silent(4, "Four Silent Bars"),
    _silent(8, "Eight Silent Bars"),
    _one(
        "after-a-rest",
        "After a Rest",
        "in again right on time",
        measure=Measure.ENTRIES,
        tempi=(56.0, 84.0, 130.0),
        stage=Stage.TIME,
    ),
    _one(
        "two-three-four-six",
        "Two, Three, Four, Six",
        "the beat stays where it is when its parts change",
        measure=Measure.CHANGES,
        tempi=(42.0, 60.0, 96.0),
        stage=Stage.TIME,
    ),
    _one(
        "three-over-two",
        "Three Over Two",
        "three of the hand between two of the foot",
        measure=Measure.STEP,
        tempi=(56.0, 84.0, 140.0),
        stage=Stage.TIME,
    ),
    Exercise(
        name="call-and-response",
        title="Call and Response",
        trains="hear a bar, play it back",
        pattern="call-and-response",
        stage=Stage.EAR,
        measure=Measure.RECALLED,
        slowest_bpm=60.0,
        whole_bpm=80.0,
        fastest_bpm=110.0,
        is_heard=True,
    ),
)

BY_NAME: dict[str, Exercise] = {exercise.name: exercise for exercise in EXERCISES}


def playable(voices: Iterable[str], patterns: dict[str, Pattern]) -> list[Exercise]:
    """The exercises that need no other voices than those that are there.

    ``patterns`` are the exercises' patterns by the names of their files.
    """
    there = set(voices)
    return [one for one in EXERCISES if there.issuperset(patterns[one.pattern].voices)]
