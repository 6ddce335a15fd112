"""The one error that reaches a user: something that the user can mend, in plain words."""

from collections.abc import Iterable
from typing import Self

from playalong.support.text import printable


class UserError(Exception):
    """Something the user can mend: it says what, where, and what would be right.

    ``lines`` are its lines, fit to be shown; as text they stand below each other.
    """

    def __init__(self, *lines: str) -> None:
        super().__init__(*map(printable, lines))

    @classmethod
    def of(cls, words: Iterable[str]) -> Self:
        """From words on trouble, each of one line or more."""
        return cls(*(line for word in words for line in word.split("\n")))

    @property
    def lines(self) -> tuple[str, ...]:
        """One for each thing that is wrong."""
        return self.args

    def __str__(self) -> str:
        return "\n".join(self.args)
