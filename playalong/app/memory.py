"""The memory: every run reaches the store while it goes on, and its grade when it has ended.

What is wrong with the store never stops a run: it is told, and the take goes to its file all the
same. A store that is damaged is set aside, and a new one begun; any other is left as it is.
Simulated players have a store of their own.
"""

import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from playalong.app.grade.take_grading import Graded
from playalong.records.store import knowledge, players, runs
from playalong.records.store.database import Database, StoreError
from playalong.records.store.players import PlayerRow
from playalong.records.store.run_log import RunLog
from playalong.records.store.runs import BrokenOff, Result
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Recording

#: The files of the store below the user's data: of people, and of simulated players.
STORE, SIMULATED_STORE = "playalong.db", "simulated.db"

#: What a player is called whom nobody has named.
NOBODY = "player"

_MEANWHILE = "Takes are kept as files meanwhile."


@dataclass
class Memory:
    """The store in ``folder``; ``told`` is what went wrong with it, each thing once."""

    folder: Path
    simulated: bool = False
    told: list[str] = field(default_factory=list)

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
            self._say(f"The store {self.path} is damaged. It was set aside as {aside}.")
        return database

    def _say(self, words: str) -> None:
        if words not in self.told:
            self.told.append(words)

    def begin(self, recording: Recording, kind: str) -> RunLog:
        """From now on what ``recording`` keeps reaches the store; ``kind`` is "play", "lesson"."""
        said = TakeInfo.from_plain(recording.info)

        def begin(database: Database) -> int:
            with database.writing():
                return _begin(database, said, kind, recording.as_plain())

        log = RunLog(self.path, begin)
        recording.listener = log.message
        return log

    def keep(
        self, log: RunLog, recording: Recording, graded: Graded | None, file: Path | None
    ) -> int | None:
        """A run has ended: keep its take and grade; the run's number in the store, if it has one.

        ``file`` is where a copy of the take lies.
        """
        run = log.close()
        database = self.open()
        try:
            if database is None:
                self._say(_MEANWHILE)
                return None
            if run is None:
                run = _begin(
                    database, TakeInfo.from_plain(recording.info), "play", recording.as_plain()
                )
            runs.keep(database, run, result_of(recording, graded, file))
        except StoreError as error:
            self._say(str(error))
            self._say(_MEANWHILE)
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


def _begin(database: Database, said: TakeInfo, kind: str, plain: Mapping[str, Any]) -> int:
    player = player_of(database, said)
    if said.pattern_id:
        knowledge.keep_pattern(
            database,
            fingerprint=said.pattern_id,
            name=said.pattern,
            title=_title(said),
            text=said.pattern_text,
        )
    began = datetime.fromisoformat(said.date) if said.date else datetime.now().astimezone()
    return runs.begin(
        database,
        player=player.id,
        kit=said.kit or None,
        pattern=said.pattern_id or None,
        kind=kind,
        program=said.program,
        began=began,
        info=plain,
    )


def player_of(database: Database, said: TakeInfo) -> PlayerRow:
    """Who played a take: a simulated player goes by the name of the skill."""
    name = said.simulated.skill if said.simulated is not None else said.player
    return players.player_of(database, name or NOBODY, datetime.now().astimezone())


def _title(said: TakeInfo) -> str:
    from playalong.pattern.reader import PatternError, read

    try:
        return read(said.pattern_text, said.pattern).title
    except PatternError:
        return said.pattern


def result_of(recording: Recording, graded: Graded | None, file: Path | None) -> Result:
    """What a run came to, as the store keeps it."""
    grade = graded.as_json(with_hits=True) if graded is not None else None
    hits = grade.pop("hits") if grade is not None else ()
    return Result(
        take=recording.as_bytes(),
        seconds=recording.seconds,
        grade=grade,
        hits=hits,
        file=None if file is None else str(file),
        findings=[finding_of(one) for one in (grade or {}).get("findings", ())],
    )


def finding_of(plain: Mapping[str, Any]) -> runs.Finding:
    """A finding as it stands in the JSON of a grade."""
    return runs.Finding(
        code=plain["code"],
        voice=plain["voice"],
        limb=plain["limb"],
        places=plain["places"],
        n=plain["n"],
        of=plain["of"],
        value=plain["value"],
        unit=plain["unit"] or "",
        gain=plain["gain"],
        text=plain["text"],
    )
