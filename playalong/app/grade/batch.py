"""Many takes graded at once, on all processors, in their order.

Each take is read and graded in a process of its own pool, and comes back as the plain objects of
its JSON. A take that cannot be graded comes back as the words why, and stops no other.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.mistakes import described, keep_mistake
from playalong.app.pool import in_order
from playalong.pattern.model import Pattern
from playalong.records.takes import read
from playalong.support.errors import UserError
from playalong.support.reading import files_below, is_folder
from playalong.support.text import printable

#: Fewer takes than this are graded sooner than another process has begun.
FEW = 24

#: How a take's file is called, in small letters.
ENDINGS = (".mid", ".midi")


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """How all takes are graded."""

    pattern: Pattern
    options: Options
    with_hits: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """What came of one take: its grade as plain objects for JSON, or in one line why not.

    ``notices`` are of the pattern that it is held against, where that is not the one it is of.
    """

    path: Path
    grade: dict[str, Any] | None
    notices: tuple[str, ...] = ()
    trouble: str = ""


def takes_in(paths: Sequence[Path]) -> list[Path]:
    """The files of ``paths``, with all takes in a folder and in its folders in its place.

    Hidden ones are left out: some systems lay one beside each file. UserError for a folder that
    holds none.
    """
    found: list[Path] = []
    for path in paths:
        if not is_folder(path):
            found.append(path)
            continue
        inside = files_below(path, ENDINGS)
        if not inside:
            raise UserError(f"There is no take in the folder {path}: no file ends with .mid.")
        found += inside
    return found


def grade_all(batch: Batch, paths: Sequence[Path]) -> Iterator[Result]:
    """The result of each take, in order; ``close`` it where no more are wanted."""
    return in_order(partial(grade_file, batch), paths, few=FEW)


def grade_file(batch: Batch, path: Path) -> Result:
    """The result of one take; a mistake of the program is kept, and stops no other take."""
    try:
        graded = grade_take(batch.pattern, read(path), batch.options)
        return Result(
            path=path, grade=graded.as_json(batch.with_hits), notices=graded.expected.notices
        )
    except UserError as error:
        message = str(error)
        named = message if printable(str(path)) in message else f"{path}: {message}"
        return Result(path=path, grade=None, trouble=named)
    except Exception as error:
        note = keep_mistake(error)
        message = f"{path}: The program made a mistake ({described(error)}). {note}".rstrip()
        return Result(path=path, grade=None, trouble=message)
