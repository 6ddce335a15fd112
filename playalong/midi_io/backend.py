"""What a library of MIDI ports gives, and what ports are called."""

import re
import sys
from collections import Counter
from collections.abc import Sequence
from typing import Protocol, TypeVar

from playalong.midi.port import Arrival
from playalong.support.errors import UserError
from playalong.support.text import quoted

NO_PORT = (
    "There is no MIDI port: plug the kit in, switch it on, and try again. "
    "Without a kit, playalong demo lets a simulated player play."
)

#: What a system puts behind a name, and changes when the cable is plugged in again: the number
#: of client and port on ALSA, the place in the list on Windows.
ALSA_NUMBERS, WINDOWS_NUMBER = r" \d+:\d+$", r" \d+$"
_NUMBERS = WINDOWS_NUMBER if sys.platform == "win32" else ALSA_NUMBERS


class PortError(UserError):
    """A port that cannot be found or opened."""


class Closes(Protocol):
    """Something that is let go of."""

    def close(self) -> None:
        """Let go of it."""
        ...


Opened = TypeVar("Opened", bound=Closes, covariant=True)


class OpenPort(Closes, Protocol):
    """An input as a library gives it."""

    def poll(self) -> list[Arrival]:
        """What has arrived since the last call, or before it was closed; never waits."""
        ...


class Backend(Protocol[Opened]):
    """The inputs, or the outputs, that a library knows. No two names are the same."""

    def names(self) -> list[str]:
        """Those there are now; soon told, and always by the same client of the MIDI system."""
        ...

    def open(self, name: str) -> Opened:
        """Open ``name``; PortError when it will not open."""
        ...

    def close(self) -> None:
        """Let go of the MIDI system; what was opened is closed already."""
        ...


def plain_name(name: str, numbers: str = _NUMBERS) -> str:
    """``name`` without what changes when the port is plugged in again."""
    return re.sub(numbers, "", name)


def distinct_names(names: Sequence[str]) -> list[str]:
    """``names``, in which one that was there before ends in "(2)", "(3)" ..."""
    seen: Counter[str] = Counter()
    distinct = []
    for name in names:
        seen[name] += 1
        distinct.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return distinct


def plain_names(names: Sequence[str]) -> dict[str, str]:
    """Each of ``names`` by what is remembered of it; ports of one plain name by their order."""
    return dict(zip(distinct_names([plain_name(name) for name in names]), names, strict=True))


def choose(names: Sequence[str], part: str | None, remembered: str | None = None) -> str:
    """The one of ``names`` that has ``part`` in it (capitals do not matter), or the only one.

    Of several it is the ``remembered`` one, by its plain name.
    """
    if not names:
        raise PortError(NO_PORT)
    listed = ", ".join(f'"{name}"' for name in names)
    fitting = [name for name in names if part is None or part.lower() in name.lower()]
    if part is not None and part in names:
        return part
    if not fitting:
        raise PortError(f"No MIDI port has {quoted(part or '')} in its name; there is {listed}.")
    known = plain_names(names).get(remembered or "")
    if known in fitting:
        return known
    if len(fitting) > 1:
        raise PortError(f"There are several MIDI ports: choose with --port one of {listed}.")
    return fitting[0]
