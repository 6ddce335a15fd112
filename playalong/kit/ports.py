"""MIDI ports: what they are called, choosing one, and what every port can do.

python-rtmidi carries them; where it does not load (it has no wheel for Python 3.13), pygame's
PortMidi does.
"""

import re
import sys
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol, TypeVar

from playalong.plain import PlainError, quoted

if TYPE_CHECKING:
    from playalong.kit.plugged import PluggedPort

NO_PORT = (
    "There is no MIDI port: plug the kit in, switch it on, and try again. "
    "Without a kit, playalong demo lets a simulated player play."
)

#: What a system puts behind a name, and changes when the cable is plugged in again: the number
#: of client and port on ALSA, the place in the list on Windows.
ALSA_NUMBERS, WINDOWS_NUMBER = r" \d+:\d+$", r" \d+$"
_NUMBERS = WINDOWS_NUMBER if sys.platform == "win32" else ALSA_NUMBERS


class PortError(PlainError):
    """A port that cannot be found or opened."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """One MIDI message: the driver's stamp and when it got here, in seconds, and its bytes.

    ``arrival_s`` is on the program's clock, the same for all that was found waiting together;
    ``stamp_s`` has any start but the driver's exactness, and only stamps of one ``stream`` have
    the same start: a port that was opened again begins another.
    """

    stamp_s: float
    arrival_s: float
    data: bytes
    stream: int = 0


class Port(Protocol):
    """An open MIDI input."""

    name: str

    def poll(self) -> list[Arrival]:
        """What has arrived since the last call; never waits."""
        ...

    def is_there(self) -> bool:
        """Whether the port is still plugged in."""
        ...

    def back(self) -> bool:
        """Open a port that has gone again, if it can be had; whether it is there. Never waits."""
        ...

    def close(self) -> None:
        """Let go of the port."""
        ...


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


def backend() -> Backend[OpenPort]:
    """The inputs of the library that works here."""
    try:
        from playalong.kit.rtmidi_port import RtMidiBackend

        return RtMidiBackend()
    except ImportError:
        from playalong.kit.portmidi_port import PortMidiBackend

        return PortMidiBackend()


def port_names() -> list[str]:
    """The names of the MIDI inputs."""
    with closing(backend()) as library:
        return library.names()


def open_port(part: str | None, remembered: str | None = None) -> "PluggedPort":
    """Open the input whose name has ``part`` in it, or the only one; PortError says which.

    ``remembered`` is the ``name`` of a port that was opened before: it goes before others.
    """
    from playalong.kit.plugged import PluggedPort

    library = backend()
    try:
        return PluggedPort(library, choose(library.names(), part, remembered))
    except PortError:
        library.close()
        raise


def plain_name(name: str, numbers: str = _NUMBERS) -> str:
    """``name`` without what changes when the port is plugged in again."""
    return re.sub(numbers, "", name)


def told_apart(names: Sequence[str]) -> list[str]:
    """``names``, in which one that was there before is told as "(2)", "(3)" ..."""
    seen: Counter[str] = Counter()
    told = []
    for name in names:
        seen[name] += 1
        told.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return told


def plain_names(names: Sequence[str]) -> dict[str, str]:
    """Each of ``names`` by what is remembered of it; ports of one plain name by their order."""
    return dict(zip(told_apart([plain_name(name) for name in names]), names, strict=True))


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
