"""The file of the store: opened, brought up to date, and told plainly where it cannot be used.

Write-ahead logging, so that one writes while any number read; each commit is flushed to the disk
before it counts. A file that is damaged is set aside under another name and a new one begun; one
that is newer than this program, may not be written, or lies on a full disk is left alone. Nothing
is ever written over.

Every error of SQLite leaves here as a ``StoreError``, whose text is for the user and whose
``trouble`` says which it is.
"""

import random
import re
import shutil
import sqlite3
import time
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import datetime
from enum import StrEnum
from itertools import count
from pathlib import Path
from typing import Any, Self

from playalong.records.store.schema import MIGRATIONS, VERSION, statements
from playalong.support.errors import UserError

#: How long one program waits for another that is writing.
WAIT_S = 5.0

#: And after how long it asks again whether the other has done, the least and the most.
_ASK_AGAIN_S = (0.001, 0.006)

#: What belongs to a file of SQLite, by what is put behind its name.
BESIDE = ("", "-wal", "-shm")


class Trouble(StrEnum):
    """What may be wrong with a store."""

    DAMAGED = "damaged"
    NEWER = "newer"
    READ_ONLY = "read-only"
    FULL = "full"
    BUSY = "busy"
    GONE = "gone"
    FAILING = "cannot be read or written"
    NOT_THERE = "cannot be opened"


class StoreError(UserError):
    """A store that cannot be used; ``trouble`` says why."""

    def __init__(self, trouble: Trouble, path: Path, detail: str = "") -> None:
        words = _WORDS[trouble].format(path=path, detail=detail)
        super().__init__(words)
        self.trouble, self.detail = trouble, detail


_WORDS = {
    Trouble.DAMAGED: "The store {path} is damaged{detail}.",
    Trouble.NEWER: (
        "The store {path} was written by a newer version of playalong{detail}: update the "
        "program. It is left as it is."
    ),
    Trouble.READ_ONLY: "The store {path} may not be written: check its permissions.",
    Trouble.FULL: "The disk with the store {path} is full: make room. Nothing in it is lost.",
    Trouble.BUSY: (
        "Another program has been using the store {path} for {detail} s: close it, and try again."
    ),
    Trouble.GONE: ("The store {path} is gone, or its log: moved or deleted while the program ran."),
    Trouble.FAILING: (
        "The store {path} cannot be read or written ({detail}): check the disk and its permissions."
    ),
    Trouble.NOT_THERE: "The store {path} cannot be opened ({detail}).",
}


class Database:
    """One connection to the store; every thread and every process has its own."""

    def __init__(self, path: Path, connection: sqlite3.Connection, wait_s: float) -> None:
        self.path = path
        self._connection, self._wait_s = connection, wait_s
        #: Which files the store and its log are, once they are known.
        self._files: dict[Path, tuple[int, int]] = {}
        #: How deep in ``writing`` we are.
        self._depth = 0

    @classmethod
    def open(cls, path: Path, *, wait_s: float = WAIT_S) -> Self:
        """The store at ``path``, made where there is none, and brought up to date.

        Another program that is writing is waited for, so long. StoreError where the store cannot
        be used; the file is then as it was.
        """
        with _as_store_errors(path):
            path.parent.mkdir(parents=True, exist_ok=True)
            connection = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
            try:
                database = cls(path, connection, wait_s)
                database._prepare()
            except BaseException:
                connection.close()
                raise
        return database

    def _prepare(self) -> None:
        run = self._connection.execute
        (version,) = run("PRAGMA user_version").fetchone()
        if version > VERSION:
            detail = f" (version {version}, this one knows {VERSION})"
            raise StoreError(Trouble.NEWER, self.path, detail)
        run("PRAGMA foreign_keys = ON")
        run("PRAGMA secure_delete = ON")
        run("PRAGMA synchronous = FULL")
        if version < VERSION:
            run("PRAGMA journal_mode = WAL")
            self._migrate()
        self._is_moved()

    def _is_moved(self) -> bool:
        """Whether store or log are other files than they were: what is written goes nowhere then.

        SQLite lets no log go while somebody has the store open.
        """
        for path in (self.path, self.path.with_name(f"{self.path.name}-wal")):
            found = identity(path)
            known = self._files.get(path, found)
            if known != found:
                return True
            if found is not None:
                self._files[path] = found
        return False

    def _migrate(self) -> None:
        with self.writing():
            (version,) = self._connection.execute("PRAGMA user_version").fetchone()
            for script in MIGRATIONS[version:]:
                for statement in statements(script):
                    self._connection.execute(statement)
            self._connection.execute(f"PRAGMA user_version = {VERSION}")

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """What a query finds."""
        with _as_store_errors(self.path):
            return self._connection.execute(sql, _written(values)).fetchall()

    def row(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        """The first row that a query finds, None for nothing."""
        with _as_store_errors(self.path):
            found: tuple[Any, ...] | None = self._connection.execute(
                sql, _written(values)
            ).fetchone()
            return found

    @contextmanager
    def writing(self) -> Iterator[Self]:
        """All that is written within counts, or nothing of it; on the disk when this is left."""
        if self._depth:
            yield self
            return
        with _as_store_errors(self.path):
            if self._is_moved():
                raise StoreError(Trouble.GONE, self.path)
            self._begin()
        self._depth += 1
        try:
            yield self
        except BaseException:
            with suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK")
            raise
        else:
            with _as_store_errors(self.path):
                try:
                    self._connection.execute("COMMIT")
                except sqlite3.Error:
                    with suppress(sqlite3.Error):
                        self._connection.execute("ROLLBACK")
                    raise
        finally:
            self._depth -= 1

    @contextmanager
    def waiting(self, wait_s: float) -> Iterator[Self]:
        """Wait for other programs that write no longer than this, within the block."""
        before, self._wait_s = self._wait_s, wait_s
        try:
            yield self
        finally:
            self._wait_s = before

    def _begin(self) -> None:
        """Begin to write, as soon as nobody else does.

        SQLite asks more and more seldom, and so never gets its turn beside a program that writes
        all the while; here it is asked again after some milliseconds, unlike from one to the next.
        """
        run, until_s = self._connection.execute, time.monotonic() + self._wait_s
        run("PRAGMA busy_timeout = 0")
        try:
            while True:
                try:
                    run("BEGIN IMMEDIATE")
                    return
                except sqlite3.OperationalError as error:
                    is_busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
                    if not is_busy or time.monotonic() >= until_s:
                        raise
                time.sleep(random.uniform(*_ASK_AGAIN_S))
        finally:
            run(f"PRAGMA busy_timeout = {round(1000.0 * self._wait_s)}")

    def write(self, sql: str, values: Sequence[Any] = ()) -> int:
        """One statement that changes something; the id of the row that it added, if it did."""
        with self.writing(), _as_store_errors(self.path):
            return int(self._connection.execute(sql, _written(values)).lastrowid or 0)

    def integrity(self) -> list[str]:
        """What SQLite's own check finds wrong; empty where all is well. Reads the whole file."""
        found = [str(row[0]) for row in self.rows("PRAGMA integrity_check")]
        foreign = [f"no such row: {row}" for row in self.rows("PRAGMA foreign_key_check")]
        return [line for line in found if line != "ok"] + foreign

    def settle(self) -> None:
        """Move all that the log holds into the file, and cut the log to nothing.

        StoreError where another program is reading or writing all the while.
        """
        with _as_store_errors(self.path):
            (is_busy, *_) = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        if is_busy:
            raise StoreError(Trouble.BUSY, self.path, f"{WAIT_S:g}")

    def compact(self) -> None:
        """Leave nothing of what was deleted, in the file or in its log."""
        with _as_store_errors(self.path):
            self._connection.execute("VACUUM")
        self.settle()

    def close(self) -> None:
        """Let go of the file."""
        self._connection.close()


def _written(values: Sequence[Any]) -> list[Any]:
    """``values`` as SQLite takes them: bytes of a file's name that are no UTF-8 as escapes."""
    return [
        value.encode(errors="backslashreplace").decode() if isinstance(value, str) else value
        for value in values
    ]


_ESCAPE = re.compile(r"\\u(dc[89a-f][0-9a-f])")


def file_of(written: str) -> Path:
    """The file whose name was kept as ``written``."""
    return Path(_ESCAPE.sub(lambda found: chr(int(found[1], 16)), written))


def is_suspect(path: Path) -> bool:
    """Whether something in the store at ``path`` could not be read once."""
    return _mark(path).exists()


def _mark(path: Path) -> Path:
    return path.with_suffix(".suspect")


def set_aside(path: Path) -> Path:
    """Move a damaged store, with its log, to a name that nothing has; the new path."""
    stamp = f"{datetime.now():%Y-%m-%d}"
    for number in count(1):
        more = "" if number == 1 else f"-{number}"
        aside = path.with_name(f"{path.stem}-damaged-{stamp}{more}{path.suffix}")
        if not aside.exists():
            break
    for ending in BESIDE:
        with suppress(FileNotFoundError):
            path.with_name(path.name + ending).rename(aside.with_name(aside.name + ending))
    _mark(path).unlink(missing_ok=True)
    return aside


def identity(path: Path) -> tuple[int, int] | None:
    """Which file is at ``path``, whatever it is called; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


@contextmanager
def decoding(database: Database) -> Iterator[None]:
    """What is kept as JSON, dates or packed bytes, taken apart: StoreError where it is damaged.

    SQLite looks after its own pages, and not after what lies in them.
    """
    try:
        yield
    except (ValueError, TypeError, KeyError, OverflowError, zlib.error, RecursionError) as error:
        if isinstance(error, UserError):
            raise
        detail = (
            " (something in it cannot be read any more): move it elsewhere, and the next start"
            " begins a new one from the takes"
        )
        raise StoreError(Trouble.DAMAGED, database.path, detail) from error


@contextmanager
def _as_store_errors(path: Path) -> Iterator[None]:
    """Errors of SQLite as ``StoreError``."""
    try:
        yield
    except sqlite3.Error as error:
        failure = StoreError(*_trouble(error, path))
        if failure.trouble is Trouble.FAILING and _is_full(path):  # no room for what lies beside it
            failure = StoreError(Trouble.FULL, path)
        if failure.trouble is Trouble.DAMAGED:  # found late, perhaps: the next start mends it
            with suppress(OSError):
                _mark(path).touch()
        raise failure from error
    except UnicodeDecodeError as error:  # of a text in the file, or in what SQLite says of it
        with suppress(OSError):
            _mark(path).touch()
        raise StoreError(Trouble.DAMAGED, path, " (a text in it is none)") from error
    except OSError as error:
        raise StoreError(Trouble.NOT_THERE, path, error.strerror or str(error)) from error


#: With less room than this SQLite cannot make the files that lie beside a store: 32 KB for its
#: index of the log (Write-Ahead Logging, the wal-index format), and a page of the log.
_ROOM = 40_000


def _is_full(path: Path) -> bool:
    with suppress(OSError):
        return shutil.disk_usage(path.parent).free < _ROOM
    return False


#: SQLite's primary result codes, as documented.
_TROUBLE = {
    sqlite3.SQLITE_CORRUPT: Trouble.DAMAGED,
    sqlite3.SQLITE_NOTADB: Trouble.DAMAGED,
    sqlite3.SQLITE_READONLY: Trouble.READ_ONLY,
    sqlite3.SQLITE_PERM: Trouble.READ_ONLY,
    sqlite3.SQLITE_FULL: Trouble.FULL,
    sqlite3.SQLITE_BUSY: Trouble.BUSY,
    sqlite3.SQLITE_LOCKED: Trouble.BUSY,
    sqlite3.SQLITE_IOERR: Trouble.FAILING,
}


def _trouble(error: sqlite3.Error, path: Path) -> tuple[Trouble, Path, str]:
    code = getattr(error, "sqlite_errorcode", None)
    if "decode" in str(error):  # a text that is none any more
        code = sqlite3.SQLITE_CORRUPT
    trouble = Trouble.NOT_THERE if code is None else _TROUBLE.get(code & 0xFF, Trouble.NOT_THERE)
    if code is not None and code == getattr(sqlite3, "SQLITE_READONLY_DBMOVED", -1):
        trouble = Trouble.GONE
    details = {Trouble.BUSY: f"{WAIT_S:g}", Trouble.DAMAGED: f" ({error})"}
    return trouble, path, details.get(trouble, str(error))
