"""What a player's runs came to, day by day and week by week: figures for a table and a plot.

A day is that of the place where the run was played; a week begins on Monday (ISO 8601). A figure
is the mean over the runs of the period that have one, and the tempo the highest that was played.
"""

from dataclasses import dataclass
from datetime import date
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


_FIRST = {By.DAY: "first", By.WEEK: "date(first, 'weekday 0', '-6 days')"}

#: A mean is a sum over as many runs as have the figure; a sum of none is no mean.
_SQL = (
    "SELECT {first}, count(DISTINCT first), sum(runs), total(seconds), max(tempo_bpm),"
    " sum(score) / sum(scores), max(best_score), sum(spread_ms) / sum(spreads),"
    " sum(contrast_db) / sum(contrasts), sum(steadiness_ms) / sum(steadies)"
    " FROM day WHERE {where} GROUP BY 1 ORDER BY 1 DESC LIMIT ?"
)


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
        where, values = f"{where} AND first >= ?", [*values, since.isoformat()]
    names = tuple(Period.__dataclass_fields__)
    rows = database.rows(_SQL.format(first=_FIRST[by], where=where), [*values, limit])
    with decoding(database):
        return [
            Period(**{**dict(zip(names, row, strict=True)), "first": date.fromisoformat(row[0])})
            for row in rows
        ]


def played(database: Database, player: int, *, pattern: str | None = None) -> tuple[int, float]:
    """On how many days a player played in all, and how many seconds."""
    where, values = _where(player, pattern)
    row = database.row(
        f"SELECT count(DISTINCT first), total(seconds) FROM day WHERE {where}", values
    )
    return (int(row[0]), float(row[1])) if row else (0, 0.0)


def _where(player: int, pattern: str | None) -> tuple[str, list[int | str | float]]:
    if pattern is None:
        return "player = ?", [player]
    named = "pattern IN (SELECT fingerprint FROM pattern WHERE name = ?)"
    return f"player = ? AND {named}", [player, pattern]
