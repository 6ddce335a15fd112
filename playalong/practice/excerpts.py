"""Chunks: a pattern cut into parts, equal parts found, and parts put together for an exercise.

An excerpt is itself a pattern, so it is laid out, played and graded like any other: the bars that
its parts touch, with the strokes of the parts in their places and rests elsewhere, and after them,
if wanted, an empty bar of rest. Positions are whole notes from the bar line, as in the pattern.

A take keeps an ``Excerpt``, so that the same can be cut out of the pattern again: what its fields
make of a pattern must never change.
"""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

from playalong.pattern.model import Bar, Pattern, Roll, Stroke
from playalong.pattern.targets import PARTS
from playalong.pattern.voices import BY_NAME

#: How long a part is that holds nothing but the downbeat on which a chunk ends.
LANDING = Fraction(1, PARTS)

#: The variations that are in place in one round through the parts.
Names = tuple[str, ...]

#: One round, as the pattern is written.
PLAIN: tuple[Names, ...] = ((),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """From ``start`` up to ``end`` in bar ``bar`` (0 is the first); ``name`` as it is spoken."""

    name: str
    bar: int
    start: Fraction
    end: Fraction

    def holds(self, bar: int, at: Fraction) -> bool:
        """Whether a position lies in it."""
        return bar == self.bar and self.start <= at < self.end


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """What is cut out of a pattern: the fields are what ``excerpt`` takes."""

    parts: tuple[Part, ...]
    rounds: tuple[Names, ...] = PLAIN
    with_rest: bool = False
    voices: tuple[str, ...] | None = None

    def of(self, pattern: Pattern) -> Pattern:
        """The excerpt of ``pattern``; KeyError for a variation that it does not have."""
        return excerpt(
            pattern, self.parts, self.rounds, with_rest=self.with_rest, voices=self.voices
        )

    def others_of(self, pattern: Pattern) -> Pattern:
        """The same parts of ``pattern`` in the voices that the excerpt leaves out."""
        voices = BY_NAME if self.voices is None else self.voices
        return accompaniment(
            pattern, self.parts, self.rounds, with_rest=self.with_rest, voices=voices
        )

    def as_plain(self) -> dict[str, Any]:
        """As plain objects for a file: bars are counted from 1, positions are fractions."""
        return {
            "parts": [
                {
                    "name": part.name,
                    "bar": part.bar + 1,
                    "from": str(part.start),
                    "to": str(part.end),
                }
                for part in self.parts
            ],
            "rounds": [list(names) for names in self.rounds],
            "rest": self.with_rest,
            "voices": None if self.voices is None else list(self.voices),
        }

    @classmethod
    def from_plain(cls, plain: Any, pattern: Pattern) -> "Excerpt":
        """What ``as_plain`` gave; ValueError where it cannot be cut out of ``pattern``."""
        try:
            found = cls(
                parts=tuple(
                    Part(
                        name=str(part["name"]),
                        bar=int(part["bar"]) - 1,
                        start=Fraction(part["from"]),
                        end=Fraction(part["to"]),
                    )
                    for part in plain["parts"]
                ),
                rounds=tuple(tuple(map(str, names)) for names in plain["rounds"]),
                with_rest=bool(plain["rest"]),
                voices=None if plain["voices"] is None else tuple(map(str, plain["voices"])),
            )
        except (ArithmeticError, AttributeError, KeyError, TypeError, ValueError):
            raise ValueError("it does not say which part of the pattern was played") from None
        if not found.parts or not found.rounds:
            raise ValueError("it says that no part of the pattern was played")
        for part in found.parts:
            if not 0 <= part.bar < len(pattern.bars):
                raise ValueError(f"the pattern has no bar {part.bar + 1}")
        for name in {name for names in found.rounds for name in names}:
            if name not in pattern.variations:
                raise ValueError(f"the pattern has no variation {name!r}")
        return found


def cut(pattern: Pattern) -> tuple[Part, ...]:
    """The chunks of a pattern, bar by bar: those that it names for a bar, in the order in which it
    names them, since that is how they are to be learned; else the beats of the bar.
    """
    parts: list[Part] = []
    for bar in range(len(pattern.bars)):
        own = {
            (chunk.start, chunk.end): Part(
                name=chunk.name, bar=bar, start=chunk.start, end=chunk.end
            )
            for chunk in pattern.chunks
            if chunk.bar == bar
        }
        parts += own.values() or beats(pattern, bar)
    return tuple(parts)


def beats(pattern: Pattern, bar: int) -> tuple[Part, ...]:
    """The beats of bar ``bar``."""
    meter = pattern.bars[bar].meter
    ends = [*meter.beat_starts[1:], meter.length]
    of_bar = f" of bar {bar + 1}" if len(pattern.bars) > 1 else ""
    return tuple(
        Part(name=f"beat {number}{of_bar}", bar=bar, start=start, end=end)
        for number, (start, end) in enumerate(zip(meter.beat_starts, ends, strict=True), 1)
    )


def whole_bars(pattern: Pattern) -> tuple[Part, ...]:
    """Each bar as one part."""
    single = len(pattern.bars) == 1
    return tuple(
        Part(
            name="the whole bar" if single else f"bar {number + 1}",
            bar=number,
            start=Fraction(0),
            end=bar.meter.length,
        )
        for number, bar in enumerate(pattern.bars)
    )


def same_as(parts: Sequence[Part], pattern: Pattern, variations: Names = ()) -> Mapping[int, int]:
    """For each part that repeats an earlier one, the number of that one.

    The same are parts of one length whose strokes are the same, counted from the part's start:
    position, voice, dynamic, grace strokes, hand.
    """
    bars = pattern.with_variations(variations)
    first: dict[object, int] = {}
    found = {}
    for number, part in enumerate(parts):
        strokes = tuple(
            replace(stroke, at=stroke.at - part.start) for stroke in _strokes_in(bars, part)
        )
        earlier = first.setdefault((part.end - part.start, strokes), number)
        if earlier != number:
            found[number] = earlier
    return found


def strokes_in(
    pattern: Pattern, parts: Iterable[Part], variations: Names = ()
) -> tuple[tuple[int, Stroke], ...]:
    """The strokes in ``parts``, each with its bar of the pattern, in order; a roll as it is in the
    pattern, though an excerpt ends it with its parts.
    """
    bars = pattern.with_variations(variations)
    chosen = tuple(parts)
    return tuple(
        (number, stroke)
        for number in touched(chosen)
        for stroke in bars[number].strokes
        if any(part.holds(number, stroke.at) for part in chosen)
    )


def is_empty(
    pattern: Pattern,
    part: Part,
    variations: Names = (),
    *,
    voices: Collection[str] | None = None,
) -> bool:
    """Whether nothing has to be played in ``part``, by ``voices`` or, for None, at all."""
    return all(
        stroke.optional or (voices is not None and stroke.voice not in voices)
        for _, stroke in strokes_in(pattern, [part], variations)
    )


def touched(parts: Iterable[Part]) -> tuple[int, ...]:
    """The bars of the pattern that ``parts`` lie in, in order."""
    return tuple(sorted({part.bar for part in parts}))


def spoken(pattern: Pattern, parts: Sequence[Part]) -> str:
    """Parts together as they are spoken: "beats 1 to 3", "bars 1 and 2", "the whole pattern"."""
    if len(parts) == 1:
        return parts[0].name
    if parts[-1].end - parts[-1].start <= LANDING:
        return f"{spoken(pattern, parts[:-1])} and {parts[-1].name}"
    if set(parts) == set(whole_bars(pattern)):
        return "the whole pattern"
    for noun, plain in (("bar", whole_bars(pattern)), ("beat", beats(pattern, parts[0].bar))):
        if set(parts) <= set(plain):
            numbers = sorted(plain.index(part) + 1 for part in parts)
            in_a_row = all(after - before == 1 for before, after in pairwise(numbers))
            which = (
                f"{numbers[0]} to {numbers[-1]}"
                if in_a_row and len(numbers) > 2
                else listed([str(number) for number in numbers])
            )
            of_bar = plain[0].name.removeprefix("beat 1") if noun == "beat" else ""
            return f"{noun}s {which}{of_bar}"
    return listed([part.name for part in parts])


def listed(words: Sequence[str]) -> str:
    """Words as a list is spoken: "a, b and c"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def excerpt(
    pattern: Pattern,
    parts: Sequence[Part],
    rounds: Sequence[Names] = PLAIN,
    *,
    with_rest: bool = False,
    voices: Collection[str] | None = None,
) -> Pattern:
    """The pattern with only ``parts`` in it, once for each of ``rounds``.

    ``rounds`` holds for each time through the parts the variations in place; ``voices`` are those
    that are kept, all for None; ``with_rest`` adds an empty bar. Raises KeyError for a variation
    that the pattern does not have.
    """
    return _picked(
        pattern,
        parts,
        rounds,
        with_rest=with_rest,
        wanted=lambda stroke: voices is None or stroke.voice in voices,
    )


def accompaniment(
    pattern: Pattern,
    parts: Sequence[Part],
    rounds: Sequence[Names] = PLAIN,
    *,
    with_rest: bool = False,
    voices: Collection[str],
) -> Pattern:
    """What ``excerpt`` with the same arguments leaves out: the program plays it."""
    return _picked(
        pattern,
        parts,
        rounds,
        with_rest=with_rest,
        wanted=lambda stroke: stroke.voice not in voices,
    )


def _picked(
    pattern: Pattern,
    parts: Sequence[Part],
    rounds: Sequence[Names],
    *,
    with_rest: bool,
    wanted: Callable[[Stroke], bool],
) -> Pattern:
    bars: list[Bar] = []
    for names in rounds:
        written = pattern.with_variations(names)
        for number in touched(parts):
            strokes = tuple(
                _rolled_within(parts, number, stroke)
                for stroke in written[number].strokes
                if wanted(stroke) and any(part.holds(number, stroke.at) for part in parts)
            )
            bars.append(replace(written[number], strokes=strokes))
    if with_rest:
        meter = bars[-1].meter
        bars.append(Bar(meter, (), (1,) * len(meter.beats)))
    title = f"{pattern.title}: {spoken(pattern, parts)}"
    return replace(pattern, title=title, bars=tuple(bars), variations={}, chunks=(), practice=None)


def _strokes_in(bars: Sequence[Bar], part: Part) -> list[Stroke]:
    held = [stroke for stroke in bars[part.bar].strokes if part.holds(part.bar, stroke.at)]
    return [_rolled_within([part], part.bar, stroke) for stroke in held]


def _rolled_within(parts: Iterable[Part], bar: int, stroke: Stroke) -> Stroke:
    """The stroke, whose roll lasts as long as ``parts`` go on without a gap."""
    roll, end = stroke.roll, stroke.at
    if roll is None:
        return stroke
    for part in sorted((one for one in parts if one.bar == bar), key=lambda one: one.start):
        if part.start <= end:
            end = max(end, part.end)
    if stroke.at + roll.length <= end:
        return stroke
    left = end - stroke.at
    strokes = int(roll.strokes * left / roll.length) if roll.strokes else 0
    return replace(stroke, roll=Roll(left, max(strokes, 1) if roll.strokes else 0))
