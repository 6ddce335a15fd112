"""What the store tells for the first page: where it was left off, this week, the best so far."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from playalong.app.user_folders import UserFolders
from playalong.grading.grade import PlaceGrade
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.old_brackets import read_stored
from playalong.pattern.reader import PatternError
from playalong.records.store import knowledge, players, runs
from playalong.records.store.database import Database, StoreError
from playalong.records.store.runs import RunRow
from playalong.screen.home_pages.first import Day

#: How many of the last runs are looked at: those of a busy week.
_RUNS = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class Weak:
    """What is waiting: a finding's sentence, its voice, its places as (bar, count), and figures."""

    text: str
    code: str
    voice: str | None
    places: tuple[tuple[int, str], ...]
    value: float | None
    unit: str
    n: int
    of: int


@dataclass(frozen=True, kw_only=True)
class LastRun:
    """The last run of a pattern: the pattern as it was, how it was played, and what is waiting."""

    pattern: Pattern
    name: str
    kind: str
    tempo_bpm: float | None
    bars: int | None
    score: float | None
    weak: Weak | None
    places: tuple[PlaceGrade, ...] = ()


@dataclass(frozen=True)
class Remembered:
    """All of it; ``bests`` are scores by fingerprint of the pattern, ``days`` minutes by day."""

    last: LastRun | None = None
    bests: Mapping[str, float] = field(default_factory=dict)
    days: Mapping[date, float] = field(default_factory=dict)

    def week(self, today: date) -> list[Day]:
        """The days of this week, Monday first; none where nobody has played yet."""
        if not self.days:
            return []
        monday = today - timedelta(days=today.weekday())
        names = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")
        return [
            Day(name, self.days.get(day, 0.0), day < today)
            for name, day in ((name, monday + timedelta(days=n)) for n, name in enumerate(names))
        ]


def remembered(home: UserFolders, player: str | None) -> Remembered:
    """What the store knows of ``player``; nothing where there is no store or no such player."""
    memory = home.memory
    database = memory.open() if memory.path.exists() else None
    if database is None:
        return Remembered()
    try:
        found = players.find(database, player) if player else players.last(database)
        return Remembered() if found is None else _read_runs(database, found.id)
    except StoreError:
        return Remembered()
    finally:
        database.close()


def _read_runs(database: Database, player: int) -> Remembered:
    rows = runs.history(database, player, limit=_RUNS)
    days: dict[date, float] = {}
    for row in rows:
        day = row.began.date()
        days[day] = days.get(day, 0.0) + (row.seconds or 0.0) / 60.0
    bests = database.rows(
        "SELECT pattern, max(score) FROM run WHERE player = ? AND state = ? AND kind = 'play'"
        " AND pattern IS NOT NULL AND score IS NOT NULL GROUP BY pattern",
        (player, runs.KEPT),
    )
    return Remembered(
        last=_last(database, player, rows),
        bests={str(pattern): float(score) for pattern, score in bests},
        days=days,
    )


def _last(database: Database, player: int, rows: Sequence[RunRow]) -> LastRun | None:
    """The last run that can be gone on with: its pattern can still be read, and it is no exercise
    of the warm-up and no bar on its own.
    """
    for row in [one for one in rows if one.kind not in ("warm-up", "bar")][:20]:
        found = database.row("SELECT pattern FROM run WHERE id = ?", (row.id,))
        fingerprint = found[0] if found else None
        text = knowledge.pattern_text(database, fingerprint) if fingerprint else None
        if not text or row.pattern is None:
            continue
        try:
            pattern = read_stored(text, row.pattern)
        except PatternError:
            continue
        grade = runs.grade_of(database, row.id)[0]
        return LastRun(
            pattern=pattern,
            name=row.pattern,
            kind=row.kind,
            tempo_bpm=row.tempo_bpm,
            bars=row.bars,
            score=row.score,
            weak=_weak(grade),
            places=_places(grade),
        )
    return None


def _places(grade: Mapping[str, Any] | None) -> tuple[PlaceGrade, ...]:
    """The grades of the strokes as they were kept; none where this version knows other fields."""
    stored = (grade or {}).get("places") or ()
    try:
        return tuple(
            PlaceGrade(**{**plain, "dynamic": Dynamic(plain["dynamic"])}) for plain in stored
        )
    except (KeyError, TypeError, ValueError):
        return ()


def _weak(grade: Mapping[str, object] | None) -> Weak | None:
    """The first finding of a grade that has a place in the bar, else the first."""
    findings = grade.get("findings") if grade else None
    if not isinstance(findings, list) or not findings:
        return None
    finding = next((one for one in findings if one.get("places")), findings[0])
    return Weak(
        text=str(finding.get("text", "")),
        code=str(finding.get("code", "")),
        voice=finding.get("voice"),
        places=tuple((int(at["bar"]), str(at["count"])) for at in finding.get("places", ())),
        value=finding.get("value"),
        unit=str(finding.get("unit") or ""),
        n=int(finding.get("n") or 0),
        of=int(finding.get("of") or 0),
    )
