"""The result of an assessment: one file, a zip of plain files, that anybody can open.

=====================  =============================================================================
result.json            who played what when, on which kit, in which runs, and what it came to
assessment.toml        the assessment as it was
patterns/NN.toml       its patterns, in the order of ``result.json``
calibration.toml       the profile of kit and player; not there where a simulated player played
calibration-N.toml     the same, where it became another one in the course of a sitting (N from 2)
takes/NN-aN.mid        the raw take of each attempt (``a``) at item NN, and rehearsal (``r``)
grades/NN-aN.json      its grade, as ``playalong grade --json`` prints it
digests.json           SHA-256 of each file above, in hexadecimal digits, by name
=====================  =============================================================================

It is packed in one way only: the files in the order of their names, stored, all of one date. So a
file of which a single byte has changed is known, wherever that is.

What is read may come from anybody. Nothing is ever written to a path that stands in it; a link, a
device, a folder, a name that is not one of those above, and what is larger than a sitting can be
are refused before anything of it is unpacked.
"""

import json
import re
import stat
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

from playalong.support.errors import UserError
from playalong.support.reading import telling
from playalong.support.text import printable

RESULT, ASSESSMENT = "result.json", "assessment.toml"
DIGESTS = "digests.json"

#: The number of the form above: it rises where a file goes or changes its meaning.
FORMAT = 1

#: What a result may be, in bytes and files: a long take is some 200 kB, and a sitting with hundreds
#: of runs some megabytes.
MOST_BYTES, MOST_FILES, MOST_OF_ONE = 64_000_000, 4_000, 8_000_000

#: So many runs are packed into one at most: of homework that was played more often, the best stay.
MOST_RUNS = 1_000

_NAME = re.compile(
    r"result\.json|assessment\.toml|calibration(-\d{1,4})?\.toml|digests\.json"
    r"|patterns/\d{2,3}\.toml|takes/\d{2}-[ar]\d{1,6}\.mid|grades/\d{2}-[ar]\d{1,6}\.json",
    re.ASCII,
)

#: Of the methods of the format, those that every zip program uses.
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)

#: Bits of a file's flags: its bytes are encrypted.
_ENCRYPTED = 0x1

#: The first date that the format knows: a file says nothing by its own.
_DATE = (1980, 1, 1, 0, 0, 0)


class ResultError(UserError):
    """A result that cannot be read, or must not be."""


@dataclass(frozen=True, slots=True)
class Unpacked:
    """The files of a result, by name; ``changed`` says in words what is no longer as written."""

    files: Mapping[str, bytes]
    changed: tuple[str, ...]


def calibration_name(number: int) -> str:
    """The name of the calibration of this number (1 is the first)."""
    return "calibration.toml" if number == 1 else f"calibration-{number}.toml"


def digest(data: bytes) -> str:
    """The SHA-256 of ``data`` in hexadecimal digits."""
    return sha256(data).hexdigest()


def packed(files: Mapping[str, bytes]) -> bytes:
    """A result of ``files``, by name, with the digests of all of them."""
    own = {name: data for name, data in files.items() if name != DIGESTS}
    digests = {name: digest(data) for name, data in sorted(own.items())}
    return _zipped({**own, DIGESTS: json.dumps(digests, indent=1).encode()})


def _zipped(files: Mapping[str, bytes]) -> bytes:
    data = BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_STORED) as archive:
        for name, content in sorted(files.items()):
            entry = zipfile.ZipInfo(name, _DATE)
            entry.create_system, entry.external_attr = 3, 0o100644 << 16
            archive.writestr(entry, content)
    return data.getvalue()


def read_result(path: Path) -> Unpacked:
    """The result in the file at ``path``; ResultError says why it is none, or must not be read."""
    data = _bytes_of(path)
    try:
        files = _files_in(path, data)
    except (zipfile.BadZipFile, zlib.error, EOFError, ValueError, RuntimeError, OSError):
        raise ResultError(
            f"{path} is no result, or is damaged: it cannot be unpacked. Copy it once more."
        ) from None
    for name in (RESULT, ASSESSMENT):
        if name not in files:
            raise ResultError(f"{path} is no result of an assessment: {name} is missing in it.")
    return Unpacked(files, tuple(_changes(data, files)))


def _bytes_of(path: Path) -> bytes:
    with telling(path, ResultError):
        found = path.lstat()
        if stat.S_ISLNK(found.st_mode):
            raise ResultError(f"{path} is a link: name the result itself.")
        if not stat.S_ISREG(found.st_mode):
            raise ResultError(f"{path} is no ordinary file: name a result.")
        if found.st_size > MOST_BYTES:
            raise ResultError(f"{path} is larger than a result can be ({found.st_size:,} bytes).")
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise ResultError(f"{path} is larger than a result can be.")
    return data


def _files_in(path: Path, data: bytes) -> dict[str, bytes]:
    files: dict[str, bytes] = {}
    with zipfile.ZipFile(BytesIO(data)) as archive:
        entries = archive.infolist()
        if len(entries) > MOST_FILES:
            raise ResultError(f"{path} holds {len(entries):,} files: that is no result.")
        for entry in entries:
            _check(path, entry, files)
        if sum(entry.file_size for entry in entries) > MOST_BYTES:
            raise ResultError(f"{path} would unpack to more than a result can be.")
        room = MOST_BYTES
        for entry in entries:
            with archive.open(entry) as file:
                content = file.read(min(MOST_OF_ONE, room) + 1)
            room -= len(content)
            if len(content) > MOST_OF_ONE or room < 0:
                raise ResultError(f"{path} would unpack to more than a result can be.")
            files[entry.filename] = content
    return files


def _check(path: Path, entry: zipfile.ZipInfo, files: dict[str, bytes]) -> None:
    """ResultError for a file that no result holds."""
    name = printable(entry.filename)
    if not _NAME.fullmatch(entry.filename):
        raise ResultError(f'{path} holds "{name[:80]}", which is no file of a result: refused.')
    if entry.filename in files:
        raise ResultError(f"{path} holds {name} twice: refused.")
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if kind not in (0, stat.S_IFREG):
        raise ResultError(f"{path} holds {name} as a link or a device: refused.")
    if entry.flag_bits & _ENCRYPTED or entry.compress_type not in _METHODS:
        raise ResultError(f"{path} holds {name} encrypted or packed in a way of its own: refused.")
    if entry.file_size > MOST_OF_ONE:
        raise ResultError(f"{path} holds {name} with {entry.file_size:,} bytes: refused.")
    files[entry.filename] = b""


def _changes(data: bytes, files: Mapping[str, bytes]) -> list[str]:
    """What of a result is not as it was written, in words."""
    digests = plain_of(files.get(DIGESTS, b""))
    if not digests:
        return ["The list of digests is missing or damaged."]
    others = {name: content for name, content in files.items() if name != DIGESTS}
    changed = [
        f"{name} has been changed since the result was written."
        for name, content in others.items()
        if name in digests and digests[name] != digest(content)
    ]
    changed += [f"{name} has been added." for name in others if name not in digests]
    changed += [f"{printable(name)} is gone." for name in digests if name not in others]
    if not changed and packed(others) != data:
        changed.append(
            "The file was packed anew by another program; what is in it is as it was written."
        )
    return changed


def plain_of(data: bytes) -> dict[str, Any]:
    """A JSON object; empty for anything else."""
    try:
        found = json.loads(data)
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}
