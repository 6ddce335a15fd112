"""The store: what goes in comes out, two write at once, and what is wrong is told."""

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from threading import Thread

import pytest

from playalong.records.store import erasing, exporting, knowledge, players, run_log, runs
from playalong.records.store.database import BESIDE, Database, StoreError, Trouble, set_aside
from playalong.records.store.meanwhile import run_file
from playalong.records.store.meanwhile.run_file import RunFile
from playalong.records.store.periods import By, periods
from playalong.records.store.run_log import RunLog
from playalong.records.store.runs import Finding, Result
from playalong.records.store.schema import MIGRATIONS, VERSION
from playalong.support.errors import UserError

NOW = datetime(2026, 3, 5, 18, 30, tzinfo=UTC)
PATTERN = "f" * 32


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "playalong.db"


@pytest.fixture
def store(path: Path):
    database = Database.open(path)
    yield database
    database.close()


def player(database: Database, name: str = "Ines"):
    return players.player_of(database, name, NOW)


def began(database: Database, who: int, info: object = None) -> int:
    knowledge.keep_pattern(
        database, fingerprint=PATTERN, name="late-bus-home", title="Late Bus Home", text="title = 1"
    )
    return runs.begin(
        database,
        player=who,
        kit="Practice Kit",
        pattern=PATTERN,
        kind="play",
        program="0.2.0",
        began=NOW,
        info=info or {"bars": 4},
    )


GRADE = {
    "score": {"total": 81.5},
    "tempo_bpm": 84.0,
    "bars": 4,
    "timing": {"sd_ms": 19.25},
    "dynamics": {"ghost_contrast_db": {"snare": -14.5}},
    "steadiness": {"residual_sd_ms": 17.0},
    "advice": "The kick is late.",
}
FINDING = Finding(
    code="limb_late",
    voice="kick",
    limb="kick foot",
    places=[{"bar": 1, "count": "a of 2"}],
    n=7,
    of=8,
    value=24.0,
    unit="ms",
    gain=3.5,
    text="The kick is late.",
)
HITS = [{"time_s": 0.0, "voice": "kick", "velocity": 84.0}]
RESULT = Result(take=b"MThd", seconds=11.4, grade=GRADE, hits=HITS, findings=[FINDING])


def test_a_run_comes_back_as_it_was(store: Database) -> None:
    who = player(store)
    run = began(store, who.id)
    runs.append(store, run, [(0, b"\x99\x24\x54")], alive_s=1.0)
    runs.keep(store, run, RESULT)
    (row,) = runs.history(store, who.id)
    assert (row.player, row.kit, row.title, row.began) == (
        "Ines",
        "Practice Kit",
        "Late Bus Home",
        NOW,
    )
    assert (row.score, row.spread_ms, row.contrast_db, row.steadiness_ms) == (
        81.5,
        19.25,
        -14.5,
        17.0,
    )
    assert runs.take_of(store, run) == b"MThd"
    assert runs.grade_of(store, run) == (GRADE, HITS)
    assert store.rows("SELECT count(*) FROM message") == [(0,)]
    assert store.rows("SELECT code, places, gain FROM finding") == [
        ("limb_late", json.dumps(FINDING.places), 3.5)
    ]


def test_a_run_that_was_broken_off_is_found_with_all_that_was_written(store: Database) -> None:
    who = player(store)
    run = began(store, who.id)
    told = [(number, bytes((0x99, 36, number % 127 + 1))) for number in range(500)]
    for first in range(0, 500, 100):
        runs.append(store, run, told[first : first + 100], alive_s=NOW.timestamp() + first / 100)
    runs.append(store, run, [], alive_s=NOW.timestamp() + 6, info={"bars": 8})
    assert runs.broken_off(store, NOW.timestamp() + 7) == []
    (found,) = runs.broken_off(store, NOW.timestamp() + 60)
    assert (found.row.id, list(found.messages), found.info) == (run, told, {"bars": 8})
    runs.throw_away(store, run)
    assert store.rows("SELECT count(*) FROM run") == store.rows("SELECT count(*) FROM message")


def test_best_and_last(store: Database) -> None:
    who = player(store)
    for score in (60.0, 90.0, 75.0):
        run = began(store, who.id)
        runs.keep(store, run, Result(take=b"", seconds=1.0, grade={"score": {"total": score}}))
    best = runs.best(store, who.id, "late-bus-home")
    assert best is not None
    assert best.score == 90.0
    assert [row.score for row in runs.history(store, who.id)] == [75.0, 90.0, 60.0]
    assert runs.history(store, who.id, name="another") == []


def test_what_is_known_is_kept_by_player_and_content(store: Database) -> None:
    one, other = player(store, "Ines"), player(store, "Tom")
    knowledge.keep_profile(store, one.id, "Practice Kit", text="kit = 1", now=NOW)
    knowledge.keep_profile(store, one.id, "Practice Kit", text="kit = 2", now=NOW)
    assert knowledge.profile_text(store, one.id, "Practice Kit") == "kit = 2"
    assert knowledge.profile_text(store, other.id, "Practice Kit") is None
    began(store, one.id)
    knowledge.keep_lesson(store, one.id, PATTERN, name="late", progress="{}", now=NOW)
    assert knowledge.lesson(store, one.id, PATTERN) == "{}"
    assert knowledge.lesson(store, other.id, PATTERN) is None
    players.remember(store, {"level_db": -20.0, "port": "Kit"})
    players.remember(store, {"port": None, "dark": True}, one.id)
    assert players.settings(store) == {"level_db": -20.0, "port": "Kit"}
    assert players.settings(store, one.id) == {"dark": True}
    players.change(store, one.id, level="advanced", left_handed=True)
    changed = players.find(store, "Ines")
    assert changed is not None
    assert (changed.level, changed.left_handed) == ("advanced", True)


def test_two_programs_write_at_once(path: Path) -> None:
    Database.open(path).close()
    wrong: list[BaseException] = []

    def write(name: str) -> None:
        try:
            database = Database.open(path)
            who = player(database, name)
            for _ in range(40):
                run = began(database, who.id)
                runs.append(database, run, [(1, b"\x99\x24\x54")], alive_s=1.0)
                runs.keep(database, run, RESULT)
            database.close()
        except BaseException as error:
            wrong.append(error)

    threads = [Thread(target=write, args=(name,)) for name in ("Ines", "Tom")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []
    database = Database.open(path)
    assert database.rows("SELECT count(*) FROM run WHERE state = 'kept'") == [(80,)]
    assert database.integrity() == []
    database.close()


def test_what_fails_half_way_leaves_nothing(store: Database) -> None:
    who = player(store)

    def fail() -> None:
        with store.writing():
            began(store, who.id)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert store.rows("SELECT count(*) FROM run") == [(0,)]
    began(store, who.id)


# What may be wrong with a store.


def trouble(path: Path) -> tuple[Trouble, str]:
    with pytest.raises(StoreError) as told:
        Database.open(path).write("INSERT INTO kit (name) VALUES ('x')")
    return told.value.trouble, str(told.value)


def test_a_damaged_store_is_told_and_set_aside_whole(path: Path) -> None:
    path.parent.mkdir()
    path.write_bytes(b"not a store" * 100)
    found, words = trouble(path)
    assert found is Trouble.DAMAGED
    assert str(path) in words
    aside = set_aside(path)
    assert aside.read_bytes() == b"not a store" * 100
    assert not path.exists()
    path.write_bytes(b"again")
    assert set_aside(path) != aside
    Database.open(path).close()


def test_a_newer_store_is_left_alone(path: Path) -> None:
    Database.open(path).close()
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    connection.close()
    before = path.read_bytes()
    found, words = trouble(path)
    assert found is Trouble.NEWER
    assert "newer version" in words
    assert path.read_bytes() == before


def test_a_store_that_may_not_be_written_is_told(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Database.open(path).close()
    connect = sqlite3.connect

    def read_only(path: Path, **options: object) -> sqlite3.Connection:
        return connect(f"{path.as_uri()}?mode=ro", uri=True, **options)

    monkeypatch.setattr(sqlite3, "connect", read_only)
    found, words = trouble(path)
    assert found is Trouble.READ_ONLY
    assert "permissions" in words


def test_a_full_disk_is_told_and_nothing_is_lost(store: Database, path: Path) -> None:
    who = player(store)
    began(store, who.id)
    (pages,) = store.rows("PRAGMA page_count")[0]
    store.rows(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreError) as told:
        players.remember(store, {f"name {number}": "x" * 1000 for number in range(1000)})
    assert told.value.trouble is Trouble.FULL
    assert "make room" in str(told.value)
    store.rows("PRAGMA max_page_count = 1000000")
    assert store.integrity() == []
    assert store.rows("SELECT count(*) FROM run") == [(1,)]


def test_a_store_that_is_taken_away_is_told(store: Database, path: Path) -> None:
    player(store)
    path.rename(path.with_name("elsewhere.db"))
    with pytest.raises(StoreError) as told:
        player(store, "Tom")
    assert told.value.trouble is Trouble.GONE


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    assert trouble(tmp_path / "file" / "playalong.db")[0] is Trouble.NOT_THERE


def test_a_store_whose_power_failed_has_all_that_was_promised(path: Path, tmp_path: Path) -> None:
    """Store and log cut off anywhere open, with every portion whose commit lies before the cut.

    SQLite documents that what lies behind the last whole commit of the log does not count
    (Write-Ahead Logging, section on recovery).
    """
    database = Database.open(path)
    who = player(database)
    run = began(database, who.id)
    sizes = []
    log = path.with_name(path.name + "-wal")
    for number in range(30):
        runs.append(database, run, [(number, b"\x99\x24\x54")], alive_s=float(number))
        sizes.append(log.stat().st_size)
    chance = Random(3)
    for case in range(60):
        cut = chance.randrange(sizes[0], sizes[-1] + 1)
        folder = tmp_path / f"cut-{case}"
        folder.mkdir()
        copy = folder / path.name
        shutil.copy(path, copy)
        copy.with_name(log.name).write_bytes(log.read_bytes()[:cut])
        again = Database.open(copy)
        assert again.integrity() == []
        (found,) = runs.broken_off(again, 1e12)
        promised = sum(size <= cut for size in sizes)
        assert [tick for tick, _ in found.messages][:promised] == list(range(promised))
        again.close()
    database.close()


# A run that writes itself.


INFO = {"tempo_us": 500_000, "info": {"start_s": 1.0, "player": "Ines", "bars": 16}}


def run_log_of(path: Path, begin, **more) -> RunLog:
    file = RunFile([path.parent / "unfinished"], kind="play", store=path)
    return RunLog(path, begin, file=file, info=lambda: INFO, **more)


def test_a_run_log_writes_within_a_second_and_says_when_it_cannot(path: Path) -> None:
    def begin(database: Database) -> int:
        return began(database, player(database).id)

    log = run_log_of(path, begin, now_s=lambda: 5.0)
    for number in range(100):
        log.message(number, b"\x99\x24\x54")
    log.changed()
    run = log.close()
    assert run is not None
    assert log.trouble is None
    database = Database.open(path)
    (found,) = runs.broken_off(database, 1e12)
    assert [tick for tick, _ in found.messages] == list(range(100))
    assert found.info == INFO
    database.close()


def test_a_run_log_without_a_store_keeps_quiet_and_says_why(path: Path) -> None:
    path.mkdir(parents=True)
    log = run_log_of(path, lambda database: began(database, 1))
    log.message(1, b"\x99\x24\x54")
    assert log.close() is None
    assert log.trouble is not None
    assert log.trouble.trouble is Trouble.NOT_THERE
    assert [tick for tick, _ in run_file.read(log.file.path).messages] == [1]


@pytest.mark.parametrize("is_damaged", [False, True])
def test_a_run_goes_on_whole_elsewhere(
    path: Path, monkeypatch: pytest.MonkeyPatch, is_damaged: bool
) -> None:
    """The store is deleted while the run goes on, which goes on in a new one; or it is damaged, and
    the run goes on in a file of its own."""
    monkeypatch.setattr(run_log, "PORTION_S", 0.02)
    monkeypatch.setattr(run_log, "RETRY_S", 0.02)

    def begin(database: Database) -> int:
        return began(database, player(database).id)

    log = run_log_of(path, begin)
    for number in range(3):
        log.message(number, b"\x99\x24\x54")
    wait_for(lambda: log.run is not None)
    if is_damaged:
        path.with_name("damaged").write_bytes(b"no store" * 999)
        path.with_name("damaged").replace(path)
        path.with_name(path.name + "-wal").unlink(missing_ok=True)
    else:
        path.rename(path.with_name("elsewhere"))
    log.message(3, b"\x99\x24\x54")
    log._is_over.wait(0.2)
    log.message(4, b"\x99\x24\x54")
    run = log.close()
    assert log.gone is not None
    if is_damaged:
        messages = run_file.read(log.file.path).messages
    else:
        assert log.file.path is None, "all of it is in the new store"
        database = Database.open(path)
        (found,) = runs.broken_off(database, 1e12)
        database.close()
        assert found.row.id == run
        messages = found.messages
    assert [tick for tick, _ in messages] == [0, 1, 2, 3, 4]


def wait_for(is_so) -> None:
    until_s = time.monotonic() + 20.0
    while not is_so() and time.monotonic() < until_s:
        time.sleep(0.01)


def test_while_another_program_writes_a_run_reaches_a_file(path: Path) -> None:
    """And the file is gone once the store has all of it."""
    database = Database.open(path)
    who = player(database).id
    log = run_log_of(path, lambda store: began(store, who))
    with database.writing():
        log.message(1, b"\x99\x24\x54")
        wait_for(lambda: log.file.path is not None)
        (file,) = run_file.files([path.parent / "unfinished"])
        filed = run_file.read(file)
        assert (filed.kind, filed.info, filed.run) == ("play", INFO, None)
        assert list(filed.messages) == [(1, b"\x99\x24\x54")]
    log.close()
    (found,) = runs.broken_off(database, 1e12)
    assert [tick for tick, _ in found.messages] == [1]
    assert not file.exists()
    database.close()


def test_the_file_of_a_run_goes_where_there_is_room_and_may_be_cut_off(tmp_path: Path) -> None:
    (tmp_path / "taken").write_bytes(b"a file where a folder should be")
    folders = [tmp_path / "taken", tmp_path / "room"]
    file = RunFile(folders, kind="lesson", store=tmp_path / "playalong.db")
    messages = [(tick, b"\x99\x24\x54") for tick in range(9)]
    for count in (3, 6, 9):
        assert file.write(messages[:count], alive_s=count, run=4, info=lambda: INFO)
    (path,) = run_file.files(folders)
    whole = path.read_bytes()
    for cut in range(len(whole)):
        path.write_bytes(whole[:cut])
        try:
            found = run_file.read(path)
        except UserError:
            assert cut < whole.index(b"\n"), "not even the first line is whole"
            continue
        lines = whole[: cut + 1].count(b"\n")  # one without its end is whole as well
        assert list(found.messages) == messages[: 3 * lines]
        assert found.info == INFO
    file.remove()
    assert run_file.files(folders) == []
    (tmp_path / "room").rmdir()
    (tmp_path / "room").write_bytes(b"")
    assert not file.write(messages, alive_s=1.0, run=None, info=lambda: INFO)


@pytest.mark.skipif(os.name != "posix", reason="no system else lets an open file be deleted")
@pytest.mark.parametrize("ending", BESIDE[:2])
def test_what_is_written_into_a_deleted_file_is_not_taken_for_kept(path, store, ending) -> None:
    """Its log was deleted: SQLite went on writing into what nobody can ever read."""
    who = player(store)
    path.with_name(path.name + ending).unlink()
    with pytest.raises(StoreError) as error:
        began(store, who.id)
    assert error.value.trouble is Trouble.GONE


# Out and away.


def test_export_writes_ordinary_files(store: Database, tmp_path: Path) -> None:
    who = player(store)
    runs.keep(store, began(store, who.id), RESULT)
    knowledge.keep_profile(store, who.id, "Practice Kit", text="kit = 1", now=NOW)
    knowledge.keep_lesson(store, who.id, PATTERN, name="late", progress="{}", now=NOW)
    count = exporting.export(store, who, tmp_path / "out")
    written = [path for path in (tmp_path / "out").rglob("*") if path.is_file()]
    assert len(written) == count
    assert {path.suffix for path in written} == {".toml", ".csv", ".mid", ".json"}
    assert (tmp_path / "out" / "runs.csv").read_text().count("\n") == 2
    (grade,) = (tmp_path / "out" / "grades").iterdir()
    assert json.loads(grade.read_text()) == {**GRADE, "hits": HITS}


def many_runs(store: Database, count: int) -> players.PlayerRow:
    who = player(store)
    with store.writing():
        for _ in range(count):
            runs.keep(store, began(store, who.id), RESULT)
    return who


@pytest.mark.parametrize("is_there", [False, True])
@pytest.mark.parametrize("error", [KeyboardInterrupt, UserError])
def test_an_export_that_is_broken_off_leaves_nothing(store, tmp_path, error, is_there) -> None:
    who, told = many_runs(store, 30), []

    def stop(share: float) -> None:
        told.append(share)
        if len(told) == 20:
            raise error("enough")

    folder = tmp_path / "out" / "mine"
    if is_there:
        folder.mkdir(parents=True)
    with pytest.raises(error):
        exporting.export(store, who, folder, progress=stop)
    assert [path for path in (tmp_path / "out").rglob("*") if path != folder] == []
    assert exporting.export(store, who, folder) == 1 + 30 + 30 + 1 + 1
    assert len(list((folder / "takes").iterdir())) == 30


def test_an_export_flushes_its_files_together(store, tmp_path, monkeypatch) -> None:
    """One after the other 10,000 runs take minutes on some disks."""
    who, begun = many_runs(store, 40), []
    flush = os.fsync

    def slow(file: int) -> None:
        begun.append(time.monotonic())
        time.sleep(0.05)
        flush(file)

    monkeypatch.setattr(os, "fsync", slow)
    exporting.export(store, who, tmp_path / "out")
    assert len(begun) >= 80, "each file, and the folder's name"
    assert begun[-1] - begun[0] < 0.05 * len(begun) / 4


def test_erasing_leaves_nothing_of_a_name_in_any_file(
    store: Database, path: Path, tmp_path: Path
) -> None:
    secret = "Wilhelmine Aschenbrenner"
    who, other = player(store, secret), player(store, "Tom")
    copy = tmp_path / "take.mid"
    copy.write_bytes(b"MThd")
    for whose in (who, other):
        for _ in range(20):
            run = began(store, whose.id, {"player": whose.name})
            runs.keep(
                store,
                run,
                Result(take=whose.name.encode(), seconds=1.0, grade=GRADE, file=str(copy)),
            )
    players.choose(store, who.id)
    found = erasing.traces(store, who)
    assert (found.runs, found.files) == (20, (copy,))
    assert erasing.erase(store, who, found) == []
    assert not copy.exists()
    files = [path.with_name(path.name + ending) for ending in BESIDE]
    for file in files:
        if file.exists():
            assert secret.encode() not in file.read_bytes()
            assert b"Aschenbrenner" not in file.read_bytes()
    assert [row.player for row in runs.history(store, other.id)] == ["Tom"] * 20
    assert store.integrity() == []


def test_nobody_is_erased_while_they_play_or_while_the_store_is_in_use(
    store: Database, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    who = player(store)
    run = began(store, who.id)
    runs.append(store, run, [], alive_s=time.time())
    found = erasing.traces(store, who)
    with pytest.raises(UserError, match="is playing at this moment"):
        erasing.erase(store, who, found)
    runs.keep(store, run, RESULT)
    reader = sqlite3.connect(path, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT * FROM player").fetchall()
    store.rows("PRAGMA busy_timeout = 50")
    runs.throw_away(store, run)
    with pytest.raises(StoreError) as told:
        erasing.erase(store, who, found)
    assert told.value.trouble is Trouble.BUSY
    assert players.find(store, "Ines") is not None
    reader.close()
    assert erasing.erase(store, who, found) == []
    assert players.find(store, "Ines") is None


def test_a_store_of_the_first_version_is_brought_up_to_date(path: Path) -> None:
    path.parent.mkdir()
    connection = sqlite3.connect(path)
    connection.executescript(MIGRATIONS[0])
    connection.execute("INSERT INTO player (name, since) VALUES ('Ines', ?)", (NOW.isoformat(),))
    connection.execute("PRAGMA user_version = 1")
    connection.commit()
    connection.close()
    database = Database.open(path)
    assert database.row("PRAGMA user_version") == (VERSION,)
    assert [one.name for one in players.players(database)] == ["Ines"]
    run = began(database, players.players(database)[0].id)
    assert runs.broken_off(database, NOW.timestamp()) == []
    runs.keep(database, run, RESULT)
    assert database.integrity() == []
    database.close()


def test_a_run_whose_program_has_ended_is_broken_off_at_once(store: Database) -> None:
    run = began(store, player(store).id)
    assert runs.broken_off(store, NOW.timestamp()) == []
    ended = subprocess.run(
        [
            sys.executable,
            "-c",
            "from playalong.support.system import processes as p; print(p.this_process())",
        ],
        check=True,
        capture_output=True,
        text=True,
    )
    store.write("UPDATE run SET process = ? WHERE id = ?", (ended.stdout.strip(), run))
    found = runs.broken_off(store, NOW.timestamp())
    assert [one.row.id for one in found] == ([run] if os.name == "posix" else [])


# Days, which triggers keep.


def test_days_are_what_their_runs_come_to_whatever_happens_to_these(store: Database) -> None:
    """Runs are kept, graded again, moved to another player, thrown away: the days follow."""
    chance = Random(4)
    ids = [player(store, name).id for name in ("Ines", "Tom")]
    numbers: list[int] = []
    for _ in range(90):
        what = chance.choice(["begin"] * 3 + ["keep"] * 5 + ["drop", "move"])
        if what == "begin" or not numbers:
            numbers.append(began(store, chance.choice(ids)))
            when = NOW + timedelta(days=chance.randrange(4))
            store.write("UPDATE run SET began = ? WHERE id = ?", (when.isoformat(), numbers[-1]))
        elif what == "keep":
            grade = {**GRADE, "score": {"total": chance.choice([None, 50.0, 81.5])}}
            result = Result(take=b"MThd", seconds=float(chance.randrange(99)), grade=grade)
            runs.keep(store, chance.choice(numbers), result)
        elif what == "drop":
            runs.throw_away(store, numbers.pop(chance.randrange(len(numbers))))
        else:
            changed = chance.choice(ids), chance.choice(numbers)
            store.write("UPDATE run SET player = ? WHERE id = ?", changed)
        for who in ids:
            assert days(store, who) == recounted(store, who)
    (count,) = store.rows("SELECT count(*) FROM day")
    assert count[0] > 4
    erasing.erase(store, players.find(store, "Ines"), erasing.traces(store, player(store)))
    assert {who for (who,) in store.rows("SELECT player FROM day")} == {ids[1]}


def days(database: Database, who: int) -> list[tuple]:
    return [
        (one.first.isoformat(), one.runs, one.seconds, one.score, one.best_score)
        for one in periods(database, who, By.DAY)
    ]


def recounted(database: Database, who: int) -> list[tuple]:
    return database.rows(
        "SELECT substr(began, 1, 10) AS first, count(*), total(seconds), avg(score), max(score)"
        " FROM run WHERE player = ? AND state = 'kept' GROUP BY first ORDER BY first DESC",
        (who,),
    )
