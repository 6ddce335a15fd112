"""The memory: every run reaches the store while it goes on, and its grade when it has ended.

What is wrong with the store never stops a run: it is told, and the take goes to its file all the
same. A store that is damaged is set aside, and a new one begun; any other is left as it is.
Simulated players have a store of their own.
"""

import time
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from playalong.app import stored_runs
from playalong.records.store import runs
from playalong.records.store.database import Database, StoreError
from playalong.records.store.run_log import RunLog
from playalong.records.store.runs import BrokenOff
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Recording
from playalong.support.errors import UserError
from playalong.support.files import FileError, write_file
from playalong.support.reading import MOST_TEXT, read_bytes

if TYPE_CHECKING:
    from playalong.app.grade.take_grading import Graded

#: The files of the store below the user's data: of people, and of simulated players.
STORE, SIMULATED_STORE = "playalong.db", "simulated.db"


@dataclass(kw_only=True)
class Memory:
    """The store in ``folder``; ``told`` is what went wrong with it, each thing once, and ``noted``
    what went well and should be known.
    """

    folder: Path
    simulated: bool = False
    told: list[str] = field(default_factory=list)
    noted: list[str] = field(default_factory=list)

    @property
    def path(self) -> Path:
        """The file of the store."""
        return self.folder / (SIMULATED_STORE if self.simulated else STORE)

    def open(self) -> Database | None:
        """The store, None where it cannot be used; one that is damaged is set aside."""
        try:
            database, aside = Database.open_or_renew(self.path)
        except StoreError as error:
            self._say(str(error))
            return None
        if aside is not None:
            self._say_aside(aside)
        self._take_in(database)
        return database

    def opened(self) -> Database:
        """The store; UserError where there is none, or none that can be used."""
        if not self.path.exists():
            raise UserError("Nothing has been played yet: the first run begins the history.")
        database = self.open()
        if database is None:
            raise UserError.of(self.told)
        return database

    @property
    def _waiting(self) -> Path:
        """The names of the takes that went to files while the store could not be used."""
        return self.path.with_suffix(".waiting")

    def _wait(self, file: Path | None) -> None:
        """The take in ``file`` is to be taken in once the store can be used."""
        self._say("Takes are kept as files meanwhile, and taken in later.")
        if file is None:
            return
        with suppress(FileError):
            write_file(self._waiting, f"{_text_of(self._waiting)}{file.resolve()}\n")

    def _take_in(self, database: Database) -> None:
        """Take in what had to wait."""
        waiting = _text_of(self._waiting).splitlines()
        if not waiting:
            return
        try:
            for name in waiting:
                with suppress(UserError, FileNotFoundError):  # it is no take any more, or gone
                    stored_runs.take_in(database, Path(name), self.simulated)
            self._waiting.unlink(missing_ok=True)
        except OSError:
            return  # the next start tries again
        count = "1 take that was" if len(waiting) == 1 else f"{len(waiting)} takes that were"
        self.noted.append(f"Taken in: {count} kept as files while the store could not be used.")

    def _say_aside(self, aside: Path) -> None:
        self._say(f"The store {self.path} is damaged. It was set aside as {aside}.")

    def _say(self, words: str) -> None:
        if words not in self.told:
            self.told.append(words)

    def begin(self, recording: Recording, kind: str) -> RunLog:
        """From now on what ``recording`` keeps reaches the store; ``kind`` is "play", "lesson"."""
        said = TakeInfo.from_plain(recording.info)

        def begin(database: Database) -> int:
            with database.writing():
                return stored_runs.begin(database, said, kind, plain=recording.as_plain())

        log = RunLog(self.path, begin)
        recording.listener = log.message
        return log

    def keep(
        self, log: RunLog, recording: Recording, graded: "Graded | None", *, file: Path | None
    ) -> int | None:
        """A run has ended: keep its take and grade; the run's number in the store, if it has one.

        ``file`` is where a copy of the take lies.
        """
        run = log.close()
        if log.gone is not None:
            self._say(str(log.gone))
        if log.aside is not None:
            self._say_aside(log.aside)
        database = self.open()
        try:
            if database is None:
                self._wait(file)
                return None
            if run is None or not runs.is_going(database, run):
                said = TakeInfo.from_plain(recording.info)
                run = stored_runs.begin(database, said, "play", plain=recording.as_plain())
            runs.keep(database, run, stored_runs.result_of(recording, graded, file))
        except StoreError as error:
            self._say(str(error))
            self._wait(file)
            return None
        finally:
            if database is not None:
                database.close()
        return run

    def broken_off(self, player: str | None = None) -> list[BrokenOff]:
        """Runs whose program ended before they did, of one player or of all."""
        database = self.open() if self.path.exists() else None
        if database is None:
            return []
        try:
            found = runs.broken_off(database, time.time())
        except StoreError as error:
            self._say(str(error))
            return []
        finally:
            database.close()
        return [one for one in found if player in (None, one.row.player)]


def _text_of(path: Path) -> str:
    try:
        return read_bytes(path, MOST_TEXT).decode(errors="surrogateescape")
    except OSError:
        return ""
