"""What every MIDI input can do, whoever opens it: a library's, or a simulated player's."""

from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True, slots=True, kw_only=True)
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

    def reopen(self) -> bool:
        """Open a port that has gone again, if it can be had; whether it is there. Never waits."""
        ...

    def close(self) -> None:
        """Let go of the port."""
        ...
