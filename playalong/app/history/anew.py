"""A run of the history opened again: graded anew, held against what was shown, or another run."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.stored_runs import grade_of, pattern_of
from playalong.grading.text import figures
from playalong.records import takes
from playalong.records.store import runs
from playalong.records.store.database import Database
from playalong.records.store.players import PlayerRow
from playalong.records.store.runs import Result, RunRow
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Take
from playalong.support.errors import UserError
from playalong.support.version import program_version

#: At most so many figures that differ are listed.
MOST_LISTED = 6

#: Figures are written with six decimals; less than this apart they are the same.
_SAME = 1e-6

_MISSING = object()


@dataclass(frozen=True, kw_only=True)
class Anew:
    """A run as it was played, graded now; ``differences`` to what was shown then, in words.

    Empty where the figures are equal; ``was_graded`` is False where none were shown then.
    """

    row: RunRow
    take: Take
    graded: Graded
    was_graded: bool
    differences: tuple[str, ...]

    @property
    def words(self) -> str:
        """How the figures compare, and why they differ where they do."""
        if not self.was_graded:
            return "Graded for the first time."
        if not self.differences:
            return "Graded anew: the same figures."
        now = program_version()
        why = (
            f"it was graded by version {self.row.program}, and this is {now}"
            if self.row.program != now
            else "the rules of the program have changed since"
        )
        return f"Graded anew, the figures differ: {why}."


def run_of(database: Database, player: PlayerRow, number: int) -> RunRow:
    """The run of that number; UserError where the player has none such."""
    found = runs.select(database, "run.id = ? AND run.player = ?", (number, player.id), limit=1)
    if not found or found[0].state != runs.KEPT:
        raise UserError(
            f"{player.name} has no run {number}: the history lists the numbers of the runs."
        )
    return found[0]


def anew(database: Database, row: RunRow) -> Anew:
    """Open a run again, and grade it; UserError where that cannot be."""
    data = runs.take_of(database, row.id)
    if data is None:
        raise UserError(f"The take of run {row.id} is not in the store.")
    take = takes.from_bytes(data, f"the take of run {row.id}")
    graded = _graded(take, row)
    shown, hits = runs.grade_of(database, row.id)
    differences: tuple[str, ...] = ()
    if shown is not None:
        now = graded.as_json(with_hits=True)
        before = shown if hits is None else {**shown, "hits": hits}
        differences = tuple(_differences(before, now))
    return Anew(
        row=row, take=take, graded=graded, was_graded=shown is not None, differences=differences
    )


def _graded(take: Take, row: RunRow) -> Graded:
    pattern = pattern_of(TakeInfo.from_plain(take.info))
    if pattern is None:
        raise UserError(
            f"Run {row.id} does not say what was asked: grade its take with playalong grade."
        )
    return grade_take(pattern, take, Options())


def _differences(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    found = [
        f"{name}: {_written(was)} then, {_written(is_now)} now"
        for name, was, is_now in _unequal("", before, now)
        if name != "program"
    ]
    more = len(found) - MOST_LISTED
    return [*found[:MOST_LISTED], f"and {more} more"] if more > 0 else found


def _unequal(name: str, before: Any, now: Any) -> list[tuple[str, Any, Any]]:
    if isinstance(before, Mapping) and isinstance(now, Mapping):
        keys = [*before, *(key for key in now if key not in before)]
        return [
            found
            for key in keys
            for found in _unequal(
                f"{name} {key}".lstrip(), before.get(key, _MISSING), now.get(key, _MISSING)
            )
        ]
    if isinstance(before, list | tuple) and isinstance(now, list | tuple):
        if len(before) == len(now):
            pairs = enumerate(zip(before, now, strict=True), 1)
            return [
                found
                for at, (was, is_now) in pairs
                for found in _unequal(f"{name} {at}", was, is_now)
            ]
        return [(name, f"{len(before)} of them", f"{len(now)} of them")]
    numbers = isinstance(before, int | float) and isinstance(now, int | float)
    is_same = abs(before - now) <= _SAME if numbers else before == now
    return [] if is_same else [(name, before, now)]


def _written(value: Any) -> str:
    if value is _MISSING or value is None:
        return "none"
    return f"{value:g}" if isinstance(value, float) else str(value)


def compared(one: Anew, other: Anew) -> list[tuple[str, str, str]]:
    """What is figured of two runs, in words: (what, of ``one``, of ``other``)."""
    left, right = _figures(one), _figures(other)
    return [
        (what, left.get(what, ""), right.get(what, "")) for what in dict.fromkeys([*left, *right])
    ]


def _figures(run: Anew) -> dict[str, str]:
    grade = run.graded.grade
    return {
        "score": f"{grade.score.total:.0f}",
        "bars": f"{grade.bars}",
        "tempo": f"{grade.tempo_bpm:g} bpm",
        **dict(figures(grade)),
    }


def grade_pending(
    database: Database,
    player: PlayerRow,
    limit: int | None = None,
    *,
    step: Callable[[], None] = lambda: None,
) -> int:
    """Grade the latest ``limit`` runs that came from files, all by default; how many were graded.

    ``step`` is told after each. A run that cannot be graded stays without a grade.
    """
    graded = 0
    for number in runs.pending(database, player.id)[:limit]:
        (row,) = runs.select(database, "run.id = ?", (number,), limit=1)
        data = runs.take_of(database, number) or b""
        found = None
        try:
            found = _graded(takes.from_bytes(data, f"the take of run {number}"), row)
        except UserError:
            found = None
        result = Result(take=data, seconds=row.seconds or 0.0, file=row.file, **grade_of(found))
        runs.keep(database, number, result)
        graded += found is not None
        step()
    return graded
