"""Erasing a player: from the store, the files that were copied out of it, and older files.

First ``traces`` lists what there is, so that one confirmation can show it; ``erase`` then leaves
nothing of it. What is deleted is overwritten with zeros (SQLite's ``secure_delete``), the file is
written anew without free pages, and the write-ahead log is cut to nothing.
"""

import time
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from playalong.records.store import players, runs
from playalong.records.store.database import Database, file_of
from playalong.records.store.players import PlayerRow
from playalong.support.errors import UserError
from playalong.support.text import quoted


@dataclass(frozen=True, kw_only=True)
class Traces:
    """What is kept of a player: how many runs, lessons and profiles, and which files."""

    runs: int
    lessons: int
    profiles: int
    files: tuple[Path, ...]


def traces(database: Database, player: PlayerRow, others: Iterable[Path] = ()) -> Traces:
    """All that ``erase`` would take away; ``others`` are files outside the store's knowledge."""

    def count(table: str) -> int:
        row = database.row(f"SELECT count(*) FROM {table} WHERE player = ?", (player.id,))
        return int(row[0]) if row else 0

    files = [*copies(database, player), *others]
    return Traces(
        runs=count("run"),
        lessons=count("lesson"),
        profiles=count("profile"),
        files=tuple(sorted({path for path in files if path.exists()})),
    )


def copies(database: Database, player: PlayerRow) -> list[Path]:
    """The files that the store knows of: takes, and what was taken in for this player alone."""
    rows = database.rows(
        "SELECT file FROM run WHERE player = ? AND file IS NOT NULL"
        " UNION SELECT path FROM imported WHERE player = ?",
        (player.id, player.id),
    )
    return [file_of(path) for (path,) in rows]


def takes_of_all(database: Database) -> set[Path]:
    """The takes in files of which the store knows whose they are."""
    rows = database.rows("SELECT file FROM run WHERE file IS NOT NULL")
    return {file_of(path) for (path,) in rows}


def erase(database: Database, player: PlayerRow, found: Traces) -> list[Path]:
    """Leave nothing of ``player``; the files that could not be deleted.

    UserError where a run of theirs goes on, StoreError where another program has the store; nothing
    is erased then.
    """
    database.settle()
    with database.writing():
        if _is_playing(database, player):
            raise UserError(
                f"{quoted(player.name)} is playing at this moment: end the run first. Nothing was "
                "erased."
            )
        database.write("DELETE FROM player WHERE id = ?", (player.id,))
        database.write("DELETE FROM setting WHERE player = ?", (player.id,))
        if players.settings(database).get("player") == player.id:
            players.remember(database, {"player": None})
        database.write("DELETE FROM imported WHERE player = ?", (player.id,))
        database.write(
            "DELETE FROM kit WHERE id NOT IN (SELECT kit FROM profile)"
            " AND id NOT IN (SELECT kit FROM run WHERE kit IS NOT NULL)"
        )
        database.write(
            "DELETE FROM pattern WHERE fingerprint NOT IN"
            " (SELECT pattern FROM run WHERE pattern IS NOT NULL)"
            " AND fingerprint NOT IN (SELECT pattern FROM lesson)"
        )
    left = erase_files(found.files)
    database.compact()
    return left


def erase_files(files: Iterable[Path]) -> list[Path]:
    """Delete ``files``; those that could not be deleted."""
    left = []
    for path in files:
        with suppress(FileNotFoundError):
            try:
                path.unlink()
            except OSError:
                left.append(path)
    return left


def _is_playing(database: Database, player: PlayerRow) -> bool:
    going = database.rows(
        "SELECT alive_s, process FROM run WHERE player = ? AND state = 'going'", (player.id,)
    )
    now_s = time.time()
    return any(not runs.is_broken_off(alive_s, process, now_s) for alive_s, process in going)
