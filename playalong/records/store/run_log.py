"""A run written to the store while it goes on, by a thread of its own.

The loop hands over messages and never waits: not for the disk, not for another program that
writes. At least every ``PORTION_S`` seconds what has come is on the disk. Where the store fails
the messages stay here, and the run goes on; ``trouble`` says what is wrong. Where it is gone, or
was damaged and set aside, the run goes on in a new one, whole.
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
from playalong.records.store.runs import Message

#: What is younger than this may be lost when the power fails.
PORTION_S = 0.5

#: How long is waited after the store could not be written.
RETRY_S = 2.0


class RunLog:
    """Writes the messages of one run, whose row ``begin`` makes."""

    def __init__(
        self,
        path: Path,
        begin: Callable[[Database], int],
        now_s: Callable[[], float] = time.time,
    ) -> None:
        """``now_s`` tells seconds since 1970."""
        self.run: int | None = None
        #: What is wrong with the store, None while all is well.
        self.trouble: StoreError | None = None
        #: The store that the run had begun in was moved or deleted; the run is in a new one.
        self.gone: StoreError | None = None
        #: Where a damaged store was set aside.
        self.aside: Path | None = None
        self._path, self._begin, self._now_s = path, begin, now_s
        self._messages: SimpleQueue[Message] = SimpleQueue()
        self._all: list[Message] = []
        #: How many of them are on the disk.
        self._written = 0
        self._info: Mapping[str, Any] | None = None
        self._is_over = Event()
        self._thread = Thread(target=self._write, name="run log", daemon=True)
        self._thread.start()

    def message(self, tick: int, data: bytes) -> None:
        """One message of the take; returns at once."""
        self._messages.put((tick, data))

    def info(self, info: Mapping[str, Any]) -> None:
        """What the run says of itself has changed."""
        self._info = dict(info)

    def close(self) -> int | None:
        """Write what is left; the id of the run, None where it never reached the store."""
        self._is_over.set()
        self._thread.join()
        return self.run

    def _write(self) -> None:
        database: Database | None = None
        while True:
            is_over = self._is_over.wait(PORTION_S if self.trouble is None else RETRY_S)
            try:
                if database is None:
                    database, aside = Database.open_or_renew(self._path)
                    if aside is not None:
                        self.aside = aside
                        self._begin_again()
                if self.run is None:
                    self.run = self._begin(database)
                self._portion(database)
                self.trouble = None
            except StoreError as error:
                self.trouble = error
                if error.trouble is Trouble.GONE:
                    self.gone = error
                    self._begin_again()
                if database is not None and error.trouble is not Trouble.BUSY:
                    database.close()
                    database = None
            if is_over:
                break
        if database is not None:
            database.close()

    def _begin_again(self) -> None:
        """The store is a new one, of which nothing of the run is known."""
        self.run, self._written = None, 0

    def _portion(self, database: Database) -> None:
        with suppress(Empty):
            while True:
                self._all.append(self._messages.get_nowait())
        info, self._info = self._info, None
        assert self.run is not None
        portion = self._all[self._written :]
        try:
            runs.append(database, self.run, portion, alive_s=self._now_s(), info=info)
        except StoreError:
            self._info = self._info or info
            raise
        self._written = len(self._all)
