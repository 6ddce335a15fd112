"""Reading files whole: no larger than makes sense, and never a device or a pipe.

A device may have no end, and a pipe to which nobody writes never answers: neither is opened. How
long a file is, is asked before it is read. All that is wrong is an OSError, as it is for any file,
whose ``strerror`` can be told: "cannot be read: it has 34 MB, and 1 MB is the most".
"""

import errno
import os
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from stat import S_ISDIR, S_ISREG

from playalong.support.errors import UserError

MEGABYTE = 1_000_000

#: The most of a text that people write (a pattern, a profile), and of a Standard MIDI File.
MOST_TEXT, MOST_MIDI = MEGABYTE, 20 * MEGABYTE


def read_bytes(path: Path, most: int) -> bytes:
    """What is in the file at ``path``, ``most`` bytes at the most; OSError where it cannot be."""
    refuse_other_than_file(path)
    with path.open("rb") as file:
        size = os.fstat(file.fileno()).st_size
        data = file.read(most + 1) if size <= most else b""
    if max(size, len(data)) > most:
        message = f"it has {_megabytes(max(size, len(data)))}, and {_megabytes(most)} is the most"
        raise OSError(errno.EFBIG, message)
    return data


@contextmanager
def telling(path: Path, error: type[UserError] = UserError) -> Iterator[None]:
    """What goes wrong while the file at ``path``, which a user named, is read: an ``error``."""
    try:
        yield
    except (FileNotFoundError, NotADirectoryError):
        raise error(f"There is no file {path}: check the name and the folder.") from None
    except IsADirectoryError:
        raise error(f"{path} is a folder: name the file in it.") from None
    except PermissionError:
        raise error(f"{path} may not be read: check its permissions.") from None
    except UnicodeDecodeError:
        raise error(f"{path} is no text in UTF-8: save it so in the editor.") from None
    except OSError as problem:
        raise error(f"{path} cannot be read: {problem.strerror or problem}.") from None


def refuse_other_than_file(path: Path) -> None:
    """OSError where there is nothing at ``path``, or a folder, a device or a pipe."""
    try:
        mode = path.stat().st_mode
    except ValueError:  # a name that no file can have
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT)) from None
    if S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if not S_ISREG(mode):
        raise OSError(errno.EINVAL, "it is a device or a pipe, not a file")


def read_text(path: Path, most: int = MOST_TEXT) -> str:
    """The text in UTF-8 in the file at ``path``; OSError as above, UnicodeDecodeError besides."""
    return read_bytes(path, most).decode("utf-8").replace("\r\n", "\n").replace("\r", "\n")


def is_file(path: Path) -> bool:
    """Whether there is a file; a name that no file can have has none, however long it is."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def is_folder(path: Path) -> bool:
    """Whether there is a folder; as above."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def files_below(folder: Path, endings: Collection[str]) -> list[Path]:
    """The files in a folder and its folders that end so (in small letters), sorted.

    Hidden ones are left out: some systems lay one beside each file. So are folders that may not be
    read, and what goes away meanwhile.
    """
    return [path for path in named_below(folder, endings) if is_file(path)]


def named_below(folder: Path, endings: Collection[str]) -> list[Path]:
    """The same, with what only has the name of such a file: a pipe, a device, a link to nowhere."""
    return sorted(
        Path(where, name)
        for where, _, names in os.walk(folder)
        for name in names
        if not name.startswith(".") and Path(name).suffix.lower() in endings
    )


def _megabytes(size: int) -> str:
    return f"{max(size / MEGABYTE, 0.1):.1f}".removesuffix(".0") + " MB"
