"""What the store knows of a player's runs, as rows for a table, a CSV file, JSON or a page."""

import csv
import io
from collections.abc import Collection, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from playalong.app.history.weakest import Weakest, weakest_of
from playalong.records.store import players, runs
from playalong.records.store.database import Database
from playalong.records.store.periods import By, Period, periods
from playalong.records.store.players import PlayerRow
from playalong.records.store.runs import RunRow
from playalong.support.errors import UserError
from playalong.support.text import quoted

#: The number of the schema of a history as JSON: it rises where a key goes, or changes its meaning.
SCHEMA = 1

#: The columns of a history by run, with the unit at the end of each name that has one.
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
    """What a player did, of one pattern or of all; everything the latest first.

    ``best`` is the run of the highest score, ``weakest`` the place of the bar that goes wrong most
    often lately; None where no run has a grade.
    """

    player: str
    pattern: str | None
    rows: Sequence[RunRow]
    days: Sequence[Period]
    weeks: Sequence[Period]
    best: RunRow | None
    weakest: Weakest | None

    @property
    def last(self) -> RunRow | None:
        """The latest run."""
        return self.rows[0] if self.rows else None

    def as_plain(self) -> dict[str, Any]:
        """Everything as plain objects for JSON."""
        return {
            "schema": SCHEMA,
            "player": self.player,
            "pattern": self.pattern,
            "runs": [_plain(row) for row in self.rows],
            "days": [_period(period) for period in self.days],
            "weeks": [_period(period) for period in self.weeks],
            "best": _plain(self.best) if self.best else None,
            "weakest": asdict(self.weakest) if self.weakest else None,
        }

    def as_csv(self, by: By | None = None) -> str:
        """A CSV file with a head: a line for each run, or for each day or week."""
        rows: list[dict[str, Any]] = [_plain(row) for row in self.rows]
        columns: Sequence[str] = COLUMNS
        if by is not None:
            rows = [_period(period) for period in (self.days if by is By.DAY else self.weeks)]
            columns = tuple(Period.__dataclass_fields__)
        text = io.StringIO(newline="")
        writer = csv.DictWriter(text, columns)
        writer.writeheader()
        writer.writerows(rows)
        return text.getvalue()


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


def _period(period: Period) -> dict[str, Any]:
    return {**asdict(period), "first": period.first.isoformat()}


def player_of(database: Database, who: str | None, last: str) -> PlayerRow:
    """The player ``who``, by default the ``last`` one; UserError says who there is."""
    name = who or last
    found = players.find(database, name)
    everybody = players.players(database)
    if found is None and who is None and len(everybody) == 1:
        return everybody[0]
    if found is None:
        if not everybody:
            raise UserError("Nothing has been played yet: the first run begins the history.")
        names = ", ".join(quoted(player.name) for player in everybody)
        missing = f"There is no player {quoted(name)}" if name else "Say who, with --who"
        raise UserError(f"{missing}; there is {names}.")
    return found


def history(
    database: Database,
    player: PlayerRow,
    pattern: str | None,
    *,
    limit: int,
    by: Collection[By] = tuple(By),
    since: date | None = None,
) -> History:
    """The last ``limit`` runs, days and weeks of a player, of one pattern by its name or of all.

    Days or weeks alone where ``by`` asks for these, from the day ``since`` on. UserError where the
    player has not played that pattern.
    """
    rows = runs.history(database, player.id, name=pattern, limit=limit)
    if pattern is not None and not rows:
        known = ", ".join(runs.patterns(database, player.id)) or "nothing yet"
        raise UserError(
            f"{player.name} has no runs of {quoted(pattern)} here; they have played: {known}."
        )
    days, weeks = (
        periods(database, player.id, each, pattern=pattern, since=since, limit=limit)
        if each in by
        else []
        for each in (By.DAY, By.WEEK)
    )
    return History(
        player=player.name,
        pattern=pattern,
        rows=rows,
        days=days,
        weeks=weeks,
        best=runs.best(database, player.id, pattern),
        weakest=weakest_of(database, player.id, pattern or next((r.pattern for r in rows), None)),
    )


def last_day(database: Database, player: PlayerRow, pattern: str | None) -> date | None:
    """The day of the last run, None where there is none."""
    rows = runs.history(database, player.id, name=pattern, limit=1)
    return rows[0].began.date() if rows else None
