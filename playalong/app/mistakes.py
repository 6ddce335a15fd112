"""Mistakes of the program itself: said in one line, and kept in a file for whoever mends it.

Hits are kept as they come, whatever is seen of them. So a mistake in showing a run (drawing, the
gauges, what is said at a bar line) costs it nothing: it is told once the run is over.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from traceback import format_exception

from playalong.support.errors import UserError
from playalong.support.files import write_new_file
from playalong.support.folders import user_data


def described(error: Exception) -> str:
    """What happened, in a word."""
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__


def keep_mistake(error: Exception) -> str:
    """Keep the traceback in the user's data folder; a sentence on where, "" where it cannot be."""
    details = "".join(format_exception(error))
    folder = user_data() / "mistakes"
    try:
        path = write_new_file(folder, f"{datetime.now():%Y-%m-%d-%H%M%S}.txt", details)
    except UserError:
        return ""
    return f"What helps to mend it is in {path}"


class Mishaps:
    """The first error of each kind, by what failed."""

    def __init__(self) -> None:
        self.found: dict[str, Exception] = {}

    def add(self, what: str, error: Exception) -> None:
        """``what`` failed with ``error``."""
        self.found.setdefault(what, error)

    @contextmanager
    def catching(self, what: str) -> Iterator[None]:
        """Go on after what fails here."""
        try:
            yield
        except Exception as error:
            self.add(what, error)


def mishap_lines(found: Mapping[str, Exception]) -> list[str]:
    """What went wrong beside a run, in words; what helps to mend it is kept."""
    return [
        f"The program made a mistake with {what} ({described(error)}); all that was played is "
        f"kept. {keep_mistake(error)}".rstrip()
        for what, error in found.items()
    ]
