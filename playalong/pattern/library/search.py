"""Which patterns are wanted: by words, kind, what they train, meter, difficulty and tempo."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from playalong.pattern.model import Pattern, PatternKind

#: From the least to the most, both of them in it.
Span = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Search:
    """What is wanted; what says nothing leaves all.

    ``words`` must all stand in what a pattern says of itself; ``trains`` are things of which it
    must train each; ``meter`` as it is written; ``difficulty`` from 0 to 100; ``tempo_bpm`` is
    that of the pattern, in beats per minute.
    """

    words: str = ""
    kind: PatternKind | None = None
    trains: tuple[str, ...] = ()
    meter: str | None = None
    difficulty: Span | None = None
    tempo_bpm: Span | None = None

    def finds(self, pattern: Pattern, difficulty: float) -> bool:
        """Whether ``pattern``, which is as hard as ``difficulty`` says, is wanted."""
        return (
            self.kind in (None, pattern.kind)
            and set(self.trains) <= set(pattern.trains)
            and self.meter in (None, *meters(pattern))
            and _within(difficulty, self.difficulty)
            and _within(pattern.tempo, self.tempo_bpm)
            and has_words(said(pattern), self.words)
        )


def said(pattern: Pattern) -> str:
    """All that a pattern says of itself, for words to be found in."""
    return " ".join(
        (pattern.title, pattern.about, pattern.kind, *pattern.trains, *pattern.variations)
    )


def has_words(text: str, words: str) -> bool:
    """Whether all of ``words`` stand in ``text``; capitals do not matter."""
    lower = text.lower()
    return all(word in lower for word in words.lower().split())


def meters(pattern: Pattern) -> list[str]:
    """The meters of its bars as they are written, each once."""
    return list(dict.fromkeys(bar.meter.written for bar in pattern.bars))


def things(patterns: Iterable[Pattern]) -> list[str]:
    """All that these patterns train, in the order of the alphabet."""
    return sorted({thing for pattern in patterns for thing in pattern.trains})


def usual_meters(patterns: Iterable[Pattern]) -> list[str]:
    """The meters of these patterns, those of most patterns first."""
    counted = Counter(meter for pattern in patterns for meter in meters(pattern))
    return sorted(counted, key=lambda meter: (-counted[meter], meter))


def _within(value: float, span: Span | None) -> bool:
    return span is None or span[0] <= value <= span[1]
