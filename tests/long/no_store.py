"""The program killed while its store cannot be used: what was played is in a file, and offered.

A program of its own plays in real time with somebody at a made-up kit. Before it starts or while it
plays the store is made useless: written by a newer version, a folder in its place, held by another
program, damaged, deleted, or its disk full or read-only (where a file system may be mounted). Then
the program is killed. What was played until a second before is in a file of its own or in a store,
and is offered at the next start, with the store as useless as it was and once it can be used again;
kept, it is in the history.
"""

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from playalong.app import broken_off
from playalong.app.user_folders import UserFolders
from playalong.records import takes
from playalong.records.store import runs
from playalong.records.store.runs import BrokenOff
from playalong.records.store.schema import VERSION
from tests.helpers.killed_program import has_begun, start, strokes_of_runs
from tests.long.frame import Options, Table, generator
from tests.long.kills import BEGIN_S

FULL_COUNT, SAMPLE_COUNT = 56, 7

PROMISED_S = 1.0

COMMAND = ("play", "late-bus-home", "--bars", "8", "--who", "Ines")

SIGNALS = ("SIGKILL", "SIGTERM")


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a case lies: ``home`` is the user's, ``data`` below it or on a disk of its own."""

    home: Path
    data: Path

    @property
    def store(self) -> Path:
        return self.data / "playalong" / "playalong.db"


@dataclass(frozen=True, kw_only=True)
class Way:
    """How a store is made useless, and usable again; ``early``: before the program starts."""

    name: str
    spoil: Callable[[Place], object]
    mend: Callable[[Place], object]
    early: bool = True
    needs_disk: bool = False


def _version(place: Place, number: int) -> None:
    connection = sqlite3.connect(place.store)
    connection.execute(f"PRAGMA user_version = {number}")
    connection.close()


def _folder(place: Place) -> None:
    place.store.rename(place.home / "kept.db")
    place.store.mkdir()


def _file_again(place: Place) -> None:
    place.store.rmdir()
    (place.home / "kept.db").rename(place.store)


def _damage(place: Place) -> None:
    with place.store.open("r+b") as file:
        file.write(b"no store" * 4096)
    for ending in ("-wal", "-shm"):
        place.store.with_name(place.store.name + ending).unlink(missing_ok=True)


def _fill(place: Place) -> None:
    with (place.data / "filler").open("wb", buffering=0) as filler, suppress(OSError):
        while True:
            filler.write(b"x" * 512)


_LOCKS: dict[Path, subprocess.Popen[str]] = {}

_LOCK = """
import sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("BEGIN IMMEDIATE")
print("held", flush=True)
sys.stdin.read()
"""


def _hold(place: Place) -> None:
    command = [sys.executable, "-c", _LOCK, str(place.store)]
    holder = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
    )
    assert holder.stdout is not None
    holder.stdout.readline()
    _LOCKS[place.store] = holder


def _let_go(place: Place) -> None:
    holder = _LOCKS.pop(place.store)
    holder.communicate()


def _mounted(place: Place, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", str(place.data)], check=True)


def _nothing(_: Place) -> None:
    pass


WAYS = (
    Way(
        name="newer", spoil=lambda p: _version(p, VERSION + 1), mend=lambda p: _version(p, VERSION)
    ),
    Way(name="a folder in its place", spoil=_folder, mend=_file_again),
    Way(name="held by another", spoil=_hold, mend=_let_go, early=False),
    Way(name="damaged", spoil=_damage, mend=_nothing, early=False),
    Way(
        name="deleted",
        spoil=lambda p: shutil.rmtree(p.store.parent),
        mend=_nothing,
        early=False,
    ),
    Way(
        name="disk full",
        spoil=_fill,
        mend=lambda p: (p.data / "filler").unlink(),
        needs_disk=True,
    ),
    Way(
        name="disk read-only",
        spoil=lambda p: _mounted(p, "ro"),
        mend=lambda p: _mounted(p, "rw"),
        needs_disk=True,
    ),
)


@dataclass(frozen=True, kw_only=True)
class Found:
    """After one kill: ``offered`` and ``again`` with the store useless and usable, ``kept``."""

    way: str
    signal: str
    strokes: int
    offered: bool
    again: bool
    kept: bool


def tables(options: Options) -> Iterator[Table]:
    """How often what was played is offered, and kept."""
    columns = ("way", "signal", "times", "strokes", "there at once", "and later", "kept")
    table = Table("killed while the store cannot be used", columns)
    cases = [(options.seed, case) for case in range(options.count)]
    found = list(options.waiting(_numbered, cases))
    for way in WAYS:
        for name in SIGNALS:
            own = [one for one in found if one and (one.way, one.signal) == (way.name, name)]
            if own:
                counts = (
                    sum(one.offered for one in own),
                    sum(one.again for one in own),
                    sum(one.kept for one in own),
                )
                strokes = sum(one.strokes for one in own)
                holds = all(count == len(own) for count in counts)
                table.row(way.name, name, len(own), strokes, *counts, holds=holds)
    yield table


def _numbered(numbers: tuple[int, int]) -> Found | None:
    """The case of that seed and number."""
    seed, case = numbers
    name = SIGNALS[case // len(WAYS) % len(SIGNALS)]
    return _case(WAYS[case % len(WAYS)], name, generator(seed, case).uniform(4.0, 10.0))


def _case(way: Way, name: str, after_s: float) -> Found | None:
    with ExitStack() as stack:
        home = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        data = home / "data"
        data.mkdir()
        place = Place(home=home / "home", data=data)
        place.home.mkdir()
        if way.needs_disk:
            try:
                stack.enter_context(_disk(data))
            except (OSError, subprocess.CalledProcessError):
                return None
        with _environment(place):
            return _killed(place, way, name, after_s=after_s)


@contextmanager
def _disk(path: Path) -> Iterator[None]:
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(path)]
    subprocess.run(mount, check=True, capture_output=True)
    try:
        yield
    finally:
        subprocess.run(["umount", str(path)], check=True)


@contextmanager
def _environment(place: Place) -> Iterator[None]:
    before = dict(os.environ)
    os.environ.update(
        SDL_VIDEODRIVER="dummy",
        HOME=str(place.home),
        XDG_DATA_HOME=str(place.data),
        XDG_CONFIG_HOME=str(place.home / "config"),
    )
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)


def _killed(place: Place, way: Way, name: str, *, after_s: float) -> Found:
    home = UserFolders.of_user()
    home.choose_player("Ines")
    log = place.home / "strokes.txt"
    if way.early:
        way.spoil(place)
    program = start(log, COMMAND)
    until_s = time.monotonic() + BEGIN_S
    while not has_begun(log) and time.monotonic() < until_s:
        time.sleep(0.02)
    if not way.early:
        time.sleep(after_s / 2)
        way.spoil(place)
        after_s /= 2
    time.sleep(after_s)
    program.send_signal(getattr(signal, name))
    killed_s = time.time()
    program.wait(30)
    strokes = [loud for at_s, loud in strokes_of_runs(log) if at_s <= killed_s - PROMISED_S]
    is_kept = name != "SIGKILL"  # the program itself has seen to it
    offered = is_kept or _is_there(strokes, _of_runs(home.memory.broken_off()))
    way.mend(place)
    memory = home.memory
    found = memory.broken_off()
    again = is_kept or _is_there(strokes, _of_runs(found))
    for one in found:
        broken_off.take_up(memory, one, home.data / "takes")
    database = home.memory.opened()
    try:
        numbers = database.rows("SELECT id FROM run WHERE state = 'kept'")
        kept = [
            takes.from_bytes(runs.take_of(database, number) or b"", "a take").velocity.tolist()
            for (number,) in numbers
        ]
        is_sound = database.integrity() == []
    finally:
        database.close()
    return Found(
        way=way.name,
        signal=name,
        strokes=len(strokes),
        offered=offered,
        again=again,
        kept=is_sound and _is_there(strokes, kept),
    )


def _of_runs(found: Iterable[BrokenOff]) -> list[list[int]]:
    return [[data[2] for _, data in one.messages] for one in found]


def _is_there(strokes: list[int], found: Sequence[Sequence[float]]) -> bool:
    """Whether one run has all strokes since it began that had to be kept."""
    if len(found) != 1 or not found[0]:
        return False
    (kept,) = found
    return [int(velocity) for velocity in kept[: len(strokes)]] == strokes
