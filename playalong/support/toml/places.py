"""TOML with the place of everything in it: a table, a key, a character of a value.

``tomllib`` says what a file means, but not where it says so; here the text is gone through once
more, by the parts of the grammar that matter for that (TOML 1.0.0: comments, keys, headers, strings
of one line and of many, brackets). Lines and columns count from 1, columns in characters.
"""

import re
import tomllib
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from typing import Any

#: The names that lead to a table, key or value; a table of an array has its number, from 0 on.
Path = tuple[str | int, ...]

#: Line and column, from 1 on.
Place = tuple[int, int]

_NAME = r"""(?:"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|[A-Za-z0-9_-]+)"""
_NAMES = rf"{_NAME}(?:[ \t]*\.[ \t]*{_NAME})*"
_HEADER = re.compile(rf"[ \t]*(\[\[?)[ \t]*({_NAMES})[ \t]*\]\]?")
_KEY = re.compile(rf"[ \t]*({_NAMES})[ \t]*=[ \t]*")
_NAME_IN = re.compile(_NAME)

#: What decides where a value ends: a string of any kind, a comment, a bracket, an end of line.
_PIECE = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"?'
    r"|'[^'\n]*'?"
    r"|#[^\n]*"
    r"|[\[\]{}\n]",
    re.DOTALL,
)
_OPENING = re.compile(r'"""\r?\n?|\'\'\'\r?\n?|"|\'|')


#: A name is in no more parts than this: the parser's work grows with the square of them.
MOST_PARTS = 32

_LONG_NAMES = re.compile(
    rf"(?:^|[{{,])[ \t]*\[{{0,2}}[ \t]*{_NAME}(?:[ \t]*\.[ \t]*{_NAME}){{{MOST_PARTS}}}",
    re.MULTILINE,
)


class TomlTextError(ValueError):
    """A text that is no TOML: what is wrong with it, and where."""

    def __init__(self, message: str, place: Place) -> None:
        super().__init__(message)
        self.message, (self.line, self.column) = message, place


class TomlText:
    """The tables that are written in a text, and where.

    ``parse_float`` makes a number of one with a fraction, as ``tomllib`` calls it. TomlTextError
    where the text is no TOML.
    """

    def __init__(self, text: str, parse_float: Callable[[str], Any] = float) -> None:
        text = text.removeprefix("\ufeff")  # some editors begin a file with this mark
        self._text = text
        long = _LONG_NAMES.search(text)
        if long:
            message = f"a name in more than {MOST_PARTS} parts has no place here"
            raise TomlTextError(message, (text.count("\n", 0, long.start()) + 1, 1))
        try:
            self.tables: Mapping[str, Any] = tomllib.loads(text, parse_float=parse_float)
        except tomllib.TOMLDecodeError as error:
            raise _placed(str(error), text) from None
        except (ValueError, RecursionError):  # numbers and lists beyond what the parser can hold
            message = "a number or a list in this file is too long to be read"
            raise TomlTextError(message, (1, 1)) from None

    def key(self, path: Path) -> Place:
        """Where a table or a key is, or else the last on its path that is written by itself."""
        keys, _ = self._positions
        while path not in keys:
            path = path[:-1]
        return self._place(keys[path])

    def value(self, path: Path, offset: int = 0) -> Place:
        """Where the character ``offset`` of a value is; of one that is not written by itself, as
        above.
        """
        _, values = self._positions
        return self._place(values[path] + offset) if path in values else self.key(path)

    @cached_property
    def _positions(self) -> tuple[dict[Path, int], dict[Path, int]]:
        """Where in the text each table and key begins, and each value."""
        keys: dict[Path, int] = {(): 0}
        values: dict[Path, int] = {}
        counts: dict[Path, int] = {}
        table: Path = ()
        for found in _statements(self._text):
            if found.re is _HEADER:
                table = _numbered(_names(found[2])[:MOST_PARTS], counts)
                if found[1] == "[[":
                    counts[table] = counts.get(table, -1) + 1
                    table = (*table, counts[table])
                keys.setdefault(table, found.start(1))
            else:
                own = (*table, *_names(found[1]))[: 2 * MOST_PARTS]
                keys.setdefault(own, found.start(1))
                opening = _OPENING.match(self._text, found.end())
                values.setdefault(own, opening.end() if opening else found.end())
        for path, at in list(keys.items()):  # a table that is only on the way to another
            for length in range(1, len(path)):
                keys.setdefault(path[:length], at)
        return keys, values

    def _place(self, at: int) -> Place:
        line = bisect_right(self._lines, at)
        return line, at - self._lines[line - 1] + 1

    @cached_property
    def _lines(self) -> list[int]:
        """Where each line begins."""
        return [0, *(found.end() for found in re.finditer("\n", self._text))]


def _placed(message: str, text: str) -> TomlTextError:
    """The parser's words without the place that it puts behind them."""
    found = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    if found:
        return TomlTextError(message[: found.start()], (int(found[1]), int(found[2])))
    return TomlTextError(message.split(" (at ")[0], (text.count("\n") + 1, 1))


def _statements(text: str) -> Iterator[re.Match[str]]:
    """The headers and keys of a text, in order; what stands inside a value is none."""
    at = 0
    while at < len(text):
        found = _HEADER.match(text, at) or _KEY.match(text, at)
        if found:
            yield found
        at = _end(text, found.end() if found else at)


def _end(text: str, at: int) -> int:
    """Where the statement that goes on at ``at`` is over: behind its line, or its last one."""
    depth = 0
    for piece in _PIECE.finditer(text, at):
        match piece[0]:
            case "\n" if depth <= 0:
                return piece.end()
            case "[" | "{":
                depth += 1
            case "]" | "}":
                depth -= 1
    return len(text)


def _names(written: str) -> Path:
    """The names of a dotted key."""
    if "\\" in written:
        return tuple(_nested(tomllib.loads(f"{written} = 0")))
    return tuple(name.strip("\"'") for name in _NAME_IN.findall(written))


def _nested(tables: Any) -> Iterator[str]:
    while isinstance(tables, dict):
        ((name, tables),) = tables.items()
        yield name


def _numbered(names: Path, counts: Mapping[Path, int]) -> Path:
    """The path of a header: below an array of tables, that of its last table."""
    path: Path = ()
    for number, name in enumerate(names):
        path = (*path, name)
        if number < len(names) - 1 and path in counts:
            path = (*path, counts[path])
    return path
