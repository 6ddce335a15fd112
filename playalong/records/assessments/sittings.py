"""A sitting that goes on: a folder with all that a result will hold, written as it comes.

So a program that ends before the sitting does loses nothing: the folder is read again, and the
sitting goes on. When it is over the folder becomes the result.
"""

import json
import shutil
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from playalong.records.assessments.results import ASSESSMENT, packed, plain_of
from playalong.support.files import write_file, write_new_file

#: What is needed to go on, beside the files of the result.
_PROGRESS = "progress.json"

#: So much of a name is in that of a file.
_KNOWN_BY = 40


def file_stem(name: str) -> str:
    """Letters and digits of ``name``, fit for the name of a file on every system."""
    safe = "".join(char if char.isalnum() else "-" for char in name)[:_KNOWN_BY]
    return "-".join(filter(None, safe.split("-")))


@dataclass(frozen=True, slots=True)
class SittingFolder:
    """The folder of one player's sitting with one assessment."""

    path: Path

    @classmethod
    def of(
        cls, folder: Path, text: str, player: str, *, is_simulated: bool = False
    ) -> "SittingFolder":
        """That of ``player`` with the assessment written in ``text``, below ``folder``.

        Somebody simulated who plays in a name never goes on with what a person of that name began.
        """
        whole = f"{text}\0{player}\0simulated" if is_simulated else f"{text}\0{player}"
        key = sha256(whole.encode()).hexdigest()[:16]
        return cls(folder / f"{file_stem(player) or 'player'}-{key}")

    def progress(self) -> dict[str, Any]:
        """What was kept to go on, empty where there is nothing."""
        try:
            return plain_of((self.path / _PROGRESS).read_bytes())
        except OSError:
            return {}

    def keep_progress(self, plain: Mapping[str, Any]) -> None:
        """Keep what is needed to go on; FileError where it cannot be."""
        write_file(self.path / _PROGRESS, json.dumps(plain))

    def keep(self, name: str, data: bytes) -> None:
        """Keep a file of the result; FileError where it cannot be."""
        write_file(self.path / name, data)

    def files(self) -> dict[str, bytes]:
        """The files of the result so far, by name."""
        return {
            path.relative_to(self.path).as_posix(): path.read_bytes()
            for path in sorted(self.path.rglob("*"))
            if path.is_file() and path.name != _PROGRESS and not path.name.startswith(".")
        }

    def has_begun(self) -> bool:
        """Whether there is anything."""
        return (self.path / ASSESSMENT).is_file()

    def clear(self) -> None:
        """Leave nothing of it."""
        with suppress(OSError):
            shutil.rmtree(self.path)


def write_result(folder: Path, name: str, files: Mapping[str, bytes]) -> Path:
    """Write the result of ``files`` into ``folder`` under a new name; FileError if it cannot be."""
    return write_new_file(folder, f"{name}.zip", packed(files))
