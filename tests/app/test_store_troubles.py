"""A store that cannot be used: told, left alone, and what is played meanwhile taken in later."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from random import Random

import pytest

from playalong.app.memory import Memory
from playalong.app.user_folders import UserFolders
from playalong.commands.main import main
from playalong.records.store.database import BESIDE, Database
from playalong.records.store.schema import VERSION
from tests.helpers.small_disk import small_disk

DEMO = ("demo", "--fast", "--bars", "1")


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    home = UserFolders.of_user()
    home.choose_player("Ines")  # from here on nothing of an earlier version moves in
    return home.data


def store_of(data: Path) -> Path:
    return Memory(folder=data, simulated=True).path


def count(data: Path) -> int:
    database = Memory(folder=data, simulated=True).opened()
    ((found,),) = database.rows("SELECT count(*) FROM run WHERE state = 'kept'")
    database.close()
    return int(found)


def bytes_of(store: Path) -> dict[str, bytes]:
    files = (store.with_name(store.name + ending) for ending in BESIDE)
    return {path.name: path.read_bytes() for path in files if path.exists()}


def test_a_newer_store_is_left_alone_and_the_take_waits_for_the_update(data, capsys):
    main(DEMO)
    store = store_of(data)
    connection = sqlite3.connect(store)
    connection.execute(f"PRAGMA user_version = {VERSION + 1}")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    before = bytes_of(store)
    assert main(DEMO) == 2
    err = capsys.readouterr().err
    assert "was written by a newer version of playalong" in err
    assert "Takes are kept as files meanwhile, and taken in later." in err
    assert bytes_of(store) == before
    assert len(list((data / "takes").glob("*.mid"))) == 2
    connection = sqlite3.connect(store)
    connection.execute(f"PRAGMA user_version = {VERSION}")
    connection.close()
    assert main(["history", "--simulated"]) == 0
    assert "Taken in: 1 take that was kept as files" in capsys.readouterr().out
    assert count(data) == 2


def test_a_damaged_store_is_set_aside_whole(data, capsys):
    main(DEMO)
    store = store_of(data)
    broken = store.read_bytes()[:100] + b"\xff" * 8000
    for ending in BESIDE:
        store.with_name(store.name + ending).unlink(missing_ok=True)
    store.write_bytes(broken)
    assert main(DEMO) == 2
    assert "is damaged. It was set aside as" in capsys.readouterr().err
    (aside,) = data.glob("simulated-damaged-*.db")
    assert aside.read_bytes() == broken
    assert count(data) == 1


def test_a_store_that_is_gone_is_begun_anew(data, capsys):
    main(DEMO)
    store_of(data).unlink()
    assert main(DEMO) == 0
    assert count(data) == 1


#: Lets no file grow beyond its first argument in bytes, and runs the program with the others.
LIMITED = """
import resource, signal, sys
from playalong.commands.main import main
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]),) * 2)
sys.exit(main(sys.argv[2:]))
"""


@pytest.mark.skipif(os.name != "posix", reason="limits on files are the system's")
def test_a_store_that_cannot_grow_loses_nothing(data, tmp_path):
    main(DEMO)
    store = store_of(data)
    limit = 90_000  # the take and its pictures are smaller, the store and its log are not
    command = [sys.executable, "-c", LIMITED, str(limit), *DEMO]
    done = subprocess.run(command, capture_output=True, text=True, env=dict(os.environ))
    assert done.returncode == 2, done.stderr
    assert f"The store {store} cannot be read or written" in done.stderr
    assert "Takes are kept as files meanwhile" in done.stderr
    database = Database.open(store)
    assert database.integrity() == []
    database.close()
    assert main(DEMO) == 0
    assert count(data) == 3


@pytest.fixture(name="small_disk")
def _disk(tmp_path: Path) -> Iterator[Path]:
    with small_disk(tmp_path / "disk") as place:
        yield place


def fill(path: Path) -> None:
    """Leave no byte on the disk."""
    with path.open("wb", buffering=0) as filler, suppress(OSError):
        while True:
            filler.write(b"x" * 512)


def test_on_a_full_disk_it_is_told_and_the_take_goes_elsewhere(
    small_disk, monkeypatch, tmp_path, capsys
):
    """Store and takes lie on a disk that is full to the last byte; the take goes home."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(small_disk))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    data = UserFolders.of_user().data
    main(DEMO)
    fill(small_disk / "filler")
    capsys.readouterr()
    assert main(DEMO) != 0
    err = capsys.readouterr().err
    assert "Traceback" not in err
    (take,) = (tmp_path / "home").glob("*.mid")
    assert take.stat().st_size > 500
    (small_disk / "filler").unlink()
    database = Memory(folder=data, simulated=True).opened()
    assert database.integrity() == []
    database.close()


def test_a_read_only_disk_is_told(small_disk, monkeypatch, tmp_path, capsys):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("XDG_DATA_HOME", str(small_disk))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    main(DEMO)
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    capsys.readouterr()
    assert main([*DEMO, "--out", str(tmp_path / "out")]) == 0, "kept elsewhere, all is well"
    assert main(["history", "--simulated"]) in (0, 2)
    said = capsys.readouterr()
    assert "Late" in said.out or "may not be written" in said.err or "cannot be" in said.err
    assert main(DEMO) != 0
    assert "Traceback" not in capsys.readouterr().err
    assert list((tmp_path / "home").glob("*.mid"))


@pytest.mark.parametrize("seed", range(6))
def test_a_store_damaged_anywhere_is_told_in_plain_words(data, capsys, seed):
    """SQLite looks after its pages, and not after what lies in them."""
    main(DEMO)
    store = store_of(data)
    chance, broken = Random(seed), bytearray(store.read_bytes())
    for _ in range(20):
        at = chance.randrange(100, len(broken) - 64)
        broken[at : at + 64] = chance.randbytes(64)
    store.write_bytes(broken)
    capsys.readouterr()
    asked = (["history"], ["history", "--json"], ["history", "--run", "1"], ["players"])
    for typed in asked:
        assert main([*typed, "--simulated"]) in (0, 2), capsys.readouterr().err
