"""A library of patterns: their texts by name, read when they are asked for."""

from collections.abc import Mapping
from difflib import get_close_matches

from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.support.errors import UserError
from playalong.support.text import quoted


class UnknownPattern(UserError):  # noqa: N818 - it is told as it is named
    """A name that no pattern has."""


class Library:
    """``texts`` maps a pattern's name to the text of its file."""

    def __init__(self, texts: Mapping[str, str]) -> None:
        self._texts = dict(sorted(texts.items()))
        self._by_key = {key_of(known): known for known in self._texts}
        self._patterns: dict[str, Pattern] = {}

    def names(self) -> list[str]:
        """All names, in order."""
        return list(self._texts)

    def get(self, name: str) -> Pattern:
        """The pattern called ``name``: capitals, spaces and hyphens do not matter.

        Raises UnknownPattern with the nearest names, or PatternError if its file is broken.
        """
        found = self._by_key.get(key_of(name))
        if found is not None:
            if found not in self._patterns:
                self._patterns[found] = read(self._texts[found], found)
            return self._patterns[found]
        near = get_close_matches(key_of(name), self._by_key, 3, 0.4)
        listed = " or ".join(f'"{self._by_key[key]}"' for key in near)
        hint = f"did you mean {listed}?" if near else "list them with: playalong patterns"
        raise UnknownPattern(f"There is no pattern {quoted(name)}; {hint}")


def key_of(name: str) -> str:
    """What a name is known by."""
    return "".join(char for char in name.lower() if char.isalnum())
