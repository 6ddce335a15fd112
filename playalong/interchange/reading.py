"""What all readers of other formats give, and what they do alike."""

from collections.abc import Sequence
from dataclasses import dataclass

from playalong.pattern.model import Bar, Pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """A pattern, and what should be told of how it was read."""

    pattern: Pattern
    told: tuple[str, ...]


def one_round(bars: Sequence[Bar]) -> Sequence[Bar]:
    """The bars up to where they begin to come again: all of them where they do not."""
    for length in range(1, len(bars)):
        if len(bars) % length == 0 and bars[length:] == bars[:-length]:
            return bars[:length]
    return bars
