"""Two processes writing runs at once: none is lost, none is mixed with another, the store is sound.

Each begins a run, writes its strokes in portions, and keeps it with a grade, as two programs do.
"""

import multiprocessing
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from playalong.records.store import knowledge, players, runs
from playalong.records.store.database import Database
from playalong.records.store.runs import Result
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 1_000, 20

NAMES = ("Ines", "Tom")

NOW = datetime(2026, 3, 5, 18, 30, tzinfo=UTC)


def tables(options: Options) -> Iterator[Table]:
    """How many runs of each process are there, and whether the store is sound."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "playalong.db"
        Database.open(path).close()
        context = multiprocessing.get_context("spawn")
        writers = [context.Process(target=_write, args=(path, who, options.count)) for who in NAMES]
        begin_s = time.monotonic()
        for writer in writers:
            writer.start()
        reads = 0
        while any(writer.is_alive() for writer in writers):  # somebody reads meanwhile
            database = Database.open(path)
            database.rows("SELECT count(*), sum(score) FROM run")
            database.close()
            reads += 1
            time.sleep(0.2)
        took_s = time.monotonic() - begin_s
        for writer in writers:
            writer.join()
        table = Table(
            f"two processes at once, {reads} readings meanwhile, {took_s:.0f} s",
            ("player", "runs", "kept", "with their own take", "process ended well"),
        )
        database = Database.open(path)
        for writer, who in zip(writers, NAMES, strict=True):
            (kept,) = database.rows(
                "SELECT count(*) FROM run JOIN player ON player.id = run.player"
                " WHERE player.name = ? AND run.state = 'kept'",
                (who,),
            )[0]
            takes = database.rows(
                "SELECT body.take FROM body JOIN run ON run.id = body.run"
                " JOIN player ON player.id = run.player WHERE player.name = ?",
                (who,),
            )
            own = len({take for (take,) in takes if take.startswith(who.encode())})
            well = writer.exitcode == 0
            holds = kept == own == options.count and well
            table.row(who, options.count, kept, own, well, holds=holds)
        wrong = database.integrity()
        (left,) = database.rows("SELECT count(*) FROM message")[0]
        said = "; ".join(wrong) or "sound"
        both = ("both", 2 * options.count, "", f"{left} portions left", said)
        table.row(*both, holds=not wrong and not left)
        database.close()
        yield table


def _write(path: Path, name: str, count: int) -> None:
    database = Database.open(path)
    who = players.player_of(database, name, NOW)
    knowledge.keep_pattern(database, fingerprint="f", name="late", title="Late", text="x = 1")
    for number in range(count):
        run = runs.begin(
            database,
            player=who.id,
            kit="Kit",
            pattern="f",
            kind="play",
            program="0",
            began=NOW,
            info={"number": number},
        )
        for portion in range(3):
            messages = [(portion * 10 + at, b"\x99\x26\x40") for at in range(10)]
            runs.append(database, run, messages, alive_s=float(portion))
        grade = {"score": {"total": float(number % 100)}}
        take = f"{name} {number}".encode()
        runs.keep(database, run, Result(take=take, seconds=10.0, grade=grade))
    database.close()
