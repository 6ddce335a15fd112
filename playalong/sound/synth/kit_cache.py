"""The drum kit's rendered sounds, kept in the user's cache: made once, read from then on.

A file for each voice and rate, in numpy's own format for several arrays: those of the voice's
layers, and the key of what made them. Where the key is another, the file counts as not there, and
the next to make the voice writes it anew. Such a file is a convenience only: whatever is wrong with
it, or with the folder, the sounds are made instead, the same to the last bit.
"""

import platform
from collections.abc import Sequence
from contextlib import suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from playalong.support.files import FileError, writing


def key(figures: object, *sources: str) -> str:
    """What stands for all that makes a voice: its ``figures`` and the modules in ``sources``.

    ``figures`` must show all of themselves in their ``repr``; ``sources`` are the paths of the
    files. numpy and the processor count too: other ones may round the last bit another way.
    """
    made_by = sha256(f"{figures!r} {np.__version__} {platform.machine()}".encode())
    for source in sources:
        made_by.update(Path(source).read_bytes())
    return made_by.hexdigest()


def read(voice: str, rate: int, made_by: str) -> tuple[NDArray[Any], ...] | None:
    """The arrays of ``voice`` at ``rate`` made by this key, each (n,); None where not kept."""
    try:
        with np.load(_path(voice, rate), allow_pickle=False) as stored:
            if str(stored["key"]) != made_by:
                return None
            return tuple(stored[f"arr_{number}"] for number in range(len(stored.files) - 1))
    except Exception:
        # A file of any content raises errors of many kinds; each means the same here.
        return None


def write(voice: str, rate: int, made_by: str, *, arrays: Sequence[NDArray[Any]]) -> None:
    """Keep the arrays of ``voice``, whole or not at all; nothing where it cannot be done."""
    path = _path(voice, rate)
    with suppress(FileError), writing(path) as file:
        np.savez(file, *arrays, key=np.array(made_by))


def folder() -> Path:
    """Where the sounds are kept."""
    import platformdirs

    return platformdirs.user_cache_path("playalong") / "drums"


def _path(voice: str, rate: int) -> Path:
    return folder() / f"{voice}-{rate}.npz"
