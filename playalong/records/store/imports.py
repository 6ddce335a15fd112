"""Which files of earlier versions, or of times without a store, were taken in."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from playalong.records.store import players
from playalong.records.store.database import Database


@contextmanager
def taking_in(
    database: Database, path: Path, now: datetime, *, player: str | None = None
) -> Iterator[bool]:
    """Take in the file at ``path``, whose data are those of ``player`` alone, if of anybody.

    Whether it is new; what is written in the block counts together with the note that it was
    taken in, or not at all.
    """
    with database.writing():
        is_new = database.row("SELECT 1 FROM imported WHERE path = ?", (str(path),)) is None
        yield is_new
        if is_new:
            number = None if player is None else players.player_of(database, player, now).id
            database.write(
                "INSERT INTO imported VALUES (?, ?, ?)",
                (str(path), now.isoformat(timespec="seconds"), number),
            )
