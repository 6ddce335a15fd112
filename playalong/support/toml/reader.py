"""Reads the tables of a TOML file that a person writes: every mistake told by line and column.

A reader of one kind of file is a subclass of ``TableReader`` that asks for what it knows.
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from typing import Any, Self

from playalong.support.errors import UserError
from playalong.support.toml.places import Path, TomlText, TomlTextError

Table = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, with its line and column (1 is the first)."""

    line: int
    column: int
    message: str


class ProblemsError(UserError):
    """A file that cannot be read: every problem with its place, a line each."""

    def __init__(self, name: str, problems: Collection[Problem]) -> None:
        self.name = name
        self.problems = tuple(sorted(problems, key=lambda p: (p.line, p.column)))
        super().__init__(
            *(f"{name}, line {p.line}, column {p.column}: {p.message}" for p in self.problems)
        )

    def __reduce__(self) -> tuple[type[Self], tuple[str, tuple[Problem, ...]]]:
        return type(self), (self.name, self.problems)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of value: its types, what it must be in words, an example, and which values fit."""

    types: tuple[type, ...]
    about: str
    example: str
    fits: Callable[[Any], bool] = lambda _: True


def between(low: int, high: int) -> Kind:
    """A whole number from ``low`` to ``high``."""
    about = f"a whole number from {low} to {high}" if low < high else str(low)
    return Kind(
        types=(int,),
        about=about,
        example=f"{{key}} = {low}",
        fits=lambda value: low <= value <= high,
    )


def number(low: float, high: float, about: str, *, example: str) -> Kind:
    """Any number from ``low`` to ``high``."""
    return Kind(
        types=(int, Decimal),
        about=about,
        example=example,
        fits=lambda value: low <= value <= high,
    )


TEXT = Kind(
    types=(str,),
    about="words in quotes",
    example='{key} = "..."',
    fits=lambda value: bool(value.strip()),
)


#: A number that is written with more characters than this is none that anybody means, and exact
#: work with it would not end.
_LONGEST_NUMBER = 40

_LONGEST_MESSAGE = 400

#: What is like an unknown name is looked for in so many of them: it takes long.
_MOST_SOUGHT = 100


def decimal(text: str) -> Decimal:
    """A number as it is written; what no quantity can be becomes infinite."""
    if len(text) > _LONGEST_NUMBER:
        return Decimal("inf")
    try:
        value = Decimal(text)
    except InvalidOperation:  # an exponent beyond all bounds
        return Decimal("inf")
    return Decimal("inf") if value.is_nan() else value


def written(text: str, name: str, error: type[ProblemsError]) -> TomlText:
    """``text`` as TOML with numbers as they are written; ``error`` where it is none."""
    try:
        return TomlText(text, parse_float=decimal)
    except TomlTextError as found:
        problem = Problem(found.line, found.column, found.message)
        raise error(name, [problem]) from None


class TableReader:
    """Reads tables, and collects what is wrong with them."""

    def __init__(self, written: TomlText) -> None:
        #: Each once, in the order in which they were found.
        self._found: dict[Problem, None] = {}
        self._places = written
        self._sought = 0

    @property
    def problems(self) -> Collection[Problem]:
        """All that is wrong."""
        return self._found.keys()

    def wrong_key(self, path: Path, message: str) -> None:
        """Something is wrong with a table or a key as a whole."""
        self._tell(Problem(*self._places.key(path), message))

    def wrong(self, path: Path, message: str, offset: int = 0) -> None:
        """Something is wrong with a value, from its character ``offset`` on."""
        self._tell(Problem(*self._places.value(path, offset), message))

    def _tell(self, problem: Problem) -> None:
        message = problem.message
        if len(message) > _LONGEST_MESSAGE:  # what it quotes may be as long as the file
            half = _LONGEST_MESSAGE // 2
            problem = replace(problem, message=f"{message[:half]} ... {message[-half:]}")
        self._found.setdefault(problem)  # a line may be read more than once

    def known(self, table: Table, path: Path, keys: Iterable[str]) -> None:
        """Every key of ``table`` is one of ``keys``."""
        known = list(keys)
        for key in table:
            if key not in known:
                self._sought += 1
                seeks = self._sought <= _MOST_SOUGHT
                near = get_close_matches(key, known, 3, 0.5) if seeks else []
                listed = " or ".join(f'"{name}"' for name in near) or ", ".join(known)
                self.wrong_key((*path, key), f'"{key}" is not known here; did you mean {listed}?')

    def get(self, table: Table, path: Path, key: str, *, kind: Kind, default: Any = None) -> Any:
        """The value of ``key`` if it is of the right kind, else ``default``."""
        if key not in table:
            if default is None:
                self.wrong_key(path, f'"{key}" is missing: write {kind.example.format(key=key)}')
            return default
        value = table[key]
        is_kind = isinstance(value, kind.types) and (
            bool in kind.types or not isinstance(value, bool)
        )
        if not is_kind or not kind.fits(value):
            self.wrong((*path, key), f'"{key}" must be {kind.about}')
            return default
        return value

    def tables(self, table: Table, path: Path, key: str) -> list[Table]:
        """An array of tables, empty where there is none."""
        found = table.get(key, [])
        if not isinstance(found, list) or not all(isinstance(item, dict) for item in found):
            self.wrong_key((*path, key), f"write [[{key}]] with two brackets on each side")
            return []
        return found
