"""The program killed at any moment: the store is sound, and what was played is there.

A simulated player plays in real time in a program of its own, which is killed (KILL, TERM, INT,
HUP) at random moments. Then the store passes SQLite's integrity check, and what was played until a
second before is in it: as a kept run, or as one that was broken off and can be taken up.
"""

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from playalong.app.memory import Memory
from playalong.records.store import runs
from tests.long.frame import Options, Table, generator

FULL_COUNT, SAMPLE_COUNT = 200, 3

SIGNALS = ("SIGKILL", "SIGTERM", "SIGINT", "SIGHUP")

COMMANDS = (
    ("demo", "--bars", "8"),
    ("practice", "late-bus-home", "--player", "intermediate"),
)


def tables(options: Options) -> Iterator[Table]:
    """The shares of sound stores and of runs found, by signal."""
    chance = generator(options.seed, 0)
    found = {name: [0, 0, 0] for name in SIGNALS}
    for case in range(options.count):
        name = SIGNALS[case % len(SIGNALS)]
        after_s = float(chance.uniform(3.0, 12.0))
        is_sound, is_there = _killed(COMMANDS[case // len(SIGNALS) % 2], name, after_s)
        found[name][0] += 1
        found[name][1] += is_sound
        found[name][2] += is_there
    table = Table("killed at random moments", ("signal", "times", "store sound", "played is there"))
    for name, (times, sound, there) in found.items():
        if times:
            table.row(name, times, sound, there, holds=sound == times and there == times)
    yield table


def _killed(command: tuple[str, ...], name: str, after_s: float) -> tuple[bool, bool]:
    """Whether the store is sound, and whether what was promised is there.

    Promised is: a run in progress was written at most a second before the end (KILL), or was kept
    as far as it went (all other signals).
    """
    with tempfile.TemporaryDirectory() as home:
        environment = {**os.environ, "SDL_VIDEODRIVER": "dummy"}
        for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
            environment[variable] = str(Path(home) / variable.lower())
        program = subprocess.Popen(
            [sys.executable, "-m", "playalong", *command],
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(after_s)
        program.send_signal(getattr(signal, name))
        killed_s = time.time()
        program.wait(30)
        memory = Memory(Path(home) / "xdg_data_home" / "playalong", simulated=True)
        if not memory.path.exists():
            return True, True  # it was still starting
        database = memory.opened()
        try:
            sound = not database.integrity()
            rows = database.rows("SELECT state, alive_s FROM run")
        finally:
            database.close()
        going = [killed_s - alive_s for state, alive_s in rows if state == runs.GOING]
        if name == "SIGKILL":
            return sound, len(going) <= 1 and all(ago_s <= 1.0 for ago_s in going)
        return sound, not going
