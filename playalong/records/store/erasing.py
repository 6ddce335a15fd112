"""Erasing a player: from the store, the files that were copied out of it, and older files.

First ``traces`` lists what there is, so that one confirmation can show it; ``erase`` then leaves
nothing of it. What is deleted is overwritten with zeros (SQLite's ``secure_delete``), the file is
written anew without free pages, and the write-ahead log is cut to nothing.
"""

from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from playalong.records.store import players
from playalong.records.store.database import Database
from playalong.records.store.players import PlayerRow


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

    copies = database.rows(
        "SELECT file FROM run WHERE player = ? AND file IS NOT NULL"
        " UNION SELECT path FROM imported WHERE player = ?",
        (player.id, player.id),
    )
    files = [*(Path(path) for (path,) in copies), *others]
    return Traces(
        runs=count("run"),
        lessons=count("lesson"),
        profiles=count("profile"),
        files=tuple(sorted({path for path in files if path.exists()})),
    )


def erase(database: Database, player: PlayerRow, found: Traces) -> list[Path]:
    """Leave nothing of ``player``; the files that could not be deleted."""
    with database.writing():
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
    database.compact()
    left = []
    for path in found.files:
        with suppress(FileNotFoundError):
            try:
                path.unlink()
            except OSError:
                left.append(path)
    return left
