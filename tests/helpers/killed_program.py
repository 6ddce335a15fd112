"""The program with somebody at a made-up kit, to be killed: python -m tests.helpers.killed_program.

The first argument is a file to which each stroke is written when it is handed to the program, with
the seconds since 1970, those of simulated players too, and ``BEGUN`` when a run begins: what was
struck before the first belongs to none. The others are what is typed after ``playalong``.
"""

import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from playalong.app import kit_port
from playalong.app.run.run import Run
from playalong.commands.main import main
from playalong.midi.messages import NOTE_ON, kind_of
from playalong.midi.port import Arrival
from playalong.simulation.player import SimulatedPort

#: From one stroke to the next.
EVERY_S = 0.05

#: What is written when a run begins.
BEGUN = "begun"


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


def log_begun(log: Path) -> None:
    """Let it be written to ``log`` when a run has begun to listen."""
    begin = Run.__init__
    file = log.open("a", buffering=1, encoding="ascii")

    def begun(run: Run, *given: Any, **named: Any) -> None:
        begin(run, *given, **named)
        file.write(f"{time.time()} {BEGUN}\n")

    Run.__init__ = begun  # type: ignore[method-assign]


def start(
    log: Path, typed: Sequence[str], environment: Mapping[str, str] | None = None
) -> subprocess.Popen[bytes]:
    """The program, started with ``typed``; Ctrl+C ends it, whoever started the check."""
    return subprocess.Popen(
        [sys.executable, "-m", "tests.helpers.killed_program", str(log), *typed],
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        # A shell lets what it starts in the background ignore it, and that is handed on.
        preexec_fn=partial(signal.signal, signal.SIGINT, signal.SIG_DFL),
    )


def strokes_of_runs(log: Path) -> list[tuple[float, int]]:
    """Each stroke since the first run began: seconds since 1970, and how loud it was."""
    lines = log.read_text().splitlines(keepends=True) if log.exists() else []
    rows = [line.split() for line in lines if line.endswith("\n")]  # one may be half written
    first = next((number for number, row in enumerate(rows) if row[1] == BEGUN), len(rows))
    return [(float(at_s), int(loud)) for at_s, loud in rows[first:] if loud != BEGUN]


def has_begun(log: Path) -> bool:
    """Whether a run has begun, and its first stroke has been handed to it."""
    return bool(strokes_of_runs(log))


if __name__ == "__main__":
    log, *typed = sys.argv[1:]
    kit_port.open_port = lambda part, last="": Drummer(Path(log))
    log_simulated(Path(log))
    log_begun(Path(log))
    sys.exit(main(typed))
