"""History: what was practised when, and what came of it; runs that were broken off; leaving.

What the store knows, as rows for a table, a CSV file or JSON.
"""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.memory import Memory
from playalong.app.stored_runs import result_of
from playalong.pattern.reader import PatternError, read
from playalong.records.store import players, runs
from playalong.records.store.database import Database, StoreError
from playalong.records.store.players import PlayerRow
from playalong.records.store.runs import BrokenOff, RunRow
from playalong.records.take_info import TakeInfo
from playalong.records.takes import Recording
from playalong.support.errors import UserError
from playalong.support.text import quoted

#: The columns of a history, with the unit at the end of each name that has one.
COLUMNS = (
    "run",
    "began",
    "kind",
    "pattern",
    "bars",
    "tempo_bpm",
    "seconds",
    "score",
    "spread_ms",
    "contrast_db",
    "steadiness_ms",
    "advice",
)


@dataclass(frozen=True, kw_only=True)
class History:
    """The runs of one player, the latest first; ``best`` is the best of them by score."""

    player: str
    rows: Sequence[RunRow]

    @property
    def best(self) -> RunRow | None:
        """The run of the highest score, None where none has one."""
        scored = [row for row in self.rows if row.score is not None]
        return max(scored, key=lambda row: (row.score or 0.0, row.began), default=None)

    def as_plain(self) -> list[dict[str, Any]]:
        """A row for each run, under the names of ``COLUMNS``."""
        return [_plain(row) for row in self.rows]

    def as_csv(self) -> str:
        """The same as a CSV file with a head."""
        text = io.StringIO(newline="")
        writer = csv.DictWriter(text, COLUMNS)
        writer.writeheader()
        writer.writerows(self.as_plain())
        return text.getvalue()

    def days(self) -> Mapping[str, float]:
        """Seconds of playing by day, as ISO 8601 dates, the latest first."""
        found: dict[str, float] = {}
        for row in self.rows:
            day = row.began.date().isoformat()
            found[day] = found.get(day, 0.0) + (row.seconds or 0.0)
        return found


def _plain(row: RunRow) -> dict[str, Any]:
    return {
        "run": row.id,
        "began": row.began.isoformat(timespec="seconds"),
        "kind": row.kind,
        "pattern": row.pattern,
        "bars": row.bars,
        "tempo_bpm": row.tempo_bpm,
        "seconds": row.seconds,
        "score": row.score,
        "spread_ms": row.spread_ms,
        "contrast_db": row.contrast_db,
        "steadiness_ms": row.steadiness_ms,
        "advice": row.advice,
    }


def opened(memory: Memory) -> Database:
    """The store; UserError where there is none, or none that can be used."""
    if not memory.path.exists():
        raise UserError("Nothing has been played yet: the first run begins the history.")
    database = memory.open()
    if database is None:
        raise UserError(" ".join(memory.told))
    return database


def player_of(database: Database, who: str | None, last: str) -> PlayerRow:
    """The player ``who``, by default the ``last`` one; UserError says who there is."""
    name = who or last
    found = players.find(database, name)
    everybody = players.players(database)
    if found is None and who is None and len(everybody) == 1:
        return everybody[0]
    if found is None:
        names = ", ".join(quoted(player.name) for player in everybody) or "nobody yet"
        raise UserError(f"There is no player {quoted(name)}; there is {names}.")
    return found


def history(database: Database, player: PlayerRow, pattern_name: str | None, limit: int) -> History:
    """The last ``limit`` runs of a player, of one pattern by its name or of all."""
    where, values = ["run.player = ?", "run.state = ?"], [player.id, runs.KEPT]
    if pattern_name is not None:
        where.append("pattern.name = ?")
        values.append(pattern_name)
    rows = runs.select(database, " AND ".join(where), values, limit)
    return History(player=player.name, rows=rows)


# Runs that were broken off.


def take_up(memory: Memory, found: BrokenOff, folder: Path) -> float | None:
    """Keep a run that was broken off, and grade what was played; its score, None without a grade.

    UserError where it cannot be kept; the run then stays as it is.
    """
    recording = Recording.resumed(found.info, found.messages)
    recording.info.setdefault("until_s", _last_s(recording))
    said = TakeInfo.from_plain(recording.info)
    graded = None
    try:
        pattern = read(said.pattern_text, said.pattern)
        graded = grade_take(pattern, recording.take(), Options())
    except (PatternError, UserError):
        graded = None  # the take is kept all the same
    name = f"{said.pattern or 'run'}-{found.row.began:%Y-%m-%d-%H%M%S}"
    path = recording.save(folder, name)
    database = opened(memory)
    try:
        runs.keep(database, found.row.id, result_of(recording, graded, path))
    except StoreError as error:
        raise UserError(str(error)) from None
    finally:
        database.close()
    return graded.grade.score.total if graded is not None else None


def _last_s(recording: Recording) -> float:
    return max(0.0, recording.seconds - float(recording.info.get("start_s", 0.0)))


def throw_away(memory: Memory, found: BrokenOff) -> None:
    """Nothing of the run is left."""
    database = opened(memory)
    try:
        runs.throw_away(database, found.row.id)
    finally:
        database.close()
