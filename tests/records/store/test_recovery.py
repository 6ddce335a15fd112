"""A damaged store: what can be read of it is taken over, and what cannot is told."""

import json
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from playalong.records.store import knowledge, players, runs
from playalong.records.store.database import Database, StoreError, Trouble
from playalong.records.store.recovery import open_or_renew
from playalong.records.store.runs import Result
from playalong.records.store.schema import MIGRATIONS

NOW = datetime(2026, 3, 5, 18, 30, tzinfo=UTC)
RUNS, PAGE = 150, 4096


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A store with two players, their profiles, lessons, settings and many runs."""
    path = tmp_path_factory.mktemp("whole") / "playalong.db"
    database = Database.open(path)
    with database.writing():
        for name in ("Ines", "Tom"):
            who = players.player_of(database, name, NOW).id
            players.remember(database, {"warm_up": {"minutes": 10}}, who)
            for kit in ("Practice Kit", "Stage Kit"):
                knowledge.keep_profile(database, who, kit, text=f"kit = '{kit}'\n" * 40, now=NOW)
            for number in range(3):
                fingerprint = f"{number}" * 32
                knowledge.keep_pattern(
                    database, fingerprint=fingerprint, name=f"p{number}", title="A", text="x" * 2500
                )
                knowledge.keep_lesson(
                    database, who, fingerprint, name=f"p{number}", progress='{"a": 1}', now=NOW
                )
        for number in range(RUNS):
            run = runs.begin(
                database,
                player=1 + number % 2,
                kit="Practice Kit",
                pattern=f"{number % 3}" * 32,
                kind="play",
                program="0",
                began=NOW + timedelta(minutes=number),
                info={"info": {"player": ("Ines", "Tom")[number % 2], "pattern": f"p{number % 3}"}},
            )
            if number < RUNS - 1:
                grade = {"score": {"total": number / 2}, "advice": "Play it with the click."}
                take = b"MThd" + number.to_bytes(4, "big") * 400
                runs.keep(database, run, Result(take=take, seconds=60.0, grade=grade))
        runs.append(database, RUNS, [(5, b"\x99\x24\x54")], alive_s=0.0)
        players.remember(database, {"moved_in": True, "kit": "Stage Kit"})
    database.settle()
    database.close()
    return path.read_bytes()


def taken_over(path: Path) -> tuple[Database, tuple[str, ...]]:
    database, recovered = open_or_renew(path)
    assert recovered is not None
    assert database.integrity() == []
    return database, recovered.broken


def rows_of(database: Database) -> dict[str, set[tuple]]:
    """All that was kept; of runs without their bodies."""
    return {
        "run": set(database.rows("SELECT id, player, pattern, began, state, score FROM run")),
        "body": set(database.rows("SELECT run, take, grade FROM body")),
        "lesson": set(database.rows("SELECT * FROM lesson")),
        "profile": set(database.rows("SELECT * FROM profile")),
        "setting": set(database.rows("SELECT * FROM setting WHERE name != 'moved_in'")),
        "message": set(database.rows("SELECT * FROM message")),
    }


@pytest.mark.parametrize("seed", range(8))
def test_what_lies_beside_the_damage_is_taken_over_as_it_was(tmp_path, whole, seed):
    """Pages of the file are noise: nothing is taken over otherwise, and what is missing is told."""
    path = tmp_path / "playalong.db"
    path.write_bytes(whole)
    database = Database.open(path)
    before = rows_of(database)
    database.close()
    chance, broken = Random(seed), bytearray(whole)
    for _ in range(3):
        at = PAGE * chance.randrange(1, len(whole) // PAGE)
        broken[at : at + PAGE] = chance.randbytes(PAGE)
    path.write_bytes(broken)
    path.with_suffix(".suspect").touch()  # it was found when something was read
    database, told = taken_over(path)
    after = rows_of(database)
    for table, rows in after.items():
        assert rows <= before[table], table
        assert rows == before[table] or table in told, table
    assert len(after["run"]) >= RUNS // 3
    assert not players.settings(database).get("moved_in"), "files of takes are looked at again"
    database.close()
    (aside,) = tmp_path.glob("playalong-damaged-*.db")
    assert aside.read_bytes() == broken


def test_damage_that_shows_late_is_mended_at_the_next_start(tmp_path, whole):
    """The pages of lessons are read when somebody practises, and not when the store is opened."""
    path, broken = tmp_path / "playalong.db", bytearray(whole)
    path.write_bytes(whole)
    connection = sqlite3.connect(path)
    ((root,),) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'lesson'")
    connection.close()
    broken[(root - 1) * PAGE : root * PAGE] = b"\xff" * PAGE
    path.write_bytes(broken)
    database, recovered = open_or_renew(path)
    assert recovered is None
    with pytest.raises(StoreError) as error:
        knowledge.lessons(database, 1)
    assert error.value.trouble is Trouble.DAMAGED
    database.close()
    database, told = taken_over(path)
    assert told == ("lesson",)
    assert len(runs.history(database, 1)) == RUNS // 2
    database.close()
    assert open_or_renew(path)[1] is None, "once"


def test_players_and_patterns_that_are_lost_come_back_from_the_takes(tmp_path, whole):
    path = tmp_path / "playalong.db"
    path.write_bytes(whole)
    connection = sqlite3.connect(path)
    connection.executescript(
        "PRAGMA foreign_keys = OFF; DELETE FROM player WHERE id = 2; DELETE FROM pattern;"
        " DELETE FROM kit; UPDATE body SET info = 'no JSON' WHERE run = 7;"
        " UPDATE run SET score = 'none' WHERE id = 8;"
    )
    connection.close()
    path.with_suffix(".suspect").touch()
    database, told = taken_over(path)
    assert {player.name for player in players.players(database)} == {"Ines", "Tom"}
    assert set(runs.patterns(database, 1)) == {"p0", "p1", "p2"}
    assert told == ("body", "run")
    assert runs.take_of(database, 9) is not None
    assert runs.take_of(database, 7) is None
    database.close()


def test_a_store_of_an_earlier_version_is_taken_over_too(tmp_path):
    """Before what is large of a run had a table of its own."""
    path = tmp_path / "playalong.db"
    connection = sqlite3.connect(path)
    for script in MIGRATIONS[:2]:
        connection.executescript(script)
    connection.execute("INSERT INTO player VALUES (1, 'Ines', '', 0, '2026-01-01T10:00:00+01:00')")
    connection.execute(
        "INSERT INTO run (id, uid, player, kind, program, began, began_s, state, alive_s, info,"
        " take) VALUES (3, 'u', 1, 'play', '0', '2026-01-01T10:00:00+01:00', 1.0, 'kept', 1.0, ?,"
        " x'4D546864')",
        (json.dumps({"info": {"player": "Ines"}}),),
    )
    connection.execute("PRAGMA user_version = 2")
    connection.commit()
    connection.close()
    path.with_suffix(".suspect").touch()
    database, told = taken_over(path)
    assert told == ()
    assert runs.take_of(database, 3) == b"MThd"
    database.close()


def test_where_nothing_can_be_written_the_damaged_store_stays(tmp_path, whole, monkeypatch):
    path = tmp_path / "playalong.db"
    path.write_bytes(b"no store" * 999)

    def full(*_: object) -> None:
        raise StoreError(Trouble.FULL, path)

    monkeypatch.setattr("playalong.records.store.recovery._recover", full)
    with pytest.raises(StoreError, match="is full"):
        open_or_renew(path)
    assert [each.name for each in tmp_path.glob("playalong*.db")] == ["playalong.db"]
    assert path.read_bytes() == b"no store" * 999
