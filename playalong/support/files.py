"""Writing files: all that the program keeps is written here, whole or not at all.

A file is written under another name in the same folder, flushed to the disk, and then given its
name. Whatever goes wrong before, nothing is left of it, and a file that was there stands as it was.
A link is followed; a device or a pipe is written as it is; a file that may not be written stays.
"""

import errno
import os
import shutil
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from secrets import token_hex
from typing import IO

from playalong.support.errors import UserError

#: So much of a file's name is in that of its draft: enough to know it, never too long.
_KNOWN_BY = 40

#: No name of a new file takes more bytes: every system has room for it, and for what is put behind.
LONGEST_NAME, _END_OF_NAME = 160, 30


class FileError(UserError):
    """A file that cannot be written; ``reason`` is what the system says."""

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(f"{path} cannot be written ({reason}).")
        self.path, self.reason = path, reason

    def __reduce__(self) -> tuple[type["FileError"], tuple[Path, str]]:
        return FileError, (self.path, self.reason)


def write_file(path: Path, data: bytes | str) -> None:
    """Write ``data``, text as UTF-8, to ``path``; FileError where that cannot be."""
    with writing(path) as file:
        file.write(_as_bytes(data))


def write_new_file(folder: Path, name: str, data: bytes | str) -> Path:
    """Write ``data``, text as UTF-8, into ``folder``; returns the path. FileError as above.

    Nothing is written over: where the name is taken, a number is put behind its stem. Of a name
    that is too long the beginning and the end are kept.
    """
    path = folder / short_name(name)
    with _file_errors(path), _draft(path) as (draft, file):
        file.write(_as_bytes(data))
        _finish(file)
        free = _free(
            path if number == 1 else path.with_stem(f"{path.stem}-{number}") for number in count(1)
        )
        try:
            draft.replace(free)
        except OSError:
            free.unlink()
            raise
        _flush_folder(folder)
        return free


def short_name(name: str, longest: int = LONGEST_NAME) -> str:
    """``name`` for a file, in so many bytes at the most: its beginning, its end, and its ending."""
    data = os.fsencode(name)
    if len(data) <= longest:
        return name
    head, tail = data[: longest - _END_OF_NAME], data[-_END_OF_NAME:]
    return head.decode(errors="ignore") + tail.decode(errors="ignore")


@contextmanager
def writing(path: Path) -> Iterator[IO[bytes]]:
    """A binary file that becomes the one at ``path`` at the end of the block; FileError as above.

    Where the block raises, an OSError in it is taken for one of writing.
    """
    with _file_errors(path):
        target = path.resolve() if path.is_symlink() else path
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if target.exists() and not target.is_file():  # a device, a pipe
            with target.open("wb") as device:
                yield device
            return
        mode = target.stat().st_mode if target.exists() else None
        if mode is not None and not os.access(target, os.W_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        with _draft(target) as (draft, file):
            yield file
            _finish(file)
            if mode is not None:
                draft.chmod(mode & 0o7777)
            draft.replace(target)
            _flush_folder(target.parent)


class NewFolder:
    """A folder of many new files: all of them, or nothing; see ``writing_folder``.

    One file flushed after the other takes minutes for thousands: a disk writes many in the time of
    one where they are asked for together.
    """

    def __init__(self, draft: Path) -> None:
        self._draft = draft
        self._pool = ThreadPoolExecutor(_AT_ONCE)
        self._pending: deque[Future[None]] = deque()
        self.files: list[str] = []

    def write(self, name: str, data: bytes | str) -> None:
        """Write ``data``, text as UTF-8, to ``name`` below the folder."""
        path = self._draft / name
        path.parent.mkdir(parents=True, exist_ok=True)
        while len(self._pending) >= _WAITING:
            self._pending.popleft().result()
        self._pending.append(self._pool.submit(_write_flushed, path, _as_bytes(data)))
        self.files.append(name)

    def finish(self) -> None:
        """Wait until all that was written is on the disk."""
        while self._pending:
            self._pending.popleft().result()

    def close(self) -> None:
        """Write no more."""
        self._pool.shutdown(cancel_futures=True)


#: So many files are written at once, and so many more may wait for it.
_AT_ONCE, _WAITING = 16, 256


def _write_flushed(path: Path, data: bytes) -> None:
    with path.open("wb") as file:
        file.write(data)
        _finish(file)


@contextmanager
def writing_folder(folder: Path) -> Iterator[NewFolder]:
    """A folder that is there, with all that is written into it, at the end of the block.

    Where the block raises nothing is left of it. FileError where it cannot be written; one that is
    there already must be empty.
    """
    with _file_errors(folder):
        draft = folder.with_name(f".{short_name(folder.name, _KNOWN_BY)}-{token_hex(4)}.part")
        _make(folder.absolute().parent)
        draft.mkdir()
        new = NewFolder(draft)
        try:
            yield new
            new.finish()
            if folder.is_dir():
                folder.rmdir()  # an empty one gives way
            draft.rename(folder)
            _flush_folder(folder.parent)
        finally:
            new.close()
            shutil.rmtree(draft, ignore_errors=True)


def set_aside(path: Path) -> Path:
    """Give the file at ``path``, which cannot be used, a name that nothing has; returns it.

    OSError where that cannot be: the file is then still where it was.
    """
    names = (f"{path.name}.broken{'' if number == 1 else f'-{number}'}" for number in count(1))
    aside = _free(path.with_name(name) for name in names)
    try:
        path.replace(aside)
    except OSError:
        aside.unlink()
        raise
    return aside


@contextmanager
def _file_errors(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise FileError(path, error.strerror or str(error)) from None


@contextmanager
def _draft(path: Path) -> Iterator[tuple[Path, IO[bytes]]]:
    """A new file beside ``path``, under another name; it is gone at the end, or has moved."""
    _make(path.parent)
    draft = path.with_name(f".{path.name[:_KNOWN_BY]}-{token_hex(4)}.part")
    try:
        with draft.open("xb") as file:
            yield draft, file
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)


def _make(folder: Path) -> None:
    """Make a folder that is not there, but none at the root: there it is a slip of the pen."""
    folder = folder.absolute()
    nearest = next(one for one in (folder, *folder.parents) if one.exists() or one == one.parent)
    if nearest != folder and nearest == nearest.parent:
        missing = nearest / folder.relative_to(nearest).parts[0]
        raise FileNotFoundError(errno.ENOENT, f"there is no folder {missing}: make it first")
    folder.mkdir(parents=True, exist_ok=True)


def _finish(file: IO[bytes]) -> None:
    """Let what was written be on the disk, and close: some systems rename no open file."""
    file.flush()
    os.fsync(file.fileno())
    file.close()


def _flush_folder(folder: Path) -> None:
    """Let a new name be on the disk, where a system can be asked for that."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _free(paths: Iterable[Path]) -> Path:
    """The first of ``paths`` that nothing has, taken by an empty file."""
    for path in paths:
        with suppress(FileExistsError):
            path.open("xb").close()
            return path
    raise AssertionError("there is no end of names")


def _as_bytes(data: bytes | str) -> bytes:
    # What is a file's name may have bytes in it that are no text.
    return data.encode(errors="surrogateescape") if isinstance(data, str) else data
