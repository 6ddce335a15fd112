"""Meter, exact positions, swing, the spoken count, and the way from written to played time.

A position is a ``Fraction`` of a whole note, counted from a bar line: in 4/4 the second beat
stands at 1/4. It stays exact until it becomes seconds. A tempo counts the meter's beats
(see ``Meter.unit``) in a minute.
"""

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from itertools import accumulate
from math import lcm


@dataclass(frozen=True, slots=True)
class WrittenSwing:
    """How a pattern swings: ``percent`` of a pair of notes is taken by its first; 50 is straight.

    ``note`` is the note value that comes in pairs, in whole notes: 1/8, or 1/16.
    """

    percent: Fraction = Fraction(50)
    note: Fraction = Fraction(1, 8)

    @property
    def is_straight(self) -> bool:
        """Whether both notes of a pair are alike."""
        return self.percent == 50

    @property
    def pair(self) -> Fraction:
        """The length of a pair, in whole notes."""
        return 2 * self.note

    @property
    def notes(self) -> str:
        """What comes in pairs, as a word."""
        return NOTES[self.note]

    def __str__(self) -> str:
        """The percentage, and what comes in pairs where that is not eighths."""
        plain = self.is_straight or self.note == STRAIGHT.note
        return f"{self.percent}" if plain else f"{self.percent} {self.notes}"


#: The notes that may swing, and how they are called.
NOTES = {Fraction(1, 8): "eighths", Fraction(1, 16): "sixteenths"}

STRAIGHT = WrittenSwing()

#: What is spoken between the numbers, for a beat cut into so many parts (common practice). A
#: subdivision that is not here is counted by numbers only.
SPOKEN: dict[int, tuple[str, ...]] = {
    1: ("",),
    2: ("", "&"),
    3: ("", "trip", "let"),
    4: ("", "e", "&", "a"),
    6: ("", "ta", "trip", "ta", "let", "ta"),
    8: ("", "", "e", "", "&", "", "a", ""),
}

#: The same for a beat of three units, as in 12/8, whose thirds are no triplet.
SPOKEN_OF_THREE: dict[int, tuple[str, ...]] = {
    1: ("",),
    3: ("", "&", "a"),
    6: ("", "ta", "&", "ta", "a", "ta"),
}


@dataclass(frozen=True)
class Meter:
    """A meter: ``groups`` units of 1/``denominator``, one group for each beat.

    ``Meter.parse`` reads what a musician writes: "4/4" has four beats, "12/8" four beats of
    three eighths (a numerator above three that three divides, over eight or more, is compound:
    common practice), "12/8 in 12" twelve, "7/8" seven, and "2+2+3/8" three of unequal length.
    """

    groups: tuple[int, ...]
    denominator: int
    written: str

    @classmethod
    def parse(cls, text: str) -> "Meter":
        """The meter written as ``text``; ValueError says what would be right."""
        signature, counted, beats = text.partition(" in ")
        over, slash, under = signature.partition("/")
        try:
            numbers = tuple(int(part) for part in over.split("+"))
            denominator = int(under)
        except ValueError:
            numbers, denominator = (), 0
        if not slash or not numbers or min(numbers) < 1 or sum(numbers) > 64:
            raise ValueError(f'"{text}" is no meter; write it like "4/4", "12/8" or "2+2+3/8"')
        if denominator not in (1, 2, 4, 8, 16, 32):
            raise ValueError(f'"{text}" is no meter: the lower number must be 1, 2, 4, 8, 16 or 32')
        if len(numbers) == 1:
            count = numbers[0]
            compound = denominator >= 8 and count > 3 and count % 3 == 0
            numbers = (3,) * (count // 3) if compound else (1,) * count
            if counted:
                numbers = _counted_in(beats, signature, count, usual=len(numbers))
        elif counted:
            raise ValueError(f'"{text}" is no meter: "{signature}" says itself how it is counted')
        return cls(numbers, denominator, text)

    def of_beats(self, count: int) -> "Meter":
        """The same with so many beats: its last left out, or repeated."""
        if count == len(self.groups):
            return self
        more = max(0, count - len(self.groups))
        groups = (*self.groups[:count], *self.groups[-1:] * more)
        return Meter(groups, self.denominator, f"{sum(groups)}/{self.denominator}")

    @cached_property
    def beats(self) -> tuple[Fraction, ...]:
        """The length of each beat in whole notes."""
        return tuple(Fraction(group, self.denominator) for group in self.groups)

    @cached_property
    def beat_starts(self) -> tuple[Fraction, ...]:
        """The position of each beat."""
        return (Fraction(0), *accumulate(self.beats[:-1]))

    @cached_property
    def length(self) -> Fraction:
        """The length of a bar in whole notes."""
        return sum(self.beats, Fraction(0))

    @cached_property
    def unit(self) -> Fraction:
        """The note value that a tempo counts: the beat, the shortest where they differ."""
        return min(self.beats)

    def beat_of(self, at: Fraction) -> int:
        """The index of the beat that the position ``at`` lies in (0 is the first)."""
        return bisect_right(self.beat_starts, at) - 1

    def swung(self, at: Fraction, swing: WrittenSwing) -> Fraction:
        """Where the written position ``at`` sounds when pairs of notes swing.

        Time inside each half of the pair is stretched evenly, so that in swung eighths the
        sixteenths swing along.
        """
        pair = swing.pair
        into = at % pair
        half, first = swing.note, pair * swing.percent / 100
        if into <= half:
            return at - into + into * first / half
        return at - into + first + (into - half) * (pair - first) / half

    def count(self, at: Fraction) -> str:
        """The position as it is spoken: "1", "e of 2", "& of 4"."""
        return _counted(self, at)


def _counted_in(beats: str, signature: str, count: int, *, usual: int) -> tuple[int, ...]:
    """The groups of a meter of ``count`` units that is counted otherwise than it usually is."""
    ways = sorted({usual, count, *([count // 3] if count % 3 == 0 else [])})
    if beats not in map(str, ways):
        listed = " or ".join(f'"{signature} in {way}"' for way in ways)
        raise ValueError(f'"{signature} in {beats}" is no meter; write {listed}')
    return (count // int(beats),) * int(beats)


@lru_cache(maxsize=1024)
def _counted(meter: Meter, at: Fraction) -> str:
    beat = meter.beat_of(at)
    into = (at - meter.beat_starts[beat]) / meter.beats[beat]
    if not into:
        return str(beat + 1)
    units = meter.groups[beat]
    parts = lcm(into.denominator, 3) if units == 3 else into.denominator
    syllable = spoken_count(parts, units)[int(into * parts)]
    if syllable == "ta":  # spoken more than once in a beat: say after what
        return f"ta after {meter.count(at - meter.beats[beat] / parts)}"
    return f"{syllable} of {beat + 1}" if syllable else f"{into} into beat {beat + 1}"


def spoken_count(parts: int, units: int = 1) -> tuple[str, ...]:
    """What is spoken for each of ``parts`` even parts of a beat, "" for nothing or the number.

    ``units`` is what the meter says the beat is made of: 3 in 12/8.
    """
    spoken = SPOKEN_OF_THREE if units == 3 else SPOKEN
    return spoken.get(parts, ("",) * parts)


@dataclass(frozen=True, slots=True)
class Tempo:
    """An even tempo: ``bpm`` of the note value ``unit`` (whole notes), from ``start_s``."""

    bpm: float
    unit: Fraction
    start_s: float = 0.0

    @property
    def seconds_per_whole(self) -> float:
        """How long a whole note lasts, in seconds."""
        return 60.0 / (self.bpm * float(self.unit))

    def seconds(self, whole: Fraction | float) -> float:
        """When the position ``whole`` (whole notes from the start) comes, in seconds."""
        return self.start_s + float(whole) * self.seconds_per_whole
