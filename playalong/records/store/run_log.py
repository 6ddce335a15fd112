"""A run written to the store while it goes on, by a thread of its own.

The loop hands over messages and never waits: not for the disk, not for another program that
writes. At least every ``PORTION_S`` seconds what has come is on the disk. Where the store fails
the run goes on in a file of its own, whole, until the store can be written again; ``trouble`` says
what is wrong. Where it is gone, the run goes on in a new one, whole.
"""

import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import Any

from playalong.records.store import runs
from playalong.records.store.database import Database, StoreError, Trouble
from playalong.records.store.meanwhile.run_file import RunFile
from playalong.records.store.runs import Message

#: What is younger than this may be lost when the power fails.
PORTION_S = 0.5

#: How long is waited after the store could not be written, and for another program that writes.
RETRY_S, PATIENCE_S = 2.0, 0.2


#: The runs of this program that go on.
_OPEN: "list[RunLog]" = []


def close_all() -> bool:
    """The program ends: write what is left of every run that goes on; whether all of it is on the
    disk, False where there is none.
    """
    logs = [*_OPEN]
    for log in logs:
        log.close()
    return bool(logs) and all(
        log.file.path is not None if log.trouble else log.run is not None for log in logs
    )


class RunLog:
    """Writes the messages of one run, whose row ``begin`` makes."""

    def __init__(
        self,
        path: Path,
        begin: Callable[[Database], int],
        *,
        file: RunFile,
        info: Callable[[], Mapping[str, Any]],
        now_s: Callable[[], float] = time.time,
    ) -> None:
        """``file`` is where the run goes while the store cannot be written, ``info`` gives what it
        says of itself, ``now_s`` seconds since 1970.
        """
        self.run: int | None = None
        #: What is wrong with the store, None while all is well.
        self.trouble: StoreError | None = None
        #: The store that the run had begun in was moved or deleted; the run is in a new one.
        self.gone: StoreError | None = None
        #: Where the run is while the store cannot be written.
        self.file = file
        self._path, self._begin, self._now_s = path, begin, now_s
        self._said = info
        self._messages: SimpleQueue[Message] = SimpleQueue()
        self._all: list[Message] = []
        #: How many of them are on the disk.
        self._written = 0
        self._has_changed = False
        self._is_over = Event()
        _OPEN.append(self)
        self._thread = Thread(target=self._write, name="run log", daemon=True)
        self._thread.start()

    def message(self, tick: int, data: bytes) -> None:
        """One message of the take; returns at once."""
        self._messages.put((tick, data))

    def changed(self) -> None:
        """What the run says of itself has changed."""
        self._has_changed = True

    def close(self) -> int | None:
        """Write what is left; the id of the run, None where it never reached the store."""
        self._is_over.set()
        self._thread.join()
        if self in _OPEN:
            _OPEN.remove(self)
        return self.run

    def _write(self) -> None:
        database: Database | None = None
        tried_s = -RETRY_S
        is_over = False
        while not is_over:
            is_over = self._is_over.wait(PORTION_S)
            self._collect()
            if self.trouble is None or is_over or time.monotonic() - tried_s >= RETRY_S:
                database = self._to_store(database)
                tried_s = time.monotonic()
            if self.trouble is not None:
                self.file.write(self._all, alive_s=self._now_s(), run=self.run, info=self._said)
        if database is not None:
            database.close()

    def _collect(self) -> None:
        with suppress(Empty):
            while True:
                self._all.append(self._messages.get_nowait())

    def _to_store(self, database: Database | None) -> Database | None:
        """Write what has come into the store; the store as it is open then."""
        try:
            if database is None:
                database = Database.open(self._path, wait_s=PATIENCE_S)
            if self.run is None:
                self.run = self._begin(database)
            self._portion(database)
            self.trouble = None
            self.file.remove()
        except StoreError as error:
            self.trouble = error
            if error.trouble is Trouble.GONE:
                self.gone = error
                self._begin_again()
            if database is not None and error.trouble is not Trouble.BUSY:
                database.close()
                database = None
        except Exception as error:  # whatever it is, the run goes to its file
            self.trouble = StoreError(Trouble.FAILING, self._path, repr(error))
        return database

    def _begin_again(self) -> None:
        """The store is a new one, of which nothing of the run is known."""
        self.run, self._written = None, 0

    def _portion(self, database: Database) -> None:
        assert self.run is not None
        has_changed, self._has_changed = self._has_changed, False
        portion, info = self._all[self._written :], self._said() if has_changed else None
        try:
            runs.append(database, self.run, portion, alive_s=self._now_s(), info=info)
        except StoreError:
            self._has_changed = has_changed or self._has_changed
            raise
        self._written = len(self._all)
