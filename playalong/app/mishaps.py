"""What goes wrong beside a run, and does not cost it: drawing, gauges, what is said at a bar line.

Hits are kept as they come, whatever is seen of them. So a mistake of ours in showing them is kept
as well, told once the run is over, and the run goes on.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from playalong.app.mistakes import described, keep_mistake


class Mishaps:
    """The first error of each kind, by what failed."""

    def __init__(self) -> None:
        self.found: dict[str, Exception] = {}

    def add(self, what: str, error: Exception) -> None:
        """``what`` failed with ``error``."""
        self.found.setdefault(what, error)

    @contextmanager
    def kept(self, what: str) -> Iterator[None]:
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
