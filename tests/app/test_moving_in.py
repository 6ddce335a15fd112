"""Takes and lessons of earlier versions move in; takes of times without a store are taken in."""

import json
from pathlib import Path

import pytest

from playalong.app import leaving, moving_in, stored_runs
from playalong.app.grade import expected
from playalong.app.home import entry
from playalong.app.memory import Memory
from playalong.app.open_devices import Look
from playalong.app.recording.background import LeftError
from playalong.app.user_folders import UserFolders
from playalong.commands.main import main
from playalong.pattern.fingerprint import pattern_id
from playalong.profile.profile import Profile
from playalong.records import lessons, takes
from playalong.records.pattern_files import library
from playalong.records.profiles import as_text
from playalong.records.store import players, runs
from playalong.records.store.database import Database
from playalong.records.store.meanwhile.run_file import RunFile
from playalong.records.takes import Recording, read
from playalong.support.errors import UserError

PATTERN = library().get("late-bus-home")
NAME = "Wilhelmine Äschenbrenner"


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> UserFolders:
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    return UserFolders.of_user()


@pytest.fixture
def take(tmp_path: Path) -> bytes:
    """A take of a simulated player."""
    assert main(["demo", "--fast", "--bars", "1", "--out", str(tmp_path / "out")]) == 0
    (path,) = (tmp_path / "out").glob("*.mid")
    return path.read_bytes()


def of_person(take: bytes, path: Path, name: str, **more: object) -> Path:
    """The same take as a person would have left it at ``path``."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(take)
    told = read(path)
    info = {key: value for key, value in told.info.items() if key != "simulated"}
    info |= {"player": name, "kit": "Practice Kit", **more}
    ticks = [(round(time_s / 0.0000238), data) for time_s, data in told.messages]
    path.write_bytes(Recording.resumed({"tempo_us": 714286, "info": info}, ticks).as_bytes())
    return path


def test_takes_and_lessons_of_earlier_versions_move_in_once(home: UserFolders, take: bytes) -> None:
    folder = home.data / "takes"
    practised = folder / "late-bus-home-practice-2026-03-01-120000" / "001.mid"
    files = [
        of_person(take, folder / "late-bus-home-2026-03-02-120000.mid", NAME),
        of_person(take, practised, NAME, date="2026-03-01T12:00:00+01:00"),
    ]
    (folder / "simulated.mid").write_bytes(take)
    (folder / "notes.mid").write_bytes(b"no take at all")
    kept = home.data / "lessons" / "late-bus-home.json"
    kept.parent.mkdir()
    kept.write_text('{"steps": {}}')
    (home.data / "lessons" / "somebody-elses.json").write_text("{}")
    before = {path: path.read_bytes() for path in home.data.rglob("*.*") if path.is_file()}

    assert [player.name for player in home.players()] == [NAME]
    database = Database.open(home.memory.path)
    who = players.find(database, NAME)
    rows = runs.history(database, who.id)
    assert [(row.kind, row.title, row.score) for row in rows] == [
        ("play", "Late Bus Home", None),
        ("lesson", "Late Bus Home", None),
    ]
    assert {row.file for row in rows} == set(map(str, files))
    assert runs.take_of(database, rows[0].id) == files[0].read_bytes()
    assert len(runs.pending(database, who.id)) == 2
    database.close()
    assert lessons.read(home.memory.path, NAME, PATTERN) == ('{"steps": {}}', "")
    told = " ".join(home.notices)
    assert "2 takes were taken into the store" in told
    assert "notes.mid was not taken in" in told
    assert "somebody-elses.json was not taken in" in told
    simulated = Database.open(Memory(folder=home.data, simulated=True).path)
    assert simulated.rows("SELECT count(*) FROM run") == [(1,)]
    simulated.close()

    again = UserFolders.of_user()
    assert [player.name for player in again.players()] == [NAME]
    assert again.notices == []
    assert {path: path.read_bytes() for path in before} == before


def test_takes_of_the_first_format_are_known_by_name_and_graded_as_far_as_they_say(
    home: UserFolders, take: bytes, capsys: pytest.CaptureFixture[str]
) -> None:
    """They said neither who played nor what the pattern was; of a part not which one."""
    folder = home.data / "takes"
    folder.mkdir(parents=True)
    (folder / "whole.mid").write_bytes(take)
    told = read(folder / "whole.mid")
    ticks = [(round(time_s / 0.0000238), data) for time_s, data in told.messages]
    for name, pattern in (("whole", "late-bus-home"), ("part", "Late Bus Home: beat 1")):
        kept = ("tempo_bpm", "bars", "capture_ms", "tolerance_ms", "start_s")
        info = {"pattern": pattern, **{key: told.info[key] for key in kept}}
        recording = Recording.resumed({"tempo_us": 714286, "info": info}, ticks)
        (folder / f"{name}.mid").write_bytes(recording.as_bytes())
    assert [player.name for player in home.players()] == ["player"]
    assert any("2 of the takes say not who played" in words for words in home.notices)
    assert main(["history"]) == 0
    database = Database.open(home.memory.path)
    rows = database.rows(
        "SELECT title, score > 50 FROM run JOIN pattern ON fingerprint = run.pattern"
    )
    assert sorted(rows) == [("Late Bus Home", 1), ("Late Bus Home: beat 1", None)]
    database.close()


def test_takes_of_a_time_without_a_store_are_taken_in_later(home: UserFolders, take: bytes) -> None:
    """The store cannot be opened: a folder is in its place."""
    store = home.memory.path
    store.mkdir(parents=True)
    path = of_person(take, home.data / "takes" / "mine.mid", NAME)
    told = read(path)
    recording = Recording.resumed({"tempo_us": 714286, "info": dict(told.info)}, [])
    memory = home.memory
    assert memory.keep(memory.begin(recording, "play"), recording, None, file=path) is None
    assert "Takes are kept as files meanwhile, and taken in later." in memory.trouble
    store.rmdir()
    later = home.memory
    database = later.open()
    assert database.rows("SELECT file, state, pending FROM run") == [(str(path), "kept", 1)]
    assert "1 take that was kept as files" in later.noted[0]
    database.close()
    again = home.memory
    again.open().close()
    assert again.trouble == again.noted == []


def test_a_damaged_store_is_set_aside_and_filled_from_the_takes(
    home: UserFolders, take: bytes
) -> None:
    of_person(take, home.data / "takes" / "mine.mid", NAME)
    home.players()
    home.memory.path.write_bytes(b"no store" * 500)
    again = UserFolders.of_user()
    assert [player.name for player in again.players()] == [NAME]
    assert "set aside" in again.notices[0]
    (aside,) = home.data.glob("playalong-damaged-*.db")
    assert aside.read_bytes() == b"no store" * 500


@pytest.mark.parametrize("called", [None, "Mina"])
def test_erasing_leaves_nothing_of_a_name_in_any_file(
    home: UserFolders, take: bytes, called: str | None
) -> None:
    """Store, takes and what lies beside them, files of earlier versions, what was set aside, runs
    that never reached the store; and what has the name that somebody had before."""
    of_person(take, home.data / "takes" / "late-2026.mid", NAME)
    (home.data / "takes" / "late-2026-grade.json").write_text(json.dumps({"player": NAME}))
    lesson = home.data / "takes" / "late-practice-2026" / "001.mid"
    of_person(take, lesson, NAME)
    others = of_person(take, home.data / "takes" / "other.mid", "Tom")
    (home.config / "profiles").mkdir(parents=True)
    text = as_text(Profile(kit="Practice Kit", player=NAME))
    (home.config / "profiles" / "mine.toml").write_text(text, encoding="utf-8")
    (home.config / "profiles" / "mine.toml.broken").write_text(text, encoding="utf-8")
    (home.config / "settings.toml").write_text(f'player = "{NAME}"\n', encoding="utf-8")
    (home.data / "mistakes").mkdir()
    (home.data / "mistakes" / "one.txt").write_text(f"KeyError: {NAME}", encoding="utf-8")
    (home.data / "playalong-damaged-2026-01-01.db").write_bytes(b"x" + NAME.encode())
    broken_off = RunFile([home.data / "unfinished"], kind="play", store=home.memory.path)
    broken_off.write([], alive_s=0.0, run=None, info=lambda: {"info": {"player": NAME}})
    home.remember_for(NAME, theme="dark")
    home.keep(Profile(kit="Practice Kit", player=NAME))
    late = of_person(take, home.data / "takes" / "late.mid", NAME)  # not in the store yet
    lessons.write(home.memory.path, NAME, PATTERN, progress="so far")

    if called is not None:
        home.rename_player(NAME, called)
    database = Database.open(home.memory.path)
    who = players.find(database, called or NAME)
    found = leaving.traces_of(home, database, who)
    assert (found.runs, found.lessons, found.profiles) == (2, 1, 1)
    assert late in found.files
    assert others not in found.files
    assert leaving.erase(database, who, found) == []
    database.close()
    spellings = [
        NAME.encode(),
        json.dumps(NAME)[1:-1].encode(),
        b"schenbrenner",
        b"Wilhelmine",
        b"Mina",
    ]
    for folder in (home.data, home.config):
        for path in folder.rglob("*"):
            if path.is_file():
                data = path.read_bytes()
                assert not any(spelling in data for spelling in spellings), path
    assert not lesson.parent.exists()
    assert others.exists()
    again = UserFolders.of_user()
    assert [player.name for player in again.players()] == ["Tom"]
    assert pattern_id(PATTERN)


def test_of_thousands_of_takes_each_is_read_once_and_their_pattern_once(home, take, monkeypatch):
    """A file was read for each store, and its pattern with each."""
    for number in range(12):
        of_person(
            take, home.data / "takes" / f"{number}.mid", NAME, date=f"2026-03-{number + 1:02}"
        )
    read_as, parse, texts = takes.from_bytes, expected.read_stored, []
    names = []
    monkeypatch.setattr(
        takes, "from_bytes", lambda data, path: (names.append(path), read_as(data, path))[1]
    )
    monkeypatch.setattr(
        expected, "read_stored", lambda text, name: (texts.append(text), parse(text, name))[1]
    )
    stored_runs._title_of.cache_clear()
    assert [player.name for player in home.players()] == [NAME]
    assert len(names) == len(set(names)) == 12
    assert len(texts) == 1


def test_many_takes_are_taken_in_behind_a_page_that_can_be_left(home, take, monkeypatch):
    for number in range(9):
        of_person(
            take, home.data / "takes" / f"{number}.mid", NAME, date=f"2026-03-{number + 1:02}"
        )
    monkeypatch.setattr(moving_in, "_AT_ONCE", 2)
    home.most_at_once = 3
    assert home.players() == []
    assert home.are_takes_due

    def leave(done: int, of: int) -> None:
        assert of == 9
        if done > 5:
            raise LeftError("enough")

    with pytest.raises(LeftError):
        home.move_takes_in(leave)
    assert home.runs_of_everybody() == {1: (6, "2026-03-06")}
    assert home.are_takes_due, "the next start goes on"
    home.move_takes_in(lambda *_: None)
    assert not home.are_takes_due
    assert home.runs_of_everybody() == {1: (9, "2026-03-09")}


def test_the_window_takes_in_many_takes_behind_a_page(home, take, monkeypatch):
    for number in range(3):
        of_person(take, home.data / "takes" / f"{number}.mid", NAME)
    monkeypatch.setattr(entry, "_AT_ONCE", 2)
    monkeypatch.setattr(
        entry, "HomeSession", lambda *_, **__: (_ for _ in ()).throw(UserError("x"))
    )
    pages = []
    show = entry.work_on_page
    monkeypatch.setattr(
        entry, "work_on_page", lambda *a, **k: (pages.append(a[1]), show(*a, **k))[1]
    )
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    with pytest.raises(UserError, match="x"):
        entry.open_window(Look(), home)
    assert pages == ["Moving in"]
    assert home.runs_of_everybody()
    assert not home.are_takes_due
