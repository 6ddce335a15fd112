"""A pattern: what should be played, in written time.

Everything here is frozen. ``Pattern.with_variations`` gives the bars as they are to be played;
``playalong.pattern.targets`` places them in seconds.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from math import lcm

from playalong.pattern.meter import STRAIGHT, Meter, WrittenSwing
from playalong.pattern.voices import STAFF_ORDER


class Dynamic(StrEnum):
    """How loud a stroke is meant."""

    GHOST = "ghost"
    NORMAL = "normal"
    ACCENT = "accent"


class PatternKind(StrEnum):
    """What a pattern is: time that is kept, a fill, something to train on, or a rudiment."""

    GROOVE = "groove"
    FILL = "fill"
    EXERCISE = "exercise"
    RUDIMENT = "rudiment"


class Hand(StrEnum):
    """Which hand plays a stroke."""

    RIGHT = "R"
    LEFT = "L"

    def of(self, left_handed: bool) -> "Hand":
        """The hand that plays it: patterns are written for the right-handed, and mirrored."""
        other = Hand.LEFT if self is Hand.RIGHT else Hand.RIGHT
        return other if left_handed else self


@dataclass(frozen=True, slots=True)
class Roll:
    """A roll that its stroke begins: it lasts ``length``, in whole notes.

    ``strokes`` are those of a counted roll in all, the first one with them: as even as if they
    were written out. 0 for a buzz, of which nobody counts the bounces.
    """

    length: Fraction
    strokes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """One note of a pattern.

    ``at`` is its position in the bar in whole notes; ``graces`` the number of grace strokes
    before it (1 in a flam, 2 in a drag); ``is_open`` asks for an open hi-hat; an ``optional``
    stroke is never missed; ``roll`` is the roll that it begins.
    """

    at: Fraction
    voice: str
    dynamic: Dynamic = Dynamic.NORMAL
    optional: bool = False
    graces: int = 0
    is_open: bool = False
    hand: Hand | None = None
    roll: Roll | None = None

    @property
    def place(self) -> tuple[Fraction, int]:
        """The order of strokes in a bar: by time, then in staff order."""
        return self.at, STAFF_ORDER[self.voice]


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: its meter and its strokes, in order of time and staff.

    ``divisions`` gives for each beat into how many parts it is counted: the finest grid that
    the bar's lines are written on, 1 for a beat that is not cut.
    """

    meter: Meter
    strokes: tuple[Stroke, ...]
    divisions: tuple[int, ...]

    def changed(self, change: "Change") -> "Bar":
        """The bar with ``change`` made: a stroke that another of no hand replaces gives it its."""
        hands = {(stroke.at, stroke.voice): stroke.hand for stroke in self.strokes}
        added = [
            replace(one, hand=one.hand or hands.get((one.at, one.voice))) for one in change.added
        ]
        gone = {*change.taken, *((stroke.at, stroke.voice) for stroke in added)}
        remaining = [stroke for stroke in self.strokes if (stroke.at, stroke.voice) not in gone]
        strokes = tuple(sorted([*remaining, *added], key=lambda stroke: stroke.place))
        return Bar(self.meter, strokes, divisions(self.meter, strokes, self.divisions))


def under_rolls(added: Iterable["Stroke"], there: Iterable["Stroke"]) -> list[tuple[Fraction, str]]:
    """The places of strokes that are there while one of those added rolls on their voice."""
    rolls = [(one.voice, one.at, one.at + one.roll.length) for one in added if one.roll]
    return [
        (one.at, one.voice)
        for one in there
        if any(one.voice == voice and begin < one.at < end for voice, begin, end in rolls)
    ]


@dataclass(frozen=True, slots=True)
class Change:
    """What a variation does to one bar: strokes that are added, and places taken away.

    An added stroke replaces one of the same voice at the same position.
    """

    bar: int
    added: tuple[Stroke, ...] = ()
    taken: tuple[tuple[Fraction, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Variation:
    """A named change of the pattern."""

    name: str
    about: str = ""
    changes: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """A part of a pattern learned on its own: from ``start`` up to ``end`` in bar ``bar``."""

    name: str
    bar: int
    start: Fraction
    end: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """What a teacher asks of a lesson.

    Tempi in beats per minute; ``clean`` is how many of the last repetitions are judged together.
    ``tolerance_ms`` is how far from a target is on time, None to leave it to the player. ``trial``:
    whether the whole may be tried before its parts; ``patience``: so many repetitions of one
    exercise at most before something changes, None for some more than are judged together;
    ``leave_minutes`` without progress, and it is proposed to leave a step for today; ``free_bars``
    are those of free playing, at least; ``success``: the share of repetitions that should go right;
    ``repeats``: so many shaky steps are repeated at most another day; ``next`` are the names of
    patterns that are offered after it.
    """

    start_tempo: float
    goal_tempo: float
    clean: int = 4
    tolerance_ms: float | None = None
    trial: bool = True
    patience: int | None = None
    leave_minutes: float = 4.0
    free_bars: int = 8
    success: float = 0.85
    repeats: int = 3
    next: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """A groove of one or more bars with its variations, or another ``kind`` of pattern.

    ``trains`` names what it trains, the chief thing first. ``chunks`` is empty where the pattern
    says nothing: a chunk is then a beat.
    """

    name: str
    title: str
    meter: Meter
    tempo: float
    bars: tuple[Bar, ...]
    swing: WrittenSwing = STRAIGHT
    about: str = ""
    kind: PatternKind = PatternKind.GROOVE
    trains: tuple[str, ...] = ()
    variations: Mapping[str, Variation] = field(default_factory=dict)
    chunks: tuple[Chunk, ...] = ()
    practice: Practice | None = None

    @property
    def voices(self) -> tuple[str, ...]:
        """The voices that have a line in the bars or in any variation, in staff order."""
        used = {stroke.voice for bar in self.bars for stroke in bar.strokes}
        for variation in self.variations.values():
            used |= {stroke.voice for change in variation.changes for stroke in change.added}
        return tuple(sorted(used, key=STAFF_ORDER.__getitem__))

    def with_variations(self, names: Iterable[str]) -> tuple[Bar, ...]:
        """The bars with the named variations in place, applied in the order given.

        Raises KeyError for a name that the pattern does not have.
        """
        chosen = tuple(names)
        if chosen not in self._varied:
            bars = list(self.bars)
            for name in chosen:
                for change in self.variations[name].changes:
                    bars[change.bar] = bars[change.bar].changed(change)
            self._varied[chosen] = tuple(bars)
        return self._varied[chosen]

    @cached_property
    def _varied(self) -> dict[tuple[str, ...], tuple[Bar, ...]]:
        """The bars with variations in place, each worked out once: plans ask for them often."""
        return {}


def divisions(
    meter: Meter, strokes: Iterable[Stroke], at_least: Iterable[int] | None = None
) -> tuple[int, ...]:
    """Into how many parts each beat must be counted so that every stroke has a place.

    ``at_least`` gives the parts that are there already.
    """
    parts = list(at_least) if at_least is not None else [1] * len(meter.beats)
    for stroke in strokes:
        beat = meter.beat_of(stroke.at)
        into = (stroke.at - meter.beat_starts[beat]) / meter.beats[beat]
        parts[beat] = lcm(parts[beat], into.denominator)
    return tuple(parts)
