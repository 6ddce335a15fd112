"""Many takes graded at once, on all processors, in their order.

Each take is read and graded in a process of its own pool, and comes back as the plain objects of
its JSON. A take that cannot be graded comes back as the words why, and stops no other.
"""

import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.mistakes import described, keep_mistake
from playalong.pattern.model import Pattern
from playalong.records.takes import read
from playalong.support.errors import UserError
from playalong.support.text import printable

#: Fewer takes than this are graded sooner than another process has begun.
FEW = 24

#: How a take's file is called, in small letters.
ENDINGS = (".mid", ".midi")

#: Windows waits for no more processes than this.
_MOST_PROCESSES = 61

#: So many takes are handed to a process at a time: few enough to keep all of them busy to the end.
_AT_A_TIME = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """How all takes are graded."""

    pattern: Pattern
    options: Options
    with_hits: bool = False


@dataclass(frozen=True, slots=True)
class Result:
    """What came of one take: its grade as plain objects for JSON, or in one line why not.

    ``notices`` are of the pattern that it is held against, where that is not the one it is of.
    """

    path: Path
    told: dict[str, Any] | None
    notices: tuple[str, ...] = ()
    trouble: str = ""


def takes_in(paths: Sequence[Path]) -> list[Path]:
    """The files of ``paths``, with all takes in a folder and in its folders in its place.

    Hidden ones are left out: some systems lay one beside each file. UserError for a folder that
    holds none.
    """
    found: list[Path] = []
    for path in paths:
        if not path.is_dir():
            found.append(path)
            continue
        inside = [
            one
            for one in path.rglob("*")
            if one.suffix.lower() in ENDINGS and one.name[0] != "." and one.is_file()
        ]
        if not inside:
            raise UserError(f"There is no take in the folder {path}: no file ends with .mid.")
        found += sorted(inside)
    return found


def grade_all(batch: Batch, paths: Sequence[Path]) -> Iterator[Result]:
    """The result of each take, in order; ``close`` it where no more are wanted."""
    processes = min(_processors(), -(-len(paths) // _AT_A_TIME))
    grade = partial(grade_file, batch)
    if len(paths) < FEW or processes < 2:
        yield from map(grade, paths)
        return
    # Spawned: a forked process would take over the threads and devices of this one.
    pool = ProcessPoolExecutor(
        processes, mp_context=get_context("spawn"), initializer=_leave_ctrl_c
    )
    done = 0
    try:
        for result in pool.map(grade, paths, chunksize=_AT_A_TIME):
            done += 1
            yield result
    except BrokenProcessPool:  # the system has ended one of them: go on alone
        yield from map(grade, paths[done:])
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


def grade_file(batch: Batch, path: Path) -> Result:
    """The result of one take; a mistake of the program is kept, and stops no other take."""
    try:
        graded = grade_take(batch.pattern, read(path), batch.options)
        return Result(path, graded.as_json(batch.with_hits), graded.asked.remarks)
    except UserError as error:
        told = str(error)
        named = told if printable(str(path)) in told else f"{path}: {told}"
        return Result(path, None, trouble=named)
    except Exception as error:
        kept = keep_mistake(error)
        told = f"{path}: The program made a mistake ({described(error)}). {kept}".rstrip()
        return Result(path, None, trouble=told)


def _processors() -> int:
    with suppress(AttributeError):  # only some systems tell what this process may use
        return min(len(os.sched_getaffinity(0)), _MOST_PROCESSES)
    return min(os.cpu_count() or 1, _MOST_PROCESSES)


def _leave_ctrl_c() -> None:
    """In each process of the pool: Ctrl+C is for the one that a person has started."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
