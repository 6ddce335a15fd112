"""Files that anybody may have written: read whole, or told why not."""

import os
from pathlib import Path

import pytest

from playalong.support.reading import read_bytes, read_text


def told(path: Path, most: int = 100) -> str:
    with pytest.raises(OSError) as caught:  # noqa: PT011 - its words are looked at
        read_bytes(path, most)
    return str(caught.value.strerror)


def test_a_file_as_large_as_may_be_is_read_and_one_byte_more_is_not(tmp_path):
    path = tmp_path / "file"
    path.write_bytes(b"x" * 100)
    assert read_bytes(path, 100) == b"x" * 100
    path.write_bytes(b"x" * 101)
    assert "is the most" in told(path)


def test_how_large_it_is_is_told(tmp_path):
    path = tmp_path / "file"
    with path.open("wb") as file:
        file.truncate(3_240_000_000)  # a hole: nothing of it is on the disk
    assert told(path, 20_000_000) == "it has 3240 MB, and 20 MB is the most"


def test_a_folder_and_nothing_at_all(tmp_path):
    assert "irectory" in told(tmp_path)
    with pytest.raises(FileNotFoundError):
        read_bytes(tmp_path / "nowhere", 100)
    with pytest.raises(FileNotFoundError):
        read_bytes(Path("no\0where"), 100)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no such pipes")
def test_a_pipe_and_a_device_are_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert told(tmp_path / "pipe") == "it is a device or a pipe, not a file"
    assert told(Path("/dev/zero")) == "it is a device or a pipe, not a file"


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="this system has no such files")
def test_a_file_that_does_not_say_how_long_it_is():
    """Its size is told as 0, by proc(5)."""
    assert read_bytes(Path("/proc/self/stat"), 10_000)
    assert "is the most" in told(Path("/proc/self/stat"), 10)


def test_lines_end_as_in_any_text_of_python(tmp_path):
    path = tmp_path / "file"
    path.write_bytes("ä\r\nb\rc\n".encode())
    assert read_text(path) == path.read_text(encoding="utf-8") == "ä\nb\nc\n"
    path.write_bytes(b"\xff")
    with pytest.raises(UnicodeDecodeError):
        read_text(path)
