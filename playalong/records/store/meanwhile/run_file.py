"""A run in a file of its own, while the store cannot be written.

Nothing older than a second is lost then either: the file is only added to, and each portion is
flushed to the disk. A line is a JSON object: which run it is (in the first), what it says of itself
(there, and where that has changed), when it last said that it goes on, and a portion of messages
as ``runs.packed`` writes them, in hexadecimal digits. A line that was cut off counts for nothing.
"""

import json
import os
import secrets
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playalong.records.store.runs import Message, is_broken_off, packed, unpacked
from playalong.support.errors import UserError
from playalong.support.reading import MOST_MIDI, read_bytes
from playalong.support.system.processes import this_process

#: How such a file is called.
_NAMES = "playalong-*.run"


@dataclass(frozen=True, kw_only=True)
class FiledRun:
    """A run as its file has it; ``process`` is the program that played it.

    ``store`` is the file of the store that it belongs in, ``run`` its number there, None where it
    had not begun in it.
    """

    path: Path
    store: str
    kind: str
    process: str
    run: int | None
    alive_s: float
    info: Mapping[str, Any]
    messages: Sequence[Message]


class RunFile:
    """The file of one run, made when it is first needed, in the first folder that takes it."""

    def __init__(self, folders: Sequence[Path], *, kind: str, store: Path) -> None:
        self.path: Path | None = None
        self.kind = kind
        self._folders = folders
        self._head = {"store": str(store.absolute()), "kind": kind, "process": this_process()}
        #: How many messages are in it, and whether its last line may be cut off.
        self._written, self._is_torn = 0, False
        self._info: Mapping[str, Any] | None = None

    def write(
        self,
        messages: Sequence[Message],
        *,
        alive_s: float,
        run: int | None,
        info: Callable[[], Mapping[str, Any]],
    ) -> bool:
        """Let all ``messages`` of the run so far be on the disk; whether they are."""
        said, now = {"alive_s": alive_s, "run": run}, dict(info())
        changed = {} if now == self._info else {"info": now}
        if self.path is not None and self._add(
            self.path, {**said, **changed}, messages[self._written :]
        ):
            self._written, self._info = len(messages), now
            return True
        before = self.path
        for folder in self._folders:
            path = folder / f"playalong-{time.strftime('%Y-%m-%d')}-{secrets.token_hex(4)}.run"
            with suppress(OSError):
                folder.mkdir(parents=True, exist_ok=True)
            if self._add(path, {**self._head, **said, "info": now}, messages):
                self.path, self._written, self._info = path, len(messages), now
                delete(before)
                return True
            delete(path)
        return False

    def remove(self) -> None:
        """It is not needed any more: all of it is elsewhere."""
        delete(self.path)
        self.path, self._written, self._is_torn = None, 0, False

    def _add(self, path: Path, said: Mapping[str, Any], messages: Sequence[Message]) -> bool:
        line = json.dumps({**said, "messages": packed(messages).hex()}) + "\n"
        try:
            with path.open("ab", buffering=0) as file:
                # What is torn is no line; this one begins on its own.
                data = (b"\n" if self._is_torn and path == self.path else b"") + line.encode()
                self._is_torn = True
                if file.write(data) != len(data):
                    return False
                os.fsync(file.fileno())
        except OSError:
            return False
        self._is_torn = False
        return True


def delete(path: Path | None) -> None:
    """Let a file be gone, if there is one."""
    if path is not None:
        with suppress(OSError):
            path.unlink(missing_ok=True)


def folders(data: Path) -> list[Path]:
    """Where files go while the store in ``data`` cannot be written: the first that takes them."""
    return [data / "unfinished", Path.home(), Path(tempfile.gettempdir())]


def files(folders: Iterable[Path]) -> list[Path]:
    """The files of runs in ``folders``, of this user alone."""
    found = []
    for folder in folders:
        with suppress(OSError):
            found += [path for path in folder.glob(_NAMES) if is_ours(path)]
    return sorted(set(found))


def is_ours(path: Path) -> bool:
    """Whether this user wrote a file: some of the folders are everybody's."""
    if sys.platform == "win32":  # its folders for temporary files are a user's own
        return True
    else:
        try:
            return path.lstat().st_uid == os.getuid()
        except OSError:
            return False


def read(path: Path) -> FiledRun:
    """The run in the file at ``path``; UserError where there is none."""
    try:
        lines = read_bytes(path, MOST_MIDI).splitlines()
    except OSError as error:
        raise UserError(f"{path} cannot be read ({error.strerror or error}).") from None
    said: dict[str, Any] = {}
    messages: list[Message] = []
    for line in lines:
        with suppress(ValueError, TypeError, RecursionError):  # it was cut off
            found = dict(json.loads(line))
            messages += unpacked(bytes.fromhex(found.pop("messages")))
            said.update(found)
    try:
        return FiledRun(
            path=path,
            store=str(said["store"]),
            kind=str(said["kind"]),
            process=str(said["process"]),
            run=None if said["run"] is None else int(said["run"]),
            alive_s=float(said["alive_s"]),
            info={**said["info"], "info": dict(said["info"]["info"])},
            messages=messages,
        )
    except (KeyError, TypeError, ValueError):
        raise UserError(f"{path} is no run of playalong that can be read.") from None


def is_over(found: FiledRun, now_s: float) -> bool:
    """Whether the program that played it has ended; ``now_s`` in seconds since 1970."""
    return is_broken_off(found.alive_s, found.process, now_s)
