"""The program killed at any moment: the store is sound, and what was played is there.

A program of its own plays in real time and is killed (KILL, TERM, INT, HUP) at random moments: in
play with somebody at a made-up kit, in practice, kit and demo with a simulated player. One of eight
is killed while it starts, the others after the first stroke of a run; in kit there is no run. Then
the store passes SQLite's integrity check; what was played until a second before is in it, as a kept
run or as one that is offered at the next start; the lesson and the profile stand.
"""

import json
import os
import signal
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from playalong.app.memory import Memory
from playalong.midi.messages import NOTE_ON, kind_of
from playalong.records import profiles, takes
from playalong.records.store import runs
from playalong.records.store.database import Database
from tests.helpers.killed_program import has_begun, start, strokes_of_runs
from tests.long.frame import Options, Table, generator

FULL_COUNT, SAMPLE_COUNT = 200, 4

#: Promised: what is older than this is on the disk.
PROMISED_S = 1.0

#: The share of kills while the program starts; how long a run's first stroke is waited for.
EARLY, BEGIN_S = 1 / 8, 60.0

SIGNALS = ("SIGKILL", "SIGTERM", "SIGINT", "SIGHUP")

COMMANDS = {
    "play": ("play", "late-bus-home", "--bars", "8", "--who", "Ines"),
    "practice": ("practice", "late-bus-home", "--player", "intermediate"),
    "kit": ("kit", "--player", "intermediate"),
    "demo": ("demo", "--bars", "8"),
}


@dataclass(frozen=True, kw_only=True)
class Found:
    """What was found after one kill: a run ``is_offered`` to the next start where it was not kept,
    ``strokes`` of those that were promised, ``missing`` ones.
    """

    command: str
    signal: str
    is_sound: bool
    is_there: bool
    is_offered: bool
    stands: bool
    strokes: int
    missing: int


def tables(options: Options) -> Iterator[Table]:
    """The shares of sound stores and of runs found, by command and signal."""
    cases = [(options.seed, case) for case in range(options.count)]
    found = list(options.waiting(_case, cases))
    table = Table(
        "killed at random moments",
        (
            *("command", "signal", "times", "in a run", "sound", "run there", "lesson, profile"),
            *("offered", "strokes", "lost"),
        ),
    )
    for command in COMMANDS:
        for name in SIGNALS:
            own = [one for one in found if (one.command, one.signal) == (command, name)]
            if own:
                counts = (
                    sum(one.is_sound for one in own),
                    sum(one.is_there for one in own),
                    sum(one.stands for one in own),
                )
                lost = sum(one.missing for one in own)
                holds = all(count == len(own) for count in counts) and lost == 0
                strokes = sum(one.strokes for one in own)
                inside = sum(one.strokes > 0 for one in own)
                offered = sum(one.is_offered for one in own)
                table.row(
                    *(command, name, len(own), inside, *counts, offered, strokes, lost),
                    holds=holds,
                )
    yield table


def _case(numbers: tuple[int, int]) -> Found:
    """The kill of that seed and number."""
    seed, case = numbers
    names = tuple(COMMANDS)
    name = SIGNALS[case // len(names) % len(SIGNALS)]
    chance, command = generator(seed, case), names[case % len(names)]
    is_early = chance.random() < EARLY
    if is_early or command == "kit":
        return _killed(command, name, chance.uniform(0.2, 3.0 if is_early else 14.0), of_run=False)
    return _killed(command, name, chance.uniform(0.1, 9.0), of_run=True)


def _killed(command: str, name: str, after_s: float, *, of_run: bool) -> Found:
    """``after_s`` counts from the first stroke of a run, or from the start of the program."""
    with tempfile.TemporaryDirectory() as home:
        environment = {**os.environ, "SDL_VIDEODRIVER": "dummy"}
        for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
            environment[variable] = str(Path(home) / variable.lower())
        log = Path(home) / "strokes.txt"
        program = start(log, COMMANDS[command], environment)
        until_s = time.monotonic() + BEGIN_S
        while of_run and not has_begun(log) and time.monotonic() < until_s:
            time.sleep(0.02)
        time.sleep(after_s)
        program.send_signal(getattr(signal, name))
        killed_s = time.time()
        program.wait(30)
        memory = Memory(
            folder=Path(home) / "xdg_data_home" / "playalong", simulated=command != "play"
        )
        strokes = [loud for at_s, loud in strokes_of_runs(log) if at_s <= killed_s - PROMISED_S]
        if not memory.path.exists():  # it was still starting
            return _found(command, name, strokes, kept=[], is_there=True)
        database = memory.opened()
        try:
            is_sound = not database.integrity()
            stands = _stands(database)
            rows = database.rows("SELECT id, state, alive_s FROM run")
            kept = [takes.from_bytes(runs.take_of(database, run) or b"", "a take")
                    for run, state, _ in rows if state == runs.KEPT]  # fmt: skip
        finally:
            database.close()
        offered = memory.broken_off()
        going = [alive_s for _, state, alive_s in rows if state == runs.GOING]
        # Asked to end, a program keeps its run itself, unless it is between its end and its grade:
        # then it is left to the next start, as after a kill.
        is_there = len(offered) == len(going) <= 1
        is_there &= all(killed_s - alive_s <= PROMISED_S for alive_s in going)
        velocities = [int(velocity) for take in kept for velocity in take.velocity]
        velocities += [
            data[2]
            for one in offered
            for _, data in one.messages
            if kind_of(data) == NOTE_ON and data[2]
        ]
        return _found(command, name, strokes, kept=velocities, is_there=is_there,
                      is_offered=bool(offered), is_sound=is_sound, stands=stands)  # fmt: skip


def _found(
    command: str,
    name: str,
    strokes: list[int],
    *,
    kept: list[int],
    is_there: bool,
    is_offered: bool = False,
    is_sound: bool = True,
    stands: bool = True,
) -> Found:
    """``strokes`` are those that had to be kept. At the made-up kit each has another loudness than
    its neighbours, and all belong to one run: there the order counts as well.
    """
    missing = sum((Counter(strokes) - Counter(kept)).values())
    if command == "play" and not missing:
        missing = sum(was != is_now for was, is_now in zip(strokes, kept, strict=False))
    return Found(
        command=command,
        signal=name,
        is_sound=is_sound,
        is_there=is_there,
        is_offered=is_offered,
        stands=stands,
        strokes=len(strokes),
        missing=missing,
    )


def _stands(database: Database) -> bool:
    """Whether each lesson and each profile can be read."""
    try:
        for (plain,) in database.rows("SELECT plain FROM lesson"):
            json.loads(plain)
        for (text,) in database.rows("SELECT text FROM profile"):
            profiles.from_text(text, "a profile")
    except ValueError:
        return False
    return True
