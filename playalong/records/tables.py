"""The tables of a TOML text that a person may edit, read with every mistake told by its line.

tables = Tables(path)
level_db = tables.get(("level_db",), number(-100.0, 0.0, "a level in dB"), None)
tables.done()
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from playalong.support.errors import UserError
from playalong.support.reading import read_text
from playalong.support.text import quoted
from playalong.support.toml.places import TomlText, TomlTextError

Keys = tuple[str, ...]


class TomlError(UserError):
    """A file that is not written right, or cannot be kept: a line for each mistake."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of value: what it must be, in words with an example, and which values fit.

    ``names`` are the words that fit where only some do.
    """

    about: str
    fits: Callable[[Any], bool]
    names: tuple[str, ...] = ()


def number(low: float, high: float, about: str) -> Kind:
    """Any number from ``low`` to ``high``."""
    return Kind(about, lambda value: type(value) in (int, float) and low <= value <= high)


def whole(low: int, high: int, about: str) -> Kind:
    """A whole number from ``low`` to ``high``."""
    return Kind(about, lambda value: type(value) is int and low <= value <= high)


def one_of(names: Iterable[str]) -> Kind:
    """One of the words ``names``."""
    known = tuple(names)
    about = f"one of {', '.join(filter(None, known))}, in quotes"
    return Kind(about, lambda value: isinstance(value, str) and value in known, known)


TEXT = Kind('words in quotes, as in "words"', lambda value: isinstance(value, str))


class Tables:
    """The tables of one file, and what is wrong with them."""

    def __init__(self, name: Path | str, text: str | None = None) -> None:
        """Read ``text``, or where there is none the file ``name``, by which mistakes are told.

        TomlError where it is no TOML, OSError where a file cannot be read.
        """
        self._name = name
        self._mistakes: dict[tuple[int, str], None] = {}
        try:
            if text is None:
                text = read_text(Path(name))
        except UnicodeDecodeError as error:
            line = error.object[: error.start].count(b"\n") + 1
            raise self._error([(line, "this is no UTF-8 text; save the file as UTF-8.")]) from None
        try:
            self._written = TomlText(text)
        except TomlTextError as error:
            raise self._error([(error.line, f"{error.message}.")]) from None

    def table(self, *keys: str) -> Mapping[str, Any]:
        """The table named ``keys``; empty where there is none."""
        found = self._written.tables
        for key in keys:
            found = found.get(key, {})
            if not isinstance(found, dict):
                self.wrong(keys, f"{quoted(key)} must be a table: write [{'.'.join(keys)}].")
                return {}
        return found

    def known(self, keys: Keys, names: Iterable[str], what: str = "known here") -> list[str]:
        """Those of the names in the table that are in ``names``; others are mistakes."""
        known = list(names)
        table = self.table(*keys)
        for name in table:
            if name not in known:
                near = _near(name, known) or _or(known)
                self.wrong((*keys, name), f"{quoted(name)} is not {what}; write {near}.")
        return [name for name in table if name in known]

    def get(self, keys: Keys, kind: Kind, default: Any) -> Any:
        """The value named ``keys`` if it is there and of its kind, else ``default``."""
        table = self.table(*keys[:-1])
        if keys[-1] not in table:
            return default
        value = table[keys[-1]]
        if kind.fits(value):
            return value
        near = _near(value, kind.names) if isinstance(value, str) else ""
        meant = f"; did you mean {near}?" if near else "."
        self.wrong(keys, f"{quoted(keys[-1])} must be {kind.about}{meant}")
        return default

    def wrong(self, keys: Keys, message: str) -> None:
        """A mistake at the key or table ``keys``, told with its line."""
        line, _ = self._written.key(keys)
        self._mistakes.setdefault((line, message))

    def done(self) -> None:
        """TomlError with all mistakes, if there are any."""
        if self._mistakes:
            raise self._error(sorted(self._mistakes))

    def _error(self, mistakes: list[tuple[int, str]]) -> TomlError:
        return TomlError(*(f"{self._name}, line {line}: {message}" for line, message in mistakes))


def _or(names: Sequence[str]) -> str:
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _near(name: str, known: Sequence[str]) -> str:
    """The names like ``name`` as words, empty where none is."""
    return _or(get_close_matches(name, known, 3, 0.5))
