"""TOML files that a person may read and edit: read with every mistake told by its line, written so
that what the person added stays, and never lost: a broken file is set aside under another name.
"""

import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

from playalong.support.errors import UserError
from playalong.support.files import FileError, set_aside, write_file
from playalong.support.text import printable, quoted

T = TypeVar("T")
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

    def __init__(self, path: Path) -> None:
        """Read the file at ``path``; TomlError where it is no TOML, OSError where it cannot be."""
        self._path = path
        self._mistakes: list[tuple[int, str]] = []
        try:
            text = path.read_text(encoding="utf-8").removeprefix("\ufeff")
        except UnicodeDecodeError as error:
            line = error.object[: error.start].count(b"\n") + 1
            raise self._error([(line, "this is no UTF-8 text; save the file as UTF-8.")]) from None
        self._lines = _lines(text)
        try:
            self._tables: dict[str, Any] = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise self._error([_syntax(str(error), text)]) from None
        except (ValueError, RecursionError):  # numbers and lists beyond what the parser can hold
            raise self._error([(1, "a number or a list in it is too long to be read.")]) from None

    def table(self, *keys: str) -> Mapping[str, Any]:
        """The table named ``keys``; empty where there is none."""
        found = self._tables
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
        while keys not in self._lines:
            keys = keys[:-1]
        mistake = (self._lines[keys], message)
        if mistake not in self._mistakes:
            self._mistakes.append(mistake)

    def done(self) -> None:
        """TomlError with all mistakes, if there are any."""
        if self._mistakes:
            raise self._error(sorted(self._mistakes))

    def _error(self, mistakes: list[tuple[int, str]]) -> TomlError:
        return TomlError(*(f"{self._path}, line {line}: {message}" for line, message in mistakes))


def _or(names: Sequence[str]) -> str:
    return " or ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def _near(name: str, known: Sequence[str]) -> str:
    """The names like ``name`` as words, empty where none is."""
    return _or(get_close_matches(name, known, 3, 0.5))


def _syntax(message: str, text: str) -> tuple[int, str]:
    found = re.search(r" \(at line (\d+), column \d+\)$", message)
    if found:
        return int(found[1]), f"{message[: found.start()]}."
    return text.count("\n") + 1, f"{message.split(' (at ')[0]}."


_NAME = r"""(?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+)"""
_NAMES = rf"{_NAME}(?:\s*\.\s*{_NAME})*"
_HEADER = re.compile(rf"\s*\[\[?\s*({_NAMES})\s*\]")
_KEY = re.compile(rf"\s*({_NAMES})\s*=")


def _lines(text: str) -> dict[Keys, int]:
    """The line, 1 is the first, on which each table and key stands first."""
    lines: dict[Keys, int] = {(): 1}
    table: Keys = ()
    for line, written in enumerate(text.split("\n"), 1):
        if header := _HEADER.match(written):
            table = _parts(header[1])
            lines.setdefault(table, line)
        elif key := _KEY.match(written):
            lines.setdefault((*table, *_parts(key[1])), line)
    return lines


def _parts(names: str) -> Keys:
    return tuple(part.strip("\"'") for part in re.findall(_NAME, names))


def read_or_set_aside(path: Path, read: Callable[[Path], T]) -> tuple[T | None, str]:
    """What ``read`` gives of the file at ``path``, None for nothing, and a word on trouble.

    A file with mistakes is set aside under another name, never overwritten.
    """
    try:
        return read(path), ""
    except FileNotFoundError:
        return None, ""
    except OSError as error:
        return None, f"{printable(str(path))} cannot be read ({error.strerror or error})."
    except TomlError as mistakes:
        try:
            return None, _set_aside(path, mistakes)
        except OSError as error:
            return None, f"{mistakes}\nIt cannot be set aside ({error.strerror or error})."


def _set_aside(path: Path, mistakes: TomlError) -> str:
    """Move the file at ``path`` out of the way, and say so; OSError if that fails."""
    aside = set_aside(path)
    name = printable(str(aside))
    return f"{mistakes}\nThe file was set aside as {name}: mend it, and give it its name again."


def write(path: Path, plain: Mapping[str, Any], template: str, read: Callable[[Path], T]) -> str:
    """Write ``plain`` to ``path`` at once or not at all; TomlError where it cannot be written.

    A file that is there, and that ``read`` finds right, keeps its order and its comments; a new
    one, and a table that it lacks, are as in ``template``. Returns a word on trouble: one with
    mistakes is set aside.
    """
    import tomlkit  # only where something is written: reading need not wait for it

    told = ""
    try:
        try:
            read(path)
            document = tomlkit.parse(path.read_text(encoding="utf-8").removeprefix("\ufeff"))
        except FileNotFoundError:
            document = tomlkit.document()
        except TomlError as mistakes:
            told = _set_aside(path, mistakes)
            document = tomlkit.document()
        text = _renewed(document, plain, template)
        is_new = text is None
        if text is None:
            text = _renewed(tomlkit.document(), plain, template)
        if text is None:
            raise TomlError(f"{path} cannot be written: what is to be kept is no TOML.")
        data = text.encode()
        if is_new:
            told = f"{printable(str(path))} is written so that it cannot take what is new: it was "
            told += f"set aside as {printable(str(_replace(path, data)))}."
        else:
            write_file(path, data)
    except FileError as error:
        raise TomlError(*error.lines) from None
    except (OSError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise TomlError(f"{path} cannot be written ({reason}).") from None
    return told


def _replace(path: Path, data: bytes) -> Path:
    """Write ``data`` to ``path``, and set aside what was there; where that is now."""
    aside = set_aside(path)
    try:
        write_file(path, data)
    except FileError:
        aside.replace(path)
        raise
    return aside


def _renewed(document: Any, plain: Mapping[str, Any], template: str) -> str | None:
    """The text of ``document`` once it says ``plain``; None where it would not say that."""
    import tomlkit

    try:
        fresh = tomlkit.parse(template)
        if not document:
            document = fresh
        for key, value in fresh.items():
            if key not in document:
                document.add(key, value)
        _renew(document, plain)
        text = tomlkit.dumps(document)
        return text if tomllib.loads(text) == plain else None
    except (ValueError, TypeError, KeyError):  # a way of writing that does not take what is new
        return None


def _renew(table: Any, plain: Mapping[str, Any]) -> None:
    """Make ``table`` say what ``plain`` says, touching nothing that it says already."""
    for key in [key for key in table if key not in plain]:
        del table[key]
    for key, value in plain.items():
        if isinstance(value, Mapping) and isinstance(table.get(key), Mapping):
            _renew(table[key], value)
        elif key not in table or table[key] != value:
            table[key] = _spaced(value) if isinstance(value, Mapping) else value


def _spaced(plain: Mapping[str, Any]) -> Any:
    """A new table, with a blank line after it."""
    import tomlkit

    table = tomlkit.table()
    table.update(plain)
    return table.add(tomlkit.nl())
