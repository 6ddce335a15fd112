"""Writing files: whole or not at all, whatever fails, and nothing of others is lost."""

import errno
import os
import pickle
import stat
import subprocess
import sys
import wave
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from playalong.sound.rendering import write_wave
from playalong.support.errors import UserError
from playalong.support.files import FileError, set_aside, write_file, write_new_file, writing

POSIX = pytest.mark.skipif(os.name == "nt", reason="modes and links as POSIX has them")


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@given(st.binary(max_size=100), st.binary(max_size=100))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_is_written_is_there(tmp_path: Path, first: bytes, second: bytes) -> None:
    path = tmp_path / "below" / "new" / "file.bin"
    for data in (first, second):
        write_file(path, data)
        assert path.read_bytes() == data
        assert names(path.parent) == ["file.bin"]


def test_text_is_utf_8_and_ends_lines_as_it_is_written(tmp_path: Path) -> None:
    write_file(tmp_path / "a.txt", "Grüße –\nzwei\n")
    assert (tmp_path / "a.txt").read_bytes() == "Grüße –\nzwei\n".encode()


def test_a_new_file_never_takes_the_place_of_another(tmp_path: Path) -> None:
    (tmp_path / "take-2.mid").write_bytes(b"mine")
    paths = [write_new_file(tmp_path, "take.mid", data) for data in (b"1", b"2", b"3")]
    assert [path.name for path in paths] == ["take.mid", "take-3.mid", "take-4.mid"]
    assert [path.read_bytes() for path in paths] == [b"1", b"2", b"3"]
    assert (tmp_path / "take-2.mid").read_bytes() == b"mine"
    assert len(names(tmp_path)) == 4


def test_what_is_set_aside_keeps_what_was_set_aside_before(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    for data in (b"1", b"2", b"3"):
        path.write_bytes(data)
        assert set_aside(path).read_bytes() == data
    assert names(tmp_path) == ["a.toml.broken", "a.toml.broken-2", "a.toml.broken-3"]
    with pytest.raises(OSError, match="No such file"):
        set_aside(path)
    assert len(names(tmp_path)) == 3


# Failures -----------------------------------------------------------------------------------------


def full(*_: object, **__: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("where", ["open", "fsync", "chmod", "replace"])
def test_a_step_that_fails_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    old = tmp_path / "old.txt"
    old.write_text("old")
    monkeypatch.setattr(os if where == "fsync" else Path, where, full)
    with pytest.raises(FileError) as caught:
        write_file(old, b"new")
    assert str(caught.value) == f"{old} cannot be written (No space left on device)."
    assert caught.value.reason == "No space left on device"
    if where != "chmod":  # a new file has the mode that it is made with
        with pytest.raises(FileError):
            write_file(tmp_path / "new.txt", b"new")
        with pytest.raises(FileError):
            write_new_file(tmp_path, "old.txt", b"new")
    monkeypatch.undo()
    assert names(tmp_path) == ["old.txt"]
    assert old.read_text() == "old"


@pytest.mark.parametrize("error", [KeyboardInterrupt, OSError(errno.EIO, "Input/output error")])
def test_a_block_that_is_left_half_way_leaves_nothing(
    tmp_path: Path, error: BaseException | type[BaseException]
) -> None:
    def write() -> None:
        with writing(tmp_path / "a.txt") as file:
            file.write(b"half")
            file.flush()
            assert len(names(tmp_path)) == 1
            raise error

    with pytest.raises((KeyboardInterrupt, FileError)):
        write()
    assert names(tmp_path) == []


def test_a_folder_that_cannot_be_flushed_is_no_trouble(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "open", full)  # as on Windows, where no folder can be opened
    write_file(tmp_path / "a.txt", "here")
    assert (tmp_path / "a.txt").read_text() == "here"


def test_data_is_on_the_disk_before_it_has_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    steps = []
    fsync, replace = os.fsync, Path.replace

    def flushed(handle: int) -> None:
        is_folder = stat.S_ISDIR(os.fstat(handle).st_mode)
        steps.append("folder" if is_folder else os.fstat(handle).st_size)
        fsync(handle)

    def named(path: Path, target: Path) -> Path:
        steps.append("name")
        return replace(path, target)

    monkeypatch.setattr(os, "fsync", flushed)
    monkeypatch.setattr(Path, "replace", named)
    write_file(tmp_path / "a.txt", b"four")
    assert steps == [4, "name", "folder"] if os.name == "posix" else steps[:2] == [4, "name"]


def test_what_is_in_the_way_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(FileError, match=r"file.a\.txt cannot be written \("):
        write_file(tmp_path / "file" / "a.txt", b"")
    with pytest.raises(FileError, match=r"cannot be written \(Is a directory\)"):
        write_file(tmp_path, b"")
    assert names(tmp_path) == ["file"]


def test_the_error_goes_from_one_process_to_another() -> None:
    error = FileError(Path("a\nb"), "Permission denied")
    assert isinstance(error, UserError)
    again = pickle.loads(pickle.dumps(error))
    assert (str(again), again.reason) == (str(error), "Permission denied")
    assert "\n" not in str(error)


# Modes, links, devices ----------------------------------------------------------------------------


@POSIX
def test_a_new_file_has_the_usual_mode_and_an_old_one_keeps_its_own(tmp_path: Path) -> None:
    usual = tmp_path / "usual"
    usual.touch()
    path = tmp_path / "a.txt"
    write_file(path, b"new")
    assert path.stat().st_mode == usual.stat().st_mode
    path.chmod(0o640)
    write_file(path, b"newer")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


@POSIX
def test_a_link_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    target, link = tmp_path / "real" / "settings.toml", tmp_path / "settings.toml"
    target.write_text("old")
    link.symlink_to(target)
    write_file(link, "new")
    assert link.is_symlink()
    assert target.read_text() == "new"


@POSIX
def test_a_device_and_a_pipe_are_written_as_they_are(tmp_path: Path) -> None:
    write_file(Path(os.devnull), b"nowhere")
    assert not Path(os.devnull).is_file()
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reading = subprocess.Popen(
        [sys.executable, "-c", f"print(open({str(pipe)!r}).read())"], stdout=subprocess.PIPE
    )
    write_file(pipe, b"through")
    assert reading.communicate(timeout=30)[0].strip() == b"through"
    assert names(tmp_path) == ["pipe"]


def test_a_file_that_may_not_be_written_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the system says it of a read-only file; the one who may do anything is not told so."""
    path = tmp_path / "a.txt"
    path.write_text("mine")
    path.chmod(0o444)
    if os.access(path, os.W_OK):
        monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(FileError, match="Permission denied"):
        write_file(path, b"yours")
    assert path.read_text() == "mine"
    path.chmod(0o644)


def test_a_wave_file_that_is_cut_off_leaves_the_one_before(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    write_wave(path, np.zeros((480, 2), np.float32))
    before = path.read_bytes()

    def frames():
        yield np.ones((480, 2), np.float32)
        full()

    with pytest.raises(FileError, match="No space left on device"):
        write_wave(path, frames())
    assert path.read_bytes() == before
    assert names(tmp_path) == ["a.wav"]
    with wave.open(str(path)) as file:
        assert file.getnframes() == 480


def test_a_name_that_is_too_long_keeps_its_beginning_and_its_end(tmp_path: Path) -> None:
    """The usual file systems have room for 255 bytes (NAME_MAX of Linux, limits.h)."""
    for stem in ("groove" * 50, "グルーヴ" * 30, "𝐠" * 100):
        name = f"{stem}-2026-05-04-101112.mid"
        paths = [write_new_file(tmp_path, name, data) for data in (b"1", b"2")]
        for path in paths:
            assert path.name.startswith(stem[:10])
            assert path.name.encode().decode()  # no letter is cut in two
            assert "-2026-05-04-101112" in path.name
            assert path.suffix == ".mid"
        assert [path.read_bytes() for path in paths] == [b"1", b"2"]


@POSIX
def test_text_may_hold_the_name_of_a_file_that_is_no_text(tmp_path: Path) -> None:
    write_file(tmp_path / "a.txt", os.fsdecode(b"take-\xff.mid\n"))
    assert (tmp_path / "a.txt").read_bytes() == b"take-\xff.mid\n"
