"""What all readers of other formats give, and what they do alike."""

from dataclasses import dataclass

from playalong.pattern.model import Bar, Pattern
from playalong.support.text import counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """A pattern, and what should be told of how it was read."""

    pattern: Pattern
    notices: tuple[str, ...]


def one_round(bars: list[Bar], *, notices: list[str]) -> list[Bar]:
    """The bars up to where they begin to come again; all of them where they do not.

    That they come again is then said in ``notices``.
    """
    for size in range(1, len(bars) // 2 + 1):
        rounds, more = divmod(len(bars), size)
        if not more and bars == bars[:size] * rounds:
            notices.append(f"{counted(size, 'bar')}, {rounds} times the same: written once.")
            return bars[:size]
    return bars
