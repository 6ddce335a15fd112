"""Results from anybody: what must not be read is refused in a plain line; nothing is written."""

import os
import stat
import struct
import zipfile
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest

from playalong.records.assessments import results
from playalong.records.assessments.results import (
    MOST_BYTES,
    MOST_OF_ONE,
    ResultError,
    packed,
    read_result,
)

FILES = {
    "result.json": b"{}",
    "assessment.toml": b'title = "A"',
    "takes/01-a1.mid": b"MThd",
    "grades/01-a1.json": b"{}",
}


def zipped(*more: tuple[zipfile.ZipInfo | str, bytes], method: int = zipfile.ZIP_STORED) -> bytes:
    data = BytesIO()
    with zipfile.ZipFile(data, "w", method) as archive:
        for name, content in (*FILES.items(), *more):
            archive.writestr(name, content)
    return data.getvalue()


def entry(name: str, kind: int) -> zipfile.ZipInfo:
    found = zipfile.ZipInfo(name)
    found.create_system, found.external_attr = 3, (kind | 0o644) << 16
    return found


def lying_size() -> bytes:
    """A take that says it has 10 bytes, and unpacks to a hundred million."""
    data = zipped(("takes/01-a2.mid", bytes(100_000_000)), method=zipfile.ZIP_DEFLATED)
    size = struct.pack("<I", 100_000_000)
    assert data.count(size) == 2
    return data.replace(size, struct.pack("<I", 10))


HOSTILE: dict[str, Callable[[], bytes]] = {
    "up and away": lambda: zipped(("../../x", b"x")),
    "from the root": lambda: zipped(("/etc/x", b"x")),
    "with a backslash": lambda: zipped(("takes\\..\\x.mid", b"x")),
    "a drive": lambda: zipped(("C:x", b"x")),
    "a folder": lambda: zipped(("takes/", b"")),
    "a program": lambda: zipped(("takes/01-a2.exe", b"x")),
    "a name with a line in it": lambda: zipped(("takes/01-a2.mid\nx", b"x")),
    "digits of another script": lambda: zipped(("takes/٠١-a1.mid", b"x")),
    "a link": lambda: zipped((entry("takes/01-a2.mid", stat.S_IFLNK), b"/etc/passwd")),
    "a device": lambda: zipped((entry("takes/01-a2.mid", stat.S_IFCHR), b"")),
    "a pipe": lambda: zipped((entry("takes/01-a2.mid", stat.S_IFIFO), b"")),
    "a bomb": lambda: zipped(
        *((f"takes/01-a{n}.mid", bytes(MOST_OF_ONE)) for n in range(2, 12)),
        method=zipfile.ZIP_DEFLATED,
    ),
    "a bomb that lies": lying_size,
    "a take of a gigabyte": lambda: zipped(("takes/01-a2.mid", bytes(MOST_OF_ONE + 1))),
    "packed with LZMA": lambda: zipped(("takes/01-a2.mid", b"x"), method=zipfile.ZIP_LZMA),
    "four thousand files": lambda: zipped(*((f"takes/01-a{n}.mid", b"") for n in range(2, 4_100))),
    "nothing": lambda: b"",
    "no zip": lambda: b"MThd" * 100,
    "half a zip": lambda: zipped()[:-40],
    "another zip": lambda: zipped()[200:],
}


@pytest.mark.parametrize("name", HOSTILE)
def test_what_must_not_be_read_is_refused_in_a_plain_line(name: str, tmp_path: Path) -> None:
    path = tmp_path / "a folder" / "result.zip"
    path.parent.mkdir()
    path.write_bytes(HOSTILE[name]())
    with pytest.raises(ResultError) as told:
        read_result(path)
    (line,) = told.value.lines
    assert line.startswith(str(path))
    assert "Traceback" not in line
    assert line.isprintable()
    assert len(line) < len(str(path)) + 200
    assert sorted(tmp_path.rglob("*")) == [path.parent, path], "nothing is written"


def test_a_name_twice_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "twice.zip"
    with pytest.warns(UserWarning, match="Duplicate"):
        path.write_bytes(zipped(("result.json", b"{}")))
    with pytest.raises(ResultError, match="twice"):
        read_result(path)


@pytest.mark.skipif(os.name == "nt", reason="links and devices of POSIX")
def test_links_devices_pipes_and_folders_are_no_results(tmp_path: Path) -> None:
    good = tmp_path / "good.zip"
    good.write_bytes(packed(FILES))
    link, pipe = tmp_path / "link.zip", tmp_path / "pipe.zip"
    link.symlink_to(good)
    os.mkfifo(pipe)
    for path in (link, pipe, tmp_path, Path("/dev/zero"), tmp_path / "none.zip"):
        with pytest.raises(ResultError) as told:
            read_result(path)
        assert len(told.value.lines) == 1
    huge = tmp_path / "huge.zip"
    with huge.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(ResultError, match="larger than a result can be"):
        read_result(huge)


def test_packed_is_the_same_every_time_and_read_again(tmp_path: Path) -> None:
    data = packed(FILES)
    assert data == packed(dict(reversed(FILES.items())))
    path = tmp_path / "good.zip"
    path.write_bytes(data)
    found = read_result(path)
    assert found.changed == ()
    assert {name: found.files[name] for name in FILES} == FILES
    with zipfile.ZipFile(path) as archive:  # the standard library's own check of every file
        assert archive.testzip() is None
        assert all(info.compress_type == zipfile.ZIP_STORED for info in archive.infolist())


def test_a_missing_part_is_told_by_its_name(tmp_path: Path) -> None:
    path = tmp_path / "part.zip"
    path.write_bytes(packed({"assessment.toml": b""}))
    with pytest.raises(ResultError, match=r"result\.json is missing"):
        read_result(path)


def test_the_room_that_is_left_is_kept_to(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(results, "MOST_BYTES", 1000)
    path = tmp_path / "much.zip"
    path.write_bytes(packed({**FILES, "takes/01-a2.mid": bytes(900)}))
    with pytest.raises(ResultError, match="larger than a result"):
        read_result(path)
