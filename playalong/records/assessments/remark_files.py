"""The teacher's word on a result, in a file of its own beside it."""

from pathlib import Path

import tomlkit

from playalong.practice.assessment.remarks import Remark, read
from playalong.records.assessments.results import digest
from playalong.records.pattern_files import read_text
from playalong.support.files import write_file

_HEAD = "# A teacher's word on the result beside this file. You may change it.\n\n"


def remark_path(result: Path) -> Path:
    """Where the word on ``result`` stands."""
    return result.with_name(f"{result.stem}.remark.toml")


def read_remark(result: Path, items: int) -> tuple[Remark, str]:
    """What is said of ``result``, which has so many items; and a word where it is of another.

    RemarkError where it is not written right; nothing is said where there is no such file.
    """
    path = remark_path(result)
    if not path.is_file() or path.is_symlink():
        return Remark(), ""
    found = read(read_text(path), path.name, items)
    if found.result != digest(result.read_bytes()):
        return found, f"{path.name} was written on another result than this one."
    return found, ""


def write_remark(result: Path, remark: Remark) -> Path:
    """Keep what is said of ``result``; the path of the file. FileError where it cannot be."""
    path = remark_path(result)
    text = tomlkit.dumps(remark.as_plain())
    write_file(path, _HEAD + text)
    return path
