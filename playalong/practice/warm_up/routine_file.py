"""A teacher's own routine, as a TOML file; every mistake is told by line and column.

title     = "Feet first"
exercises = ["kick-doubles", "hi-hat-foot", "hand-and-foot"]   # in this order
rest      = 20                 # seconds in the middle, none unless it says
music     = true               # at the end, the pattern that is being learned
"""

from dataclasses import dataclass
from difflib import get_close_matches

from playalong.practice.warm_up.exercises import BY_NAME, Exercise
from playalong.support.text import quoted
from playalong.support.toml.reader import (
    TEXT,
    Kind,
    ProblemsError,
    TableReader,
    between,
    written,
)

#: A routine of more exercises than this is no warm-up.
MOST = 60

_LIST = Kind(
    types=(list,),
    about=f"a list of 1 to {MOST} names of exercises",
    example='{key} = ["single-strokes", "doubles"]',
    fits=lambda value: 1 <= len(value) <= MOST,
)
_YES_OR_NO = Kind(types=(bool,), about="true or false", example="{key} = true")


class RoutineError(ProblemsError):
    """A routine file that cannot be read: every problem with its place, a line each."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoutineFile:
    """What a teacher wrote: exercises in order, seconds of rest, whether music ends it."""

    title: str
    exercises: tuple[Exercise, ...]
    rest_s: float
    has_music: bool


def is_routine(text: str) -> bool:
    """Whether a text is meant as a routine, and not as a pattern or an assessment."""
    return any(line.replace(" ", "").startswith("exercises=") for line in text.splitlines())


def read(text: str, name: str) -> RoutineFile:
    """The routine written in ``text``; RoutineError tells all that is wrong."""
    reader = TableReader(found := written(text, name, RoutineError))
    tables = found.tables
    reader.known(tables, (), ("title", "exercises", "rest", "music"))
    title = reader.get(tables, (), "title", kind=TEXT)
    names = reader.get(tables, (), "exercises", kind=_LIST, default=None) or []
    rest = reader.get(tables, (), "rest", kind=between(0, 600), default=0)
    has_music = reader.get(tables, (), "music", kind=_YES_OR_NO, default=False)
    exercises = []
    for number, one in enumerate(names):
        if isinstance(one, str) and one in BY_NAME:
            exercises.append(BY_NAME[one])
            continue
        near = get_close_matches(str(one), BY_NAME, 2, 0.5)
        hint = " or ".join(f'"{known}"' for known in near)
        end = f"did you mean {hint}?" if near else "list them with: playalong warmup --list"
        reader.wrong(
            ("exercises",), f"number {number + 1}, {quoted(str(one))}, is no exercise; {end}"
        )
    if reader.problems:
        raise RoutineError(name, reader.problems)
    return RoutineFile(
        title=title, exercises=tuple(exercises), rest_s=float(rest), has_music=has_music
    )
