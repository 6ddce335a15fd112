"""From the stroke to the disk: how old the oldest stroke is that a power cut would lose.

Somebody at a made-up kit plays in real time, in a program of its own; the store is read meanwhile,
again and again, as another program would read it.
"""

import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from playalong.app.memory import Memory
from playalong.records.store.database import Database
from playalong.records.store.runs import unpacked
from tests.helpers.killed_program import start, strokes_of_runs
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 4, 1

#: Promised: no stroke that is older is lost.
PROMISED_S = 1.0

COMMAND = ("play", "late-bus-home", "--bars", "4", "--who", "Ines")


def tables(options: Options) -> Iterator[Table]:
    """The oldest stroke that was not on the disk, in each run."""
    table = Table("from the stroke to the disk", ("run", "strokes", "readings", "oldest ms"))
    for number in range(options.count):
        strokes, readings, oldest_s = _played()
        holds = strokes > 0 and oldest_s <= PROMISED_S
        table.row(number + 1, strokes, readings, round(1000.0 * oldest_s), holds=holds)
    yield table


def _played() -> tuple[int, int, float]:
    with tempfile.TemporaryDirectory() as home:
        environment = {**os.environ, "SDL_VIDEODRIVER": "dummy"}
        for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
            environment[variable] = str(Path(home) / variable.lower())
        log = Path(home) / "strokes.txt"
        program = start(log, COMMAND, environment)
        memory = Memory(folder=Path(home) / "xdg_data_home" / "playalong")
        oldest_s, readings, most = 0.0, 0, 0
        while program.poll() is None:
            time.sleep(0.05)
            now_s = time.time()
            kept = _on_disk(memory.path)
            if not kept:
                continue
            strokes = strokes_of_runs(log)
            if not readings:  # and how long the first one took
                oldest_s = max(oldest_s, now_s - strokes[0][0])
            missing = [at_s for at_s, _ in strokes[len(kept) :] if at_s <= now_s]
            if missing:
                oldest_s = max(oldest_s, now_s - missing[0])
            readings, most = readings + 1, max(most, len(kept))
        return most, readings, oldest_s


def _on_disk(path: Path) -> list[int]:
    """How loud the strokes of the run that goes on are, as far as they are in the store."""
    if not path.exists():
        return []
    database = Database.open(path)
    try:
        portions = database.rows(
            "SELECT data FROM message JOIN run ON run.id = message.run"
            " WHERE run.state = 'going' ORDER BY portion"
        )
    finally:
        database.close()
    return [message[2] for (data,) in portions for _, message in unpacked(data)]
