"""What a player's runs came to, day by day and week by week: figures for a table and a plot.

A day is that of the place where the run was played; a week begins on Monday (ISO 8601). A figure
is the mean over the runs of the period that have one, and the tempo the highest that was played.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum

from playalong.records.store.database import Database, decoding


class By(StrEnum):
    """How runs are put together."""

    DAY = "day"
    WEEK = "week"


@dataclass(frozen=True, kw_only=True)
class Period:
    """A day or a week, told by its first day. Means are None where no run has the figure."""

    first: date
    days: int
    runs: int
    seconds: float
    tempo_bpm: float | None
    score: float | None
    best_score: float | None
    spread_ms: float | None
    contrast_db: float | None
    steadiness_ms: float | None


_FIRST = {
    By.DAY: "substr(run.began, 1, 10)",
    By.WEEK: "date(substr(run.began, 1, 10), 'weekday 0', '-6 days')",
}

_SQL = (
    "SELECT {first} AS first, count(DISTINCT substr(run.began, 1, 10)), count(*),"
    " total(run.seconds), max(run.tempo_bpm), avg(run.score), max(run.score), avg(run.spread_ms),"
    " avg(run.contrast_db), avg(run.steadiness_ms)"
    " FROM run WHERE {where} GROUP BY first ORDER BY first DESC LIMIT ?"
)

_DAY_S = 86_400.0


def periods(
    database: Database,
    player: int,
    by: By,
    *,
    pattern: str | None = None,
    since: date | None = None,
    limit: int = 1_000,
) -> list[Period]:
    """The last ``limit`` days or weeks in which a player played, the latest first.

    ``pattern`` is the name of one, None for all of them; ``since`` the first day that counts.
    """
    where, values = _where(player, pattern)
    if since is not None:
        # A day more, whatever the time zone: the rest is left out below.
        noon = datetime(since.year, since.month, since.day, 12, tzinfo=UTC)
        where, values = f"{where} AND run.began_s > ?", [*values, noon.timestamp() - 2 * _DAY_S]
    names = tuple(Period.__dataclass_fields__)
    rows = database.rows(_SQL.format(first=_FIRST[by], where=where), [*values, limit])
    with decoding(database):
        found = [
            Period(**{**dict(zip(names, row, strict=True)), "first": date.fromisoformat(row[0])})
            for row in rows
        ]
    return [one for one in found if since is None or one.first >= since]


def played(database: Database, player: int, *, pattern: str | None = None) -> tuple[int, float]:
    """On how many days a player played in all, and how many seconds."""
    where, values = _where(player, pattern)
    row = database.row(
        "SELECT count(DISTINCT substr(run.began, 1, 10)), total(run.seconds) FROM run"
        f" WHERE {where}",
        values,
    )
    return (int(row[0]), float(row[1])) if row else (0, 0.0)


def _where(player: int, pattern: str | None) -> tuple[str, list[int | str | float]]:
    where = "run.player = ? AND run.state = 'kept'"
    if pattern is None:
        return where, [player]
    named = "run.pattern IN (SELECT fingerprint FROM pattern WHERE name = ?)"
    return f"{where} AND {named}", [player, pattern]
