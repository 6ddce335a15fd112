"""History as figures: runs, days, weeks, best and last, the weakest place."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest

from playalong.app.history import reading, text
from playalong.app.history.weakest import Weakest
from playalong.records.store.database import Database
from playalong.records.store.periods import By, periods, played
from playalong.support.errors import UserError
from tests.app.history.making import grade, kept_run, player


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Database]:
    database = Database.open(tmp_path / "playalong.db")
    yield database
    database.close()


def at(day: int, hour: int = 18, month: int = 3) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=UTC)


def test_days_and_weeks_are_those_of_the_place_where_it_was_played(store: Database) -> None:
    """ISO 8601: weeks begin on Monday; 2 March 2026 was one, as ``date.isocalendar`` says."""
    who = player(store)
    assert date(2026, 3, 2).isocalendar().weekday == 1
    kept_run(store, who, at(2), grade=grade(60.0, 80.0))
    kept_run(store, who, at(8), grade=grade(80.0, 90.0))  # the Sunday of that week
    kept_run(store, who, at(9), grade=grade(90.0, 84.0))
    late = datetime(2026, 3, 9, 23, 30, tzinfo=timezone(timedelta(hours=-5)))  # the 10th in UTC
    kept_run(store, who, late, grade=grade(70.0, 100.0))
    days = periods(store, who.id, By.DAY)
    assert [(day.first.day, day.runs, day.tempo_bpm, day.score) for day in days] == [
        (9, 2, 100.0, 80.0),
        (8, 1, 90.0, 80.0),
        (2, 1, 80.0, 60.0),
    ]
    weeks = periods(store, who.id, By.WEEK)
    assert [(week.first, week.days, week.runs, week.seconds) for week in weeks] == [
        (date(2026, 3, 9), 1, 2, 120.0),
        (date(2026, 3, 2), 2, 2, 120.0),
    ]
    assert periods(store, who.id, By.DAY, since=date(2026, 3, 8)) == days[:2]
    assert periods(store, who.id, By.WEEK, since=date(2026, 3, 9)) == weeks[:1]
    assert played(store, who.id) == (3, 240.0)
    assert weeks[0].best_score == 90.0
    assert (weeks[1].spread_ms, weeks[1].contrast_db, weeks[1].steadiness_ms) == (30.0, -14.0, 10.0)


def test_best_last_and_by_pattern(store: Database) -> None:
    who = player(store)
    kept_run(store, who, at(2), grade=grade(95.0))
    kept_run(store, who, at(3), grade=grade(70.0))
    kept_run(store, who, at(4), grade=grade(99.0), pattern="another")
    kept_run(store, player(store, "Tom"), at(5), grade=grade(100.0))
    found = reading.history(store, who, "late-bus-home", limit=20)
    assert (found.best.score, found.last.score) == (95.0, 70.0)
    assert reading.history(store, who, None, limit=20).best.score == 99.0
    assert len(reading.history(store, who, None, limit=1).rows) == 1
    with pytest.raises(UserError, match='no runs of "third" here; they have played: another, late'):
        reading.history(store, who, "third", limit=20)


FINDING = {"code": "stroke_late", "text": "It is late."}


def places(
    clean: int, early: int = 0, count: str = "e of 3", *, bar: int = 0
) -> list[dict[str, object]]:
    asked = {"bar": bar, "voice": "snare", "dynamic": "ghost", "targets": 8}
    return [
        {**asked, "count": count, "clean": clean, "early": early, "too_loud": 8 - clean - early},
        {**asked, "count": "1", "clean": 8, "early": 0, "too_loud": 0},
    ]


def test_the_weakest_place_is_that_of_the_last_runs(store: Database) -> None:
    who = player(store)
    for day in range(1, 21):  # long ago it was another place
        kept_run(store, who, at(day), grade=grade(50.0, places=places(0, count="a of 1")))
    for day in range(1, 9):
        kept_run(store, who, at(day, month=4), grade=grade(80.0, places=places(4, early=1)))
    kept_run(store, who, at(10, month=4), grade=grade(10.0, places=places(0)), kind="lesson")
    another = {**FINDING, "code": "other_pattern"}
    wrong = grade(0.0, places=places(0, count="1"), findings=[another])
    kept_run(store, who, at(11, month=4), grade=wrong)
    found = reading.history(store, who, None, limit=20).weakest
    assert found == Weakest(
        pattern="Late Bus Home",
        voice="snare",
        dynamic="ghost",
        bar=1,
        bars=1,
        count="e of 3",
        off=32,
        of=64,
        runs=8,
        fault="too loud",
    )
    assert text.weakest(found) == (
        "Weakest place lately: the snare ghost note on the e of 3, 32 of 64 times off in the last "
        "8 runs of Late Bus Home, mostly too loud."
    )


def test_where_nothing_stands_out_no_place_is_weak(store: Database) -> None:
    who = player(store)
    kept_run(store, who, at(1), grade=grade(99.0, places=places(6)))
    assert reading.history(store, who, None, limit=20).weakest is None
    assert reading.history(store, player(store, "Tom"), None, limit=20).last is None
