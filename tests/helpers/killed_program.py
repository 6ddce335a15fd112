"""The program with somebody at a made-up kit, to be killed: python -m tests.helpers.killed_program.

The first argument is a file to which each stroke is written when it is handed to the program, with
the seconds since 1970, those of simulated players too; the others are what is typed after
``playalong``.
"""

import sys
import time
from collections.abc import Iterator
from pathlib import Path

from playalong.app import kit_port
from playalong.commands.main import main
from playalong.midi.messages import NOTE_ON, kind_of
from playalong.midi.port import Arrival
from playalong.simulation.player import SimulatedPort

#: From one stroke to the next.
EVERY_S = 0.05


class Drummer:
    """A port on which a snare is struck ten times a second or more; see ``midi.port.Port``."""

    name = "made-up kit"

    def __init__(self, log: Path) -> None:
        self._log = log.open("a", buffering=1, encoding="ascii")
        self._next_s = time.perf_counter()
        self._sent = 0

    def poll(self) -> list[Arrival]:
        """The strokes that are due."""
        return list(self._due(time.perf_counter()))

    def _due(self, now_s: float) -> Iterator[Arrival]:
        while self._next_s <= now_s:
            # Each stroke can be told from its neighbours by how loud it is.
            data = bytes((0x99, 38, 1 + self._sent % 127))
            self._log.write(f"{time.time()} {data[2]}\n")
            yield Arrival(stamp_s=self._next_s, arrival_s=now_s, data=data)
            self._next_s += EVERY_S
            self._sent += 1

    def is_there(self) -> bool:
        """Always."""
        return True

    def reopen(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""


def log_simulated(log: Path) -> None:
    """Let what simulated players strike be written to ``log`` too."""
    poll = SimulatedPort.poll
    file = log.open("a", buffering=1, encoding="ascii")

    def polled(port: SimulatedPort) -> list[Arrival]:
        found = poll(port)
        for data in [one.data for one in found]:
            if kind_of(data) == NOTE_ON and data[2]:
                file.write(f"{time.time()} {data[2]}\n")
        return found

    SimulatedPort.poll = polled  # type: ignore[method-assign]


if __name__ == "__main__":
    log, *typed = sys.argv[1:]
    kit_port.open_port = lambda part, last="": Drummer(Path(log))
    log_simulated(Path(log))
    sys.exit(main(typed))
