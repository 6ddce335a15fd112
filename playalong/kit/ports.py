"""MIDI ports: what they are called, choosing one, and what every port can do.

python-rtmidi carries them; where it does not load (it has no wheel for Python 3.13), pygame's
PortMidi does.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from playalong.plain import PlainError, quoted

NO_PORT = (
    "There is no MIDI port: plug the kit in, switch it on, and try again. "
    "Without a kit, playalong demo lets a simulated player play."
)


class PortError(PlainError):
    """A port that cannot be found or opened."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """One MIDI message: the driver's stamp and when it got here, in seconds, and its bytes.

    ``arrival_s`` is on the program's clock; ``stamp_s`` has any start but the driver's exactness.
    """

    stamp_s: float
    arrival_s: float
    data: bytes


class Port(Protocol):
    """An open MIDI input."""

    name: str

    def poll(self) -> list[Arrival]:
        """What has arrived since the last call; never waits."""
        ...

    def is_there(self) -> bool:
        """Whether the port is still plugged in."""
        ...

    def close(self) -> None:
        """Let go of the port."""
        ...


class Backend(Protocol):
    """A library that knows MIDI ports."""

    def names(self) -> list[str]:
        """The inputs there are."""
        ...

    def open(self, name: str) -> Port:
        """Open the input ``name``; PortError when it will not open."""
        ...


def backend() -> Backend:
    """The library that works here; PortError when none does."""
    try:
        from playalong.kit.rtmidi_port import RtMidiBackend

        return RtMidiBackend()
    except ImportError:
        from playalong.kit.portmidi_port import PortMidiBackend

        return PortMidiBackend()


def port_names() -> list[str]:
    """The names of the MIDI inputs."""
    return backend().names()


def open_port(part: str | None) -> Port:
    """Open the input whose name has ``part`` in it, or the only one; PortError says which."""
    library = backend()
    return library.open(choose(library.names(), part))


def choose(names: Sequence[str], part: str | None) -> str:
    """The one of ``names`` that has ``part`` in it (capitals do not matter), or the only one."""
    if not names:
        raise PortError(NO_PORT)
    listed = ", ".join(f'"{name}"' for name in names)
    fitting = [name for name in names if part is None or part.lower() in name.lower()]
    if part is not None and part in names:
        return part
    if not fitting:
        raise PortError(f"No MIDI port has {quoted(part or '')} in its name; there is {listed}.")
    if len(fitting) > 1:
        raise PortError(f"There are several MIDI ports: choose with --port one of {listed}.")
    return fitting[0]
