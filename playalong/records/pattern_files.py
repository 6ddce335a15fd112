"""Patterns from files: those that come with the program, and a user's own."""

from functools import cache
from pathlib import Path

from playalong.pattern.library.catalogue import Library
from playalong.pattern.model import Pattern, PatternKind
from playalong.pattern.reader import read
from playalong.support import reading, resources
from playalong.support.text import printable


@cache
def library() -> Library:
    """The patterns that come with the program: a folder for each kind."""
    shipped = resources.folder("patterns")
    files = [path for kind in PatternKind for path in (shipped / f"{kind}s").glob("*.toml")]
    return Library({path.stem: path.read_text(encoding="utf-8") for path in files})


def load_pattern(name: str) -> Pattern:
    """The pattern in a file, if ``name`` looks like one, else the one of the library.

    UserError where there is none, or where it is not written right.
    """
    path = Path(name)
    if path.suffix == ".toml" or reading.is_file(path):
        return read(read_text(path), printable(path.stem))
    return library().get(name)


def read_text(path: Path) -> str:
    """The text in the file at ``path``; UserError says why it cannot be had."""
    with reading.telling(path):
        return reading.read_text(path)
