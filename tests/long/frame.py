"""What every long check uses: its options, its processes, its tables."""

import multiprocessing
import multiprocessing.connection
import os
import pickle
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

T = TypeVar("T")
R = TypeVar("R")

#: Programs that play in real time take a tenth of a processor each: so many beside each other.
AT_ONCE = 4

VERDICTS = {None: "", True: "holds", False: "DOES NOT HOLD"}


@dataclass(frozen=True, kw_only=True)
class Options:
    """How much of a check, with which seed, in how many processes.

    Results are kept in the file ``keep``, if any, and not worked out again, so that a long check
    may be stopped and gone on with. Whoever changes the program takes another file.
    """

    count: int
    seed: int
    jobs: int
    keep: Path | None = None

    def map(self, work: Callable[[T], R], items: Iterable[T]) -> Iterator[R]:
        """``work`` of each item, in the items' order, over all processes.

        ``work`` is a function of a module and its items and results can be pickled. What it
        raises is raised here.
        """
        everything = list(items)
        if self.keep is None:
            yield from self._worked(work, everything)
            return
        names = [f"{work.__module__}.{work.__qualname__} {item!r}" for item in everything]
        kept = _kept(self.keep)
        left = [number for number, name in enumerate(names) if name not in kept]
        with self.keep.open("ab") as file:
            for number, result in zip(
                left, self._worked(work, [everything[n] for n in left]), strict=True
            ):
                kept[names[number]] = result
                pickle.dump((names[number], result), file)
                file.flush()
        yield from (kept[name] for name in names)

    def waiting(self, work: Callable[[T], R], items: Iterable[T]) -> Iterator[R]:
        """The same of work that mostly waits for a program to play: more of it at once."""
        return replace(self, jobs=AT_ONCE * self.jobs).map(work, items)

    def _worked(self, work: Callable[[T], R], everything: list[T]) -> Iterator[R]:
        if self.jobs == 1 or not everything:
            yield from _shown(map(work, everything), len(everything))
            return
        # Spawned: a process that is forked would take over threads and windows of this one.
        context = multiprocessing.get_context("spawn")
        portion = max(1, min(64, len(everything) // (8 * self.jobs)))
        with ProcessPoolExecutor(
            self.jobs, mp_context=context, initializer=_end_with_the_first
        ) as pool:
            results = pool.map(work, everything, chunksize=portion)
            yield from _shown(results, len(everything))


def _end_with_the_first() -> None:
    """A process of the pool ends when the one that made it has ended, in whatever way: it would
    wait for work for ever."""
    first = multiprocessing.parent_process()
    if first is None:
        return

    def watch(sentinel: int) -> None:
        multiprocessing.connection.wait([sentinel])
        os._exit(1)

    threading.Thread(target=watch, args=(first.sentinel,), daemon=True).start()


def _kept(path: Path) -> dict[str, Any]:
    """What an earlier run kept; a last one that was broken off is left out."""
    found: dict[str, Any] = {}
    if path.exists():
        with path.open("rb") as file:
            while True:
                try:
                    name, result = pickle.load(file)
                except (EOFError, pickle.UnpicklingError):
                    break
                found[name] = result
    return found


def generator(seed: int, case: int) -> np.random.Generator:
    """The chance of one case: the same in whatever process and order it is run."""
    return np.random.default_rng([seed, case])


@dataclass
class Table:
    """Rows under headings, each with an optional verdict: does it hold what it must?"""

    title: str
    headings: Sequence[str]
    rows: list[tuple[list[str], bool | None]] = field(default_factory=list)

    def row(self, *cells: object, holds: bool | None = None) -> None:
        """Add a row; a float is shown with four digits, anything else as it prints."""
        if len(cells) != len(self.headings):
            raise ValueError(f"{len(cells)} cells under {len(self.headings)} headings")
        self.rows.append(([_cell(cell) for cell in cells], holds))

    @property
    def holds(self) -> bool:
        """No row says that it does not hold."""
        return all(holds is not False for _, holds in self.rows)

    def __str__(self) -> str:
        lines = [list(self.headings), *(cells for cells, _ in self.rows)]
        widths = [max(len(line[column]) for line in lines) for column in range(len(self.headings))]
        marks = [
            "",
            *({None: "", True: "holds", False: "DOES NOT HOLD"}[own] for _, own in self.rows),
        ]
        rendered = [
            "  ".join(
                cell.rjust(width) if _is_figure(cell) else cell.ljust(width)
                for cell, width in zip(line, widths, strict=True)
            )
            for line in lines
        ]
        return "\n".join(
            [self.title]
            + [f"  {line}  {mark}".rstrip() for line, mark in zip(rendered, marks, strict=True)]
        )


def _cell(value: object) -> str:
    if isinstance(value, float | np.floating):
        return f"{value:.4g}"
    return str(value)


def _is_figure(cell: str) -> bool:
    return cell[:1].isdigit() or (cell[:1] in ("-", "+") and cell[1:2].isdigit())


def _shown(results: Iterable[R], total: int) -> Iterator[R]:
    """The results, with a count on the terminal if somebody looks on."""
    looked_at = sys.stderr.isatty()
    for done, result in enumerate(results, start=1):
        if looked_at:
            end = "\n" if done == total else ""
            print(f"\r  {done} of {total}", end=end, file=sys.stderr, flush=True)
        yield result
