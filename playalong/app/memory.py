"""The memory: every run reaches the store while it goes on, and its grade when it has ended.

What is wrong with the store never stops a run: it is told, and the run goes to a file of its own
while it goes on, and its take to its file all the same. Of a store that is damaged all that can be
read is taken over into a new one; any other is left as it is. Simulated players have a store of
their own.
"""

import tempfile
import time
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING
from zlib import crc32

from playalong.app import stored_runs
from playalong.records.store import runs
from playalong.records.store.database import Database, StoreError
from playalong.records.store.meanwhile import changes, run_file
from playalong.records.store.meanwhile.run_file import FiledRun, RunFile
from playalong.records.store.recovery import open_or_renew
from playalong.records.store.run_log import PATIENCE_S, RunLog
from playalong.records.store.runs import BrokenOff
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Recording, TakeError
from playalong.support.errors import UserError
from playalong.support.files import FileError, write_file
from playalong.support.reading import MOST_TEXT, read_bytes

if TYPE_CHECKING:
    from playalong.app.grade.take_grading import Graded

#: The files of the store below the user's data: of people, and of simulated players.
STORE, SIMULATED_STORE = "playalong.db", "simulated.db"


@dataclass(kw_only=True)
class Memory:
    """The store in ``folder``; ``trouble`` is what went wrong with it, each thing once, and
    ``noted`` what went well and should be known.
    """

    folder: Path
    simulated: bool = False
    trouble: list[str] = field(default_factory=list)
    noted: list[str] = field(default_factory=list)

    @property
    def path(self) -> Path:
        """The file of the store."""
        return self.folder / (SIMULATED_STORE if self.simulated else STORE)

    def open(self) -> Database | None:
        """The store, None where it cannot be used; one that is damaged is renewed."""
        try:
            database, recovered = open_or_renew(self.path)
        except StoreError as error:
            self._say(str(error))
            return None
        for words in recovered.words(self.path) if recovered is not None else ():
            self._say(words)
        try:
            self.noted += [words for words in changes.take_in(database) if words not in self.noted]
            self._take_in(database)
        except StoreError as error:  # it can be read, and not be written: what waits goes on so
            self._say(str(error))
        return database

    def opened(self) -> Database:
        """The store; UserError where there is none, or none that can be used."""
        if not self.path.exists():
            raise UserError("Nothing has been played yet: the first run begins the history.")
        database = self.open()
        if database is None:
            raise UserError.of(self.trouble)
        return database

    # Takes that wait for the store.

    @property
    def _waiting(self) -> list[Path]:
        """Where the names of takes may stand that went to files while the store could not be used:
        beside the store, or where there is room.
        """
        whose = f"{crc32(str(self.path.absolute()).encode(errors='replace')):08x}"
        name = f"playalong-{whose}.waiting"
        return [self.path.with_suffix(".waiting"), *(each / name for each in self._folders[1:])]

    @property
    def _folders(self) -> list[Path]:
        return run_file.folders(self.folder)

    def _wait(self, file: Path | None) -> None:
        """The take in ``file`` is to be taken in once the store can be used."""
        self._say("Takes are kept as files meanwhile, and taken in later.")
        if file is None:
            return
        for path in self._waiting:
            with suppress(FileError):
                write_file(path, f"{_text_of(path)}{file.resolve()}\n")
                return
        self._say(f"That {file} waits for the store could not be written down.")

    def _take_in(self, database: Database) -> None:
        """Take in what had to wait, but for what is no take any more, or gone; StoreError where it
        still has to.
        """
        count = 0
        for path in self._waiting:
            names = _text_of(path).splitlines() if run_file.is_ours(path) else []
            try:
                for name in names:
                    with database.waiting(PATIENCE_S), suppress(TakeError, FileNotFoundError):
                        take = stored_runs.read_take(Path(name))
                        if take is not None and take.is_simulated is self.simulated:
                            count += stored_runs.take_in(database, take)
                if names:
                    path.unlink(missing_ok=True)
            except OSError:
                continue  # the next start tries again
        if count:
            takes = "1 take that was" if count == 1 else f"{count} takes that were"
            self.noted.append(f"Taken in: {takes} kept as files while the store could not be used.")

    def _say(self, words: str) -> None:
        if words not in self.trouble:
            self.trouble.append(words)

    # Runs.

    def begin(self, recording: Recording, kind: str) -> RunLog:
        """From now on what ``recording`` keeps reaches the disk; ``kind`` is "play", "lesson"."""
        said = TakeInfo.from_plain(recording.info)

        def begin(database: Database) -> int:
            with database.writing():
                return stored_runs.begin(database, said, kind, plain=recording.as_plain())

        file = RunFile(self._folders, kind=kind, store=self.path)
        log = RunLog(self.path, begin, file=file, info=recording.as_plain)
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
        database = self.open()
        try:
            if database is None:
                self._wait(file)
                return None
            if run is None or not runs.is_going(database, run):
                said = TakeInfo.from_plain(recording.info)
                run = stored_runs.begin(database, said, log.file.kind, plain=recording.as_plain())
            runs.keep(database, run, stored_runs.result_of(recording, graded, file))
            log.file.remove()
        except StoreError as error:
            self._say(str(error))
            self._wait(file)
            return None
        finally:
            if file is not None:
                log.file.remove()
            if database is not None:
                database.close()
        return run

    # Runs that were broken off.

    def broken_off(self, player: str | None = None) -> list[BrokenOff]:
        """Runs whose program ended before they did, of one player or of all."""
        found: list[BrokenOff] = []
        database = self.open() if self.path.exists() else None
        try:
            if database is not None:
                found = runs.broken_off(database, time.time())
        except StoreError as error:
            self._say(str(error))
        finally:
            if database is not None:
                database.close()
        of_store = {one.row.id: one for one in found}
        for filed in self._filed():
            own = of_store.get(filed.run or 0)
            if own is not None and own.process == filed.process:  # the file has all of it
                row = own.row
                del of_store[row.id]
            else:
                row = stored_runs.row_of(filed)
            filed_run = BrokenOff(
                row=row,
                info=filed.info,
                messages=filed.messages,
                process=filed.process,
                file=filed.path,
            )
            of_store[row.id or -len(of_store) - 1] = filed_run
        return [one for one in of_store.values() if player in (None, one.row.player)]

    def _filed(self) -> list[FiledRun]:
        """Runs that are in files of their own, and go on nowhere any more."""
        found = []
        for path in run_file.files(self._folders):
            try:
                filed = run_file.read(path)
            except UserError as error:
                self._say(str(error))
                continue
            if filed.store == str(self.path.absolute()) and run_file.is_over(filed, time.time()):
                found.append(filed)
        return found

    def keep_broken_off(
        self, found: BrokenOff, recording: Recording, graded: "Graded | None", *, file: Path
    ) -> None:
        """Keep a run that was broken off, whose take lies in ``file``.

        UserError where that cannot be, and the run stays as it is; one that has a file of its own
        waits for the store as any take does.
        """
        database = self.open()
        try:
            if database is None:
                raise UserError.of(self.trouble)
            with closing(database), database.writing():
                run = found.row.id
                if not run:
                    said = TakeInfo.from_plain(recording.info)
                    kind, plain = found.row.kind, recording.as_plain()
                    run = stored_runs.begin(database, said, kind, plain=plain)
                runs.keep(database, run, stored_runs.result_of(recording, graded, file))
        except UserError as error:
            if found.file is None:
                raise
            self._say(str(error))
            self._wait(file)
        run_file.delete(found.file)

    def throw_away(self, found: BrokenOff) -> None:
        """Nothing of a run that was broken off is left; UserError where that cannot be."""
        if found.row.id:
            with closing(self.opened()) as database:
                runs.throw_away(database, found.row.id)
        run_file.delete(found.file)


def write_take(
    recording: Recording, folder: Path, name: str, *, elsewhere: str = ""
) -> tuple[Path, str | None]:
    """Write a take, elsewhere if it must be, then perhaps by another name; its path, and a word if
    it is elsewhere. TakeError where it can be written nowhere.
    """
    try:
        return recording.save(folder, name), None
    except TakeError as error:
        for other in (Path.home(), Path.cwd(), Path(tempfile.gettempdir())):
            try:
                path = recording.save(other, elsewhere or name)
            except TakeError:
                continue
            return path, f"{error} It is kept here instead: {path}"
        raise


def _text_of(path: Path) -> str:
    try:
        return read_bytes(path, MOST_TEXT).decode(errors="surrogateescape")
    except OSError:
        return ""
