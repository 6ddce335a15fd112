"""What is set and learned while the store cannot be used is kept in a file, and taken in later."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import pytest

from playalong.app.user_folders import UserFolders
from playalong.commands.main import main
from playalong.grading.levels import Level
from playalong.pattern.reader import read
from playalong.profile.latency import TYPED, Latency
from playalong.profile.profile import Profile
from playalong.records import lessons
from playalong.records.store.meanwhile import changes
from playalong.records.store.schema import VERSION
from tests.helpers.small_disk import small_disk

KIT = "Practice Kit"
PATTERN = read('title = "Small"\nmeter = "4/4"\ntempo = 90\n[[bar]]\nsnare = "x x x x"\n', "small")


@pytest.fixture(name="disk")
def _disk(tmp_path: Path) -> Iterator[Path]:
    with small_disk(tmp_path / "disk") as place:
        yield place


@pytest.fixture
def data(disk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A store on that disk, in which Ines has a profile with a word of her own, and a lesson."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(disk))
    (tmp_path / "home").mkdir()
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    home = UserFolders.of_user()
    home.choose_player("Ines")
    known = replace(home.profile(KIT, "Ines"), port=KIT, has=("kick", "snare"))
    assert home.keep(known)
    text = (home.profile_text(KIT, "Ines") or "").replace("[notes]", "# mine\n[notes]")
    assert home.keep(known, text)
    home.remember_for("Ines", warm_up={"days": [{"day": "2026-01-01"}], "minutes": 5.0})
    lessons.write(home.memory.path, "Ines", PATTERN, progress='{"steps": {"a": 1}}')
    assert home.notices == []
    return home.data


@contextmanager
def newer(store: Path) -> Iterator[None]:
    version(store, VERSION + 1)
    yield
    version(store, VERSION)


def version(store: Path, number: int) -> None:
    connection = sqlite3.connect(store)
    connection.execute(f"PRAGMA user_version = {number}")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


@contextmanager
def folder_in_its_place(store: Path) -> Iterator[None]:
    aside = store.with_name("aside.db")
    store.rename(aside)
    store.mkdir()
    yield
    store.rmdir()
    aside.rename(store)


@contextmanager
def read_only(store: Path) -> Iterator[None]:
    disk = str(store.parent.parent)
    subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
    yield
    subprocess.run(["mount", "-o", "remount,rw", disk], check=True)


@contextmanager
def full(store: Path) -> Iterator[None]:
    filler = store.parent.parent / "filler"
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(b"x" * 512)
    yield
    filler.unlink()


@contextmanager
def held(store: Path) -> Iterator[None]:
    held = sqlite3.connect(store, isolation_level=None)
    held.execute("BEGIN IMMEDIATE")
    yield
    held.close()


#: Each way, what is told of it, and whether what was in the store can be read meanwhile.
WAYS: dict[str, tuple[Callable[[Path], object], str, bool]] = {
    "newer": (newer, "newer version", False),
    "a folder in its place": (folder_in_its_place, "cannot be opened", False),
    "read-only": (read_only, "", False),
    "full": (full, "is full", False),
    "held by another": (held, "Another program", True),
}


def learn(home: UserFolders) -> None:
    """What is set and learned meanwhile."""
    home.remember(level_db=-12.0)
    home.remember_level("Ines", Level.PROFESSIONAL)
    home.remember_hand("Tom", True)  # somebody new
    home.remember_for(None, strong=True)
    diary = home.settings_of("Ines").get("warm_up") or {"days": []}
    home.remember_for("Ines", warm_up={**diary, "days": [*diary["days"], {"day": "2026-02-02"}]})
    profile = home.profile(KIT, "Ines")
    assert home.keep(replace(profile, latency=Latency(12.5, None, TYPED)))
    store = home.memory.path
    kept, _ = lessons.read(store, "Ines", PATTERN)
    more = '{"steps": {"b": 2}}' if kept is None else '{"steps": {"a": 1, "b": 2}}'
    lessons.write(store, "Ines", PATTERN, progress=more)


def look(home: UserFolders, *, is_whole: bool) -> None:
    """It is there; and what was before is, where the store can be read."""
    assert home.settings().level_db == -12.0
    assert home.level("Ines") is Level.PROFESSIONAL
    assert home.is_left_handed("Tom")
    assert home.settings_of(None)["strong"] is True
    profile = home.profile(KIT, "Ines")
    assert profile.latency == Latency(12.5, None, TYPED)
    days = [{"day": "2026-01-01"}, {"day": "2026-02-02"}]
    assert home.settings_of("Ines")["warm_up"]["days"] == days[not is_whole :]
    steps = '{"steps": {"a": 1, "b": 2}}' if is_whole else '{"steps": {"b": 2}}'
    assert lessons.read(home.memory.path, "Ines", PATTERN)[0] == steps
    if is_whole:
        assert home.settings().player == "Ines"
        assert home.settings_of("Ines")["warm_up"]["minutes"] == 5.0
        assert set(profile.has) == {"kick", "snare"}
        assert "# mine" in (home.profile_text(KIT, "Ines") or "")


@pytest.mark.parametrize("way", WAYS)
def test_what_is_learned_while_the_store_cannot_be_used_is_not_lost(data, way, monkeypatch):
    monkeypatch.setattr("playalong.records.store.database.WAIT_S", 0.2)
    spoil, told, can_be_read = WAYS[way]
    home = UserFolders.of_user()
    store = home.memory.path
    with spoil(store):
        learn(home)
        assert any(told in words for words in home.notices), home.notices
        assert changes.WORDS in home.notices
        look(UserFolders.of_user(), is_whole=can_be_read)  # the next program
        assert len(changes.files(store)) == 1
    after = UserFolders.of_user()
    look(after, is_whole=True)
    (taken,) = [words for words in after.notices if words.startswith("Taken in")]
    assert "1 profile" in taken
    assert "1 lesson" in taken
    assert changes.files(store) == []
    database = after.memory.opened()
    assert database.integrity() == []
    database.close()


@pytest.mark.parametrize("way", ["damaged", "gone"])
def test_a_store_that_is_begun_anew_keeps_it_itself(data, way):
    home = UserFolders.of_user()
    store = home.memory.path
    if way == "gone":
        store.unlink()
    else:
        store.write_bytes(b"no store" * 4096)
    for ending in ("-wal", "-shm"):
        store.with_name(store.name + ending).unlink(missing_ok=True)
    learn(home)
    assert changes.files(store) == []
    look(UserFolders.of_user(), is_whole=False)
    assert any("set aside" in words for words in home.notices) is (way == "damaged")


def test_a_profile_that_a_person_wrote_counts_whole(data, tmp_path, capsys):
    written = tmp_path / "mine.toml"
    written.write_text(f'# all of it\nkit = "{KIT}"\nplayer = "Ines"\n[latency]\nms = 3\n')
    home = UserFolders.of_user()
    with newer(home.memory.path):
        assert main(["kit", "--profile", str(written)]) == 0, capsys.readouterr().err
    text = UserFolders.of_user().profile_text(KIT, "Ines")
    assert text == written.read_text()


def test_a_profile_that_cannot_take_what_was_learned_is_set_aside(data):
    home = UserFolders.of_user()
    store = home.memory.path
    with newer(store):
        fresh = Profile(kit=KIT, player="Ines", latency=Latency(12.5, None, TYPED))
        assert home.keep(fresh)
    connection = sqlite3.connect(store)
    connection.execute("UPDATE profile SET text = 'no profile ['")
    connection.commit()
    connection.close()
    after = UserFolders.of_user()
    assert after.profile(KIT, "Ines").latency == Latency(12.5, None, TYPED)
    (aside,) = (after.data / "set-aside").iterdir()
    assert aside.read_text() == "no profile ["
    assert any(str(aside) in words for words in after.notices)


def test_somebody_new_can_be_added_meanwhile(data, capsys):
    with newer(UserFolders.of_user().memory.path):
        assert main(["players", "--add", "Ruth"]) == 0
        assert "Ruth" in capsys.readouterr().out
        assert main(["players", "--add", "Ruth"]) == 2
        assert "a player" in capsys.readouterr().err
    assert UserFolders.of_user().player("Ruth") is not None


def test_takes_wait_until_the_store_can_be_written_and_not_only_read(data, capsys):
    """A store on a full disk opens; a take that waits is taken in later, and not forgotten."""
    home = UserFolders.of_user()
    main(["demo", "--fast", "--bars", "1"])
    store = replace(home.memory, simulated=True).path
    with newer(store):
        main(["demo", "--fast", "--bars", "1"])
    with full(store):
        main(["history", "--simulated"])
    main(["history", "--simulated"])
    assert "Taken in: 1 take" in capsys.readouterr().out


#: Kept by another program, which then ends.
OTHER = (
    "from playalong.app.user_folders import UserFolders as U; U.of_user().remember(level_db=-7.)"
)


def test_each_program_has_a_file_and_the_last_word_counts(data):
    home = UserFolders.of_user()
    store = home.memory.path
    with newer(store):
        home.remember_for(None, strong=True)
        home.remember(level_db=-9.0)
        subprocess.run([sys.executable, "-c", OTHER], check=True, env=dict(os.environ))
        assert len(changes.files(store)) == 2
        assert UserFolders.of_user().settings().level_db == -7.0
    after = UserFolders.of_user()
    assert after.settings().level_db == -7.0
    assert after.settings_of(None)["strong"] is True


@pytest.mark.parametrize("line", ['{"kind": "setting", "pl', "[]", '{"kind": "nothing"}', "\xff"])
def test_a_line_that_makes_no_sense_takes_nothing_with_it(data, line):
    home = UserFolders.of_user()
    store = home.memory.path
    with newer(store):
        home.remember(level_db=-9.0)
        (file,) = changes.files(store)
        file.write_bytes(line.encode("latin-1") + b"\n" + file.read_bytes())
    assert UserFolders.of_user().settings().level_db == -9.0


def test_what_waits_goes_with_the_player_who_is_erased(data, capsys):
    home = UserFolders.of_user()
    store = home.memory.path
    with newer(store):
        home.remember_for("Ines", click="beats")
    assert main(["history", "--who", "Ines", "--erase", "--yes"]) == 0
    assert changes.files(store) == []
    assert UserFolders.of_user().player("Ines") is None
