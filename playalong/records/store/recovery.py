"""What can be read of a damaged store goes into a new one; the damaged one is set aside as it is.

Each table is read by itself, around the places that cannot be read, and each row is looked at
before it is taken over: SQLite looks after its own pages, and not after what lies in them. Of a run
whose take is lost the file of it is read again. What refers to a row that is lost (a player, a kit,
a pattern) gets it back from what the takes say of themselves, as far as they do.

What could not be read is told. Files of takes and of earlier versions count as not taken in, so
that the next look takes in those whose rows are lost.
"""

import json
import os
import sqlite3
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from secrets import token_hex
from typing import Any

from playalong.records.store import players, runs
from playalong.records.store.database import (
    WAIT_S,
    Database,
    StoreError,
    Trouble,
    file_of,
    identity,
    is_suspect,
    set_aside,
)
from playalong.support.reading import MOST_MIDI, read_bytes
from playalong.support.text import counted

Row = dict[str, Any]

#: What reading damaged pages ends in; what SQLite says of it may be no text.
_UNREADABLE = (sqlite3.Error, UnicodeDecodeError)

#: The setting that says that files of earlier times were looked at; see ``app.moving_in``.
_LOOKED_AT = "moved_in"


@dataclass(frozen=True, kw_only=True)
class Recovered:
    """A damaged store: where it was set aside, how many rows of each table were taken over, and
    the tables of which some could not be read.
    """

    aside: Path
    rows: Mapping[str, int]
    broken: tuple[str, ...]

    def words(self, path: Path) -> list[str]:
        """What a person should know of it."""
        kinds = ("run", "lesson", "profile", "player")
        recovered = [counted(self.rows[kind], kind) for kind in kinds if self.rows.get(kind)]
        lines = [f"The store {path} is damaged. It was set aside as {self.aside}."]
        if not recovered:
            lines.append("Nothing in it could be read; takes are taken in again from their files.")
        else:
            lines.append(f"Taken over from it: {', '.join(recovered)}.")
        if recovered and self.broken:
            names = sorted({_SAID[table] for table in self.broken})
            lines.append(
                f"Not all of it could be read; some are missing of: {', '.join(names)}. Takes are "
                "taken in again from their files."
            )
        return lines


#: What is in a table, as a player would say it.
_SAID = {
    "player": "players",
    "kit": "kits",
    "pattern": "patterns",
    "profile": "profiles",
    "run": "runs",
    "body": "takes and grades of runs",
    "message": "runs that were broken off",
    "finding": "findings",
    "lesson": "lessons",
    "setting": "settings",
    "imported": "notes on files of earlier versions",
}


def open_or_renew(path: Path, *, wait_s: float = WAIT_S) -> tuple[Database, Recovered | None]:
    """The store at ``path``, and what became of it where it was damaged.

    StoreError as ``Database.open``, but for damage; where a new store cannot be written, the
    damaged one stays where it is.
    """
    before = identity(path)
    try:
        database = Database.open(path, wait_s=wait_s)
        try:
            # What is damaged elsewhere than at its head shows when it is read.
            database.rows("SELECT count(*) FROM run WHERE state = 'going'")
            if is_suspect(path):
                raise StoreError(Trouble.DAMAGED, path)
        except StoreError:
            database.close()
            raise
    except StoreError as error:
        if error.trouble is not Trouble.DAMAGED:
            raise
        if identity(path) != before:  # another program has renewed it meanwhile
            return Database.open(path, wait_s=wait_s), None
        recovered = _renew(path)
        return Database.open(path, wait_s=wait_s), recovered
    return database, None


def _renew(path: Path) -> Recovered:
    draft = path.with_name(f".{path.stem}-{token_hex(4)}{path.suffix}")
    try:
        with closing(Database.open(draft)) as new:
            rows, broken = _recover(path, new)
        aside = set_aside(path)
        with suppress(FileExistsError):  # of another program: what was read is in the file aside
            os.link(draft, path)
    except StoreError as error:
        raise StoreError(error.trouble, path, error.detail) from error
    except OSError as error:
        raise StoreError(Trouble.READ_ONLY, path, str(error)) from error
    finally:
        for left in path.parent.glob(f"{draft.stem}.*"):
            left.unlink(missing_ok=True)
    return Recovered(aside=aside, rows=rows, broken=broken)


def _recover(path: Path, new: Database) -> tuple[dict[str, int], tuple[str, ...]]:
    """Take over what can be read; how many rows of each table, and which tables are not whole."""
    with closing(_read_only(path)) as old:
        reader = _Reader(old)
        with new.writing():
            new.write("PRAGMA defer_foreign_keys = ON")
            for table in _SAID:
                for row in reader.rows(table):
                    _insert(new, table, row)
            _give_back(new)
            _forget_orphans(new)
            _look_again(new)
        count = {table: _count(new, table) for table in _SAID}
    return count, tuple(sorted(reader.broken))


def _read_only(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=WAIT_S)
    connection.text_factory = bytes
    connection.row_factory = sqlite3.Row
    return connection


def _count(database: Database, table: str) -> int:
    ((count,),) = database.rows(f"SELECT count(*) FROM {table}")
    return int(count)


def _insert(database: Database, table: str, row: Row) -> None:
    database.write(
        f"INSERT OR IGNORE INTO {table} ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})",
        list(row.values()),
    )


class _Reader:
    """Reads the tables of a damaged store; ``broken`` are those of which something is lost."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection
        self.broken: set[str] = set()
        self._runs: list[int] = []
        #: Some of the columns of a run lay in its row before they lay in ``body``.
        self._version = self._scalar("PRAGMA user_version") or 0

    def _scalar(self, sql: str) -> Any:
        try:
            row = self._connection.execute(sql).fetchone()
        except _UNREADABLE:
            return None
        return row[0] if row else None

    def rows(self, table: str) -> Iterator[Row]:
        """The rows of a table that are sound."""
        for found in self._found(table):
            row = _sound(table, found)
            if row is None:
                self.broken.add(table)
                continue
            if table == "run":
                self._runs.append(row["id"])
            yield row

    def _found(self, table: str) -> Iterator[Row]:
        if table == "body" and self._version < _BODIES:
            columns = "id AS run, info, take, grade, hits"
            yield from self._by_rowid(table, f"SELECT rowid AS _at, {columns} FROM run")
        elif table in _NUMBERED:
            yield from self._by_rowid(table, f"SELECT rowid AS _at, * FROM {table}")
        elif table in _OF_RUNS:
            yield from self._of_runs(table)
        else:
            yield from self._from_both_ends(table)

    def _by_rowid(self, table: str, select: str) -> Iterator[Row]:
        """In order of their numbers; a place that cannot be read is passed over."""
        at = 0
        while True:
            try:
                for found in self._connection.execute(
                    f"{select} WHERE rowid >= ? ORDER BY rowid", (at,)
                ):
                    row = dict(found)
                    at = row.pop("_at") + 1
                    yield row
                return
            except _UNREADABLE:
                self.broken.add(table)
            after = self._next_that_can_be_read(select, at)
            if after is None:
                return
            at = after

    def _next_that_can_be_read(self, select: str, at: int) -> int | None:
        """The first number after ``at`` from which rows can be read, None where there is none."""

        def can_be_read(number: int) -> bool:
            try:
                row = self._connection.execute(
                    f"{select} WHERE rowid >= ? ORDER BY rowid LIMIT 1", (number,)
                ).fetchone()
            except _UNREADABLE:
                return False
            return row is not None

        low, step = at, 1
        while not can_be_read(low + step):
            low, step = low + step, 2 * step
            if step > _FARTHEST:
                return None
        high = low + step
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if can_be_read(middle) else (middle, high)
        return high

    def _from_both_ends(self, table: str) -> Iterator[Row]:
        try:
            yield from map(dict, self._connection.execute(f"SELECT * FROM {table}"))
            return
        except _UNREADABLE:
            self.broken.add(table)
        keys = ", ".join(f"{key} DESC" for key in _KEYS[table])
        with suppress(*_UNREADABLE):  # what comes twice is taken over once
            yield from map(dict, self._connection.execute(f"SELECT * FROM {table} ORDER BY {keys}"))

    def _of_runs(self, table: str) -> Iterator[Row]:
        for run in self._runs:
            try:
                yield from map(
                    dict, self._connection.execute(f"SELECT * FROM {table} WHERE run = ?", (run,))
                )
            except _UNREADABLE:
                self.broken.add(table)


#: The version that gave what is large of a run a table of its own.
_BODIES = 3

#: Tables whose rows are numbered.
_NUMBERED = ("player", "kit", "run", "body")

#: Tables of which each run has some rows.
_OF_RUNS = ("message", "finding")

#: The keys of the others.
_KEYS = {
    "pattern": ("fingerprint",),
    "profile": ("player", "kit"),
    "lesson": ("player", "pattern"),
    "setting": ("player", "name"),
    "imported": ("path",),
}

#: No gap between two runs is longer.
_FARTHEST = 1 << 24


# Rows.


def _sound(table: str, found: Row) -> Row | None:
    """A row as it can be taken over, None where it makes no sense."""
    try:
        row = {name: _plain(table, name, value) for name, value in found.items()}
        return _LOOKED[table](row) if table in _LOOKED else row
    except (ValueError, TypeError, KeyError, OverflowError, zlib.error, RecursionError):
        return None


#: Columns that hold bytes; every other one holds text or numbers.
_BYTES = {("body", "take"), ("body", "hits"), ("message", "data")}


def _plain(table: str, name: str, value: Any) -> Any:
    if isinstance(value, bytes) and (table, name) not in _BYTES and name not in ("take", "hits"):
        return value.decode("utf-8")
    return value


def _number(value: Any) -> None:
    if not isinstance(value, int | float):
        raise TypeError(value)


def _player(row: Row) -> Row:
    datetime.fromisoformat(row["since"])
    if not row["name"]:
        raise ValueError
    return row


def _run(row: Row) -> Row:
    datetime.fromisoformat(row["began"])
    for name in ("player", "began_s", "alive_s"):
        _number(row[name])
    for name in runs.FIGURES:
        if row[name] is not None:
            _number(row[name])
    return {**row, "info": "", "take": None, "grade": None, "hits": None}


def _body(row: Row) -> Row:
    """What is left of it: a take without its grade is still a take."""
    json.loads(row["info"])
    if row["take"] is not None and not row["take"].startswith(b"MThd"):
        row["take"] = None
    try:
        json.loads(row["grade"] or "null")
        json.loads(zlib.decompress(row["hits"]) if row["hits"] else "null")
    except (ValueError, zlib.error):
        row["grade"], row["hits"] = None, None
    return row


def _finding(row: Row) -> Row:
    json.loads(row["places"])
    _number(row["gain"])
    return row


def _lesson(row: Row) -> Row:
    json.loads(row["plain"])
    datetime.fromisoformat(row["changed"])
    return row


def _setting(row: Row) -> Row | None:
    json.loads(row["value"])
    return row


def _imported(row: Row) -> Row:
    datetime.fromisoformat(row["date"])
    return row


_LOOKED: dict[str, Callable[[Row], Row | None]] = {
    "player": _player,
    "run": _run,
    "body": _body,
    "finding": _finding,
    "lesson": _lesson,
    "setting": _setting,
    "imported": _imported,
}


# What is taken over, made whole.


def _look_again(new: Database) -> None:
    """Let files of takes be taken in again where their runs are lost, and read those of takes."""
    new.write("DELETE FROM setting WHERE name = ?", (_LOOKED_AT,))
    new.write("DELETE FROM imported WHERE path LIKE '%.mid'")
    for run, file in new.rows(
        "SELECT run.id, run.file FROM run LEFT JOIN body ON body.run = run.id"
        " WHERE body.take IS NULL AND run.state = 'kept' AND run.file IS NOT NULL"
    ):
        with suppress(OSError):
            take = read_bytes(file_of(file), MOST_MIDI)
            new.write("INSERT OR IGNORE INTO body (run, info) VALUES (?, '{}')", (run,))
            new.write("UPDATE body SET take = ? WHERE run = ?", (take, run))


def _give_back(new: Database) -> None:
    """Rows that others refer to, as far as the takes say what was in them."""
    for table, of, column in (
        ("player", "run", "player"),
        ("player", "profile", "player"),
        ("player", "lesson", "player"),
        ("player", "setting", "player"),
        ("kit", "run", "kit"),
        ("kit", "profile", "kit"),
    ):
        for (number,) in new.rows(
            f"SELECT DISTINCT {column} FROM {of} WHERE {column} != {players.EVERYBODY}"
            f" AND {column} NOT IN (SELECT id FROM {table})"
        ):
            name = _said(new, column, number).get(table) or f"{table} {number}"
            if new.rows(f"SELECT 1 FROM {table} WHERE name = ?", (name,)):
                name = f"{name} {number}"
            row: Row = {"id": number, "name": name}
            if table == "player":
                row["since"] = datetime.now().astimezone().isoformat(timespec="seconds")
            _insert(new, table, row)
    for of in ("run", "lesson"):
        for (fingerprint,) in new.rows(
            f"SELECT DISTINCT pattern FROM {of} WHERE pattern IS NOT NULL"
            " AND pattern NOT IN (SELECT fingerprint FROM pattern)"
        ):
            said = _said(new, "pattern", fingerprint)
            name = said.get("pattern") or "unknown"
            text = said.get("pattern_text") or ""
            row = {"fingerprint": fingerprint, "name": name, "title": name, "text": text}
            _insert(new, "pattern", row)


def _said(new: Database, column: str, value: Any) -> dict[str, str]:
    """What the takes of the runs with that value say of themselves: texts alone."""
    for (info,) in new.rows(
        f"SELECT body.info FROM body JOIN run ON run.id = body.run WHERE run.{column} = ? LIMIT 1",
        (value,),
    ):
        said = json.loads(info).get("info") or {}
        return {name: text for name, text in said.items() if isinstance(text, str)}
    return {}


def _forget_orphans(new: Database) -> None:
    """What belongs to a run that is lost means nothing by itself."""
    for table in ("body", "message", "finding"):
        new.write(f"DELETE FROM {table} WHERE run NOT IN (SELECT id FROM run)")
