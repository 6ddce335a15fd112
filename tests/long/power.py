"""The power cut at any moment: the store opens, whole up to the last second that was promised.

Imitated by copies of the store and of its write-ahead log, in three ways: the log is cut at a
random byte; what was cut off is noise, as sectors that were not written are; or the log is whole,
and some of its pages, the last of them half, have been moved into the store. A portion counts as
promised once its commit has returned. Sound is what SQLite's own integrity check finds so; that
what lies behind the last whole commit of the log does not count is documented there (Write-Ahead
Logging, on recovery).
"""

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from playalong.records.store import knowledge, players, runs
from playalong.records.store.database import Database
from playalong.records.store.runs import Result
from tests.long.frame import Options, Table, generator

FULL_COUNT, SAMPLE_COUNT = 1_000, 20

WAYS = ("log cut", "log cut, then noise", "store half written")

#: Portions of a run in each stage, and stages: between them the log is moved into the store.
PORTIONS, STAGES = 120, 4

NOW = datetime(2026, 3, 5, 18, 30, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class Stage:
    """Store and log as they were at the end of a stage, and the log's length at each commit."""

    store: bytes
    log: bytes
    before: int
    lengths: tuple[int, ...]


def tables(options: Options) -> Iterator[Table]:
    """How many copies open, are sound, and have all that was promised."""
    table = Table("copies cut at random points", ("way", "cuts", "open", "sound", "all there"))
    counts = {way: [0, 0, 0, 0] for way in WAYS}
    with tempfile.TemporaryDirectory() as name:
        stages = list(_stages(Path(name)))
        for case in range(options.count):
            way = WAYS[case // STAGES % len(WAYS)]
            found = _cut(
                stages[case % STAGES], Path(name) / f"{case}", way, seed=options.seed, case=case
            )
            for column, holds in enumerate((True, *found)):
                counts[way][column] += holds
    for way, (cuts, *found) in counts.items():
        if cuts:
            table.row(way, cuts, *found, holds=all(count == cuts for count in found))
    yield table


def _stages(folder: Path) -> Iterator[Stage]:
    path = folder / "playalong.db"
    log = path.with_name(path.name + "-wal")
    database = Database.open(path)
    who = players.player_of(database, "Ines", NOW)
    knowledge.keep_pattern(database, fingerprint="f", name="late", title="Late", text="x = 1")
    run, written = 0, 0
    for stage in range(STAGES):
        if stage:
            runs.keep(database, run, Result(take=b"MThd" * 500, seconds=60.0))
        run = runs.begin(
            database,
            player=who.id,
            kit="Kit",
            pattern="f",
            kind="play",
            program="0",
            began=NOW,
            info={"stage": stage},
        )
        database.settle()
        written, lengths = 0, []
        for number in range(PORTIONS):
            messages = [(written + at, bytes((0x99, 38, 1 + at))) for at in range(number % 7)]
            written += len(messages)
            runs.append(database, run, messages, alive_s=float(number))
            lengths.append((log.stat().st_size, written))
        assert [size for size, _ in lengths] == sorted(size for size, _ in lengths)
        yield Stage(
            store=path.read_bytes(),
            log=log.read_bytes(),
            before=lengths[0][0],
            lengths=tuple(size for size, _ in lengths),
        )
    database.close()


def _cut(stage: Stage, folder: Path, way: str, *, seed: int, case: int) -> tuple[bool, bool, bool]:
    """Whether a copy opens, is sound, and has every portion whose commit lies before the cut."""
    chance = generator(seed, case)
    cut, store = int(chance.integers(0, len(stage.log) + 1)), stage.store
    if way == WAYS[2]:
        store, cut = _half_moved(stage, cut), len(stage.log)
    noise = bytes(chance.bytes(len(stage.log) - cut)) if way == WAYS[1] else b""
    folder.mkdir()
    path = folder / "playalong.db"
    path.write_bytes(store)
    path.with_name(path.name + "-wal").write_bytes(stage.log[:cut] + noise)
    promised = sum(size <= cut for size in stage.lengths)
    strokes = sum(number % 7 for number in range(promised))
    try:
        database = Database.open(path)
    except Exception:
        return False, False, False
    is_sound = database.integrity() == []
    found = runs.broken_off(database, 1e12)
    ticks = [tick for one in found for tick, _ in one.messages]
    database.close()
    is_there = len(found) == 1 and ticks[:strokes] == list(range(strokes)) and len(ticks) >= strokes
    for left in folder.iterdir():
        left.unlink()
    return True, is_sound, is_there


def _half_moved(stage: Stage, until: int) -> bytes:
    """The store when the pages of the log up to the byte ``until`` have been written into it.

    A log has a head of 32 bytes; each page in it one of 24, which begins with its number (SQLite's
    Database File Format, section 4.1).
    """
    store = bytearray(stage.store)
    size = int.from_bytes(stage.log[8:12], "big")
    for at in range(32, len(stage.log), 24 + size):
        number = int.from_bytes(stage.log[at : at + 4], "big")
        page = stage.log[at + 24 : min(at + 24 + size, until)]
        begin = (number - 1) * size
        if len(store) < begin + size:
            store.extend(bytes(begin + size - len(store)))
        store[begin : begin + len(page)] = page
        if at + 24 + size >= until:
            break
    return bytes(store)
