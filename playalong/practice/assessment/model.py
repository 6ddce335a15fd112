"""What a teacher asks of a student, as it is written in a file.

Everything here is frozen. ``reader`` makes it out of the file's text, ``machine`` is how it is
taken, ``marks`` says what a grade is worth.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from playalong.grading.grade import Code
from playalong.grading.levels import DEFAULT_LEVEL, Level
from playalong.pattern.model import Dynamic, Pattern

#: What stands beside an asked figure where the teacher has no words of their own.
REACHED, NOT_YET = "reached", "not yet"


class Kind(StrEnum):
    """How an assessment is taken."""

    TIMED = "timed"
    HOMEWORK = "homework"


class Counts(StrEnum):
    """Which of several attempts counts.

    The best is the one with the best marks, of several the one with the highest score. With the
    mean, every figure is the mean over the attempts, and a finding occurs where it does in more
    than half of them.
    """

    BEST = "best"
    LAST = "last"
    MEAN = "mean"


class Clicks(StrEnum):
    """Where it clicks after the count-in."""

    BEATS = "beats"
    EIGHTHS = "eighths"
    OFF_BEATS = "off-beats"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Limit:
    """A mark by its name, and the figure that reaches it."""

    name: str
    value: float


@dataclass(frozen=True, slots=True)
class Requirement:
    """What is asked of one figure of the grade: its ``measure``, and the marks, the best first."""

    measure: str
    limits: tuple[Limit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing to play.

    ``pattern`` is its name; ``tempo_bpm`` and ``bars`` as they are played; ``gap`` as in the
    click's (bars that sound, silent ones, more each time), None for none; ``recording`` the name
    of the file that is played along with, empty for none. ``sight_s``: it is played at sight, the
    sheet is shown for so many seconds; None where it was prepared. ``rehearsals`` come first and do
    not count; then ``attempts``, of which ``counts`` does. ``judging``: the sheet shows every
    verdict while playing. ``without``: findings that must not occur. ``by_eye`` is what the teacher
    judges.
    """

    title: str
    pattern: str
    tempo_bpm: float
    bars: int
    variations: tuple[str, ...] = ()
    count_in: int = 1
    click: Clicks = Clicks.BEATS
    gap: tuple[int, int, int] | None = None
    recording: str = ""
    level: Level = DEFAULT_LEVEL
    sight_s: float | None = None
    rehearsals: int = 0
    attempts: int = 1
    counts: Counts = Counts.BEST
    judging: bool = True
    requirements: tuple[Requirement, ...] = ()
    without: tuple[Code, ...] = ()
    by_eye: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """The whole file; ``name`` is the file's.

    ``total_s`` is the time for all items, ``warm_up_s`` comes before it and is not part of it, and
    so often as ``pauses`` the clock may be stopped. Homework has none of these, and ``days``.
    ``patterns`` are those of the items, by name. ``reached`` and ``not_yet`` are the teacher's
    words for them.
    """

    name: str
    title: str
    kind: Kind
    items: tuple[Item, ...]
    patterns: Mapping[str, Pattern]
    instructions: str = ""
    total_s: float = 0.0
    warm_up_s: float = 0.0
    pauses: int = 0
    days: int = 0
    by_eye: tuple[str, ...] = ()
    reached: str = REACHED
    not_yet: str = NOT_YET
    own_patterns: tuple[str, ...] = field(default=())

    @property
    def is_homework(self) -> bool:
        """Whether it is homework."""
        return self.kind is Kind.HOMEWORK

    def pattern_of(self, item: Item) -> Pattern:
        """What an item is played from."""
        return self.patterns[item.pattern]


def has_ghosts(pattern: Pattern, variations: tuple[str, ...]) -> bool:
    """Whether ghost notes are asked for beside other strokes of their voice."""
    strokes = [stroke for bar in pattern.with_variations(variations) for stroke in bar.strokes]
    ghosts = {stroke.voice for stroke in strokes if stroke.dynamic is Dynamic.GHOST}
    return any(s.voice in ghosts and s.dynamic is not Dynamic.GHOST for s in strokes)


def has_unisons(pattern: Pattern, variations: tuple[str, ...]) -> bool:
    """Whether two strokes are ever asked for at one moment."""
    for bar in pattern.with_variations(variations):
        places: list[Fraction] = [stroke.at for stroke in bar.strokes]
        if len(set(places)) < len(places):
            return True
    return False
