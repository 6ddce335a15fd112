"""Runs in the store: begun, written while they go on, kept with their grade, found again.

A run that goes on says so at every portion (``alive_s``). One that has not for ``SILENT_S``, or
whose program has ended, was broken off: it can be taken up, kept or thrown away.

A portion of messages is, one after the other: the tick (8 bytes, most significant first), the
number of bytes (1), the bytes.
"""

import json
import struct
import uuid
import zlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from playalong.records.store.database import Database, decoding
from playalong.support.system.processes import has_ended, this_process

GOING, KEPT, THROWN_AWAY = "going", "kept", "thrown away"

#: A run that has said nothing for so long has no program any more.
SILENT_S = 10.0

Message = tuple[int, bytes]
"""A tick from the start of the take, and the bytes of a message."""

_HEAD = struct.Struct(">QB")


@dataclass(frozen=True, kw_only=True)
class RunRow:
    """A run as a list shows it; figures are None where the run has no grade.

    ``began`` with its offset from universal time; ``spread_ms`` the standard deviation of the
    errors; ``contrast_db`` the ghost contrast on the snare; ``steadiness_ms`` the spread around
    the tempo kept.
    """

    id: int
    player: str
    kit: str | None
    pattern: str | None
    title: str | None
    kind: str
    program: str
    began: datetime
    seconds: float | None
    state: str
    score: float | None
    tempo_bpm: float | None
    bars: int | None
    spread_ms: float | None
    contrast_db: float | None
    steadiness_ms: float | None
    advice: str | None
    file: str | None


@dataclass(frozen=True, kw_only=True)
class Finding:
    """A finding of a grade, as the store keeps it; fields as in the JSON of a grade."""

    code: str
    voice: str | None
    limb: str | None
    places: Sequence[Mapping[str, Any]]
    n: int | None
    of: int | None
    value: float | None
    unit: str
    gain: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Result:
    """What a run came to: its take as the bytes of a Standard MIDI File, and its grade.

    ``grade`` is the JSON of the grade without its hits, ``hits`` those; None where the run was
    not graded. ``file`` is where a copy of the take lies.
    """

    take: bytes
    seconds: float
    grade: Mapping[str, Any] | None = None
    hits: Sequence[Mapping[str, Any]] = ()
    file: str | None = None
    findings: Sequence[Finding] = field(default=())


def begin(
    database: Database,
    *,
    player: int,
    kit: str | None,
    pattern: str | None,
    kind: str,
    program: str,
    began: datetime,
    info: Mapping[str, Any],
) -> int:
    """A run that begins now; its id. ``pattern`` is the fingerprint of one that is kept."""
    with database.writing():
        kit_id = kit_id_of(database, kit) if kit else None
        now_s = began.timestamp()
        run = database.write(
            "INSERT INTO run (uid, player, kit, pattern, kind, program, began, began_s, state,"
            " alive_s, info, process) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                uuid.uuid4().hex,
                player,
                kit_id,
                pattern,
                kind,
                program,
                began.isoformat(timespec="seconds"),
                now_s,
                GOING,
                now_s,
                "",
                this_process(),
            ),
        )
        database.write("INSERT INTO body (run, info) VALUES (?, ?)", (run, json.dumps(info)))
        return run


def take_in(
    database: Database,
    *,
    player: int,
    kit: str | None,
    pattern: str | None,
    kind: str,
    program: str,
    began: datetime,
    info: Mapping[str, Any],
    take: bytes,
    seconds: float,
    file: str,
) -> int:
    """A run that was played before, from its take; its id. It is yet to be graded.

    Where it had begun in the store, it is kept there.
    """
    with database.writing():
        begun = database.row(
            "SELECT id FROM run INDEXED BY run_going WHERE state = 'going' AND player = ?"
            " AND began = ?",
            (player, began.isoformat(timespec="seconds")),
        )
        run = (
            int(begun[0])
            if begun
            else begin(
                database,
                player=player,
                kit=kit,
                pattern=pattern,
                kind=kind,
                program=program,
                began=began,
                info=info,
            )
        )
        keep(database, run, Result(take=take, seconds=seconds, file=file))
        database.write("UPDATE run SET pending = 1 WHERE id = ?", (run,))
    return run


def pending(database: Database, player: int) -> list[int]:
    """The runs of a player that are yet to be graded, the latest first."""
    rows = database.rows(
        "SELECT id FROM run INDEXED BY run_pending WHERE player = ? AND pending = 1"
        " ORDER BY began_s DESC",
        (player,),
    )
    return [number for (number,) in rows]


def kit_id_of(database: Database, name: str) -> int:
    """The id of the kit ``name``, which is new where nobody has played it."""
    database.write("INSERT INTO kit (name) VALUES (?) ON CONFLICT DO NOTHING", (name,))
    row = database.row("SELECT id FROM kit WHERE name = ?", (name,))
    assert row is not None
    return int(row[0])


def append(
    database: Database,
    run: int,
    messages: Sequence[Message],
    *,
    alive_s: float,
    info: Mapping[str, Any] | None = None,
) -> None:
    """Write what has come since the last portion; on the disk when this returns.

    ``info`` replaces what the run says of itself, where that has changed.
    """
    with database.writing():
        if messages:
            database.write(
                "INSERT INTO message (run, portion, data) SELECT ?,"
                " 1 + coalesce(max(portion), -1), ? FROM message WHERE run = ?",
                (run, packed(messages), run),
            )
        database.write("UPDATE run SET alive_s = ? WHERE id = ?", (alive_s, run))
        if info is not None:
            database.write("UPDATE body SET info = ? WHERE run = ?", (json.dumps(info), run))


def packed(messages: Iterable[Message]) -> bytes:
    """A portion of messages as bytes."""
    return b"".join(_HEAD.pack(tick, len(data)) + data for tick, data in messages)


def unpacked(data: bytes) -> Iterator[Message]:
    """The messages of a portion; what is cut off at its end is left out."""
    at = 0
    while at + _HEAD.size <= len(data):
        tick, length = _HEAD.unpack_from(data, at)
        at += _HEAD.size
        if at + length > len(data):
            return
        yield tick, data[at : at + length]
        at += length


def keep(database: Database, run: int, result: Result) -> None:
    """A run is over: its take and grade, in place of the portions."""
    grade = result.grade or {}
    score, timing = grade.get("score") or {}, grade.get("timing") or {}
    contrast = (grade.get("dynamics") or {}).get("ghost_contrast_db") or {}
    steadiness = grade.get("steadiness") or {}
    with database.writing():
        database.write(
            "UPDATE body SET take = ?, grade = ?, hits = ? WHERE run = ?",
            (
                result.take,
                json.dumps(result.grade) if result.grade is not None else None,
                zlib.compress(json.dumps(list(result.hits)).encode()) if result.hits else None,
                run,
            ),
        )
        database.write(
            "UPDATE run SET state = ?, pending = 0, seconds = ?, file = ?, score = ?,"
            " tempo_bpm = ?, bars = ?, spread_ms = ?, contrast_db = ?, steadiness_ms = ?,"
            " advice = ? WHERE id = ?",
            (
                KEPT,
                result.seconds,
                result.file,
                score.get("total"),
                grade.get("tempo_bpm"),
                grade.get("bars"),
                timing.get("sd_ms"),
                contrast.get("snare"),
                steadiness.get("residual_sd_ms"),
                grade.get("advice"),
                run,
            ),
        )
        database.write("DELETE FROM message WHERE run = ?", (run,))
        database.write("DELETE FROM finding WHERE run = ?", (run,))
        for rank, finding in enumerate(result.findings):
            database.write(
                "INSERT INTO finding VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    run,
                    rank,
                    finding.code,
                    finding.voice,
                    finding.limb,
                    json.dumps(list(finding.places)),
                    finding.n,
                    finding.of,
                    finding.value,
                    finding.unit,
                    finding.gain,
                    finding.text,
                ),
            )


def is_going(database: Database, run: int) -> bool:
    """Whether there is a run of that id that this process plays."""
    return (
        database.row(
            "SELECT 1 FROM run WHERE id = ? AND state = 'going' AND process = ?",
            (run, this_process()),
        )
        is not None
    )


def throw_away(database: Database, run: int) -> None:
    """Nothing of the run is left."""
    database.write("DELETE FROM run WHERE id = ?", (run,))


@dataclass(frozen=True, kw_only=True)
class BrokenOff:
    """A run whose program has ended before it did: all that reached the disk.

    ``process`` is the program, ``file`` the one that it lies in where the store could not be
    written; ``row.id`` is 0 where the store knows nothing of it.
    """

    row: RunRow
    info: Mapping[str, Any]
    messages: Sequence[Message]
    process: str = ""
    file: Path | None = None


def broken_off(database: Database, now_s: float) -> list[BrokenOff]:
    """The runs that go on nowhere any more; ``now_s`` in seconds since 1970."""
    going = database.rows("SELECT id, alive_s, process FROM run WHERE state = 'going'")
    silent = {
        number: process
        for number, alive_s, process in going
        if is_broken_off(alive_s, process, now_s)
    }
    found = []
    for row in select(database, f"run.id IN ({', '.join(map(str, silent))})"):
        info = database.row("SELECT info FROM body WHERE run = ?", (row.id,))
        portions = database.rows(
            "SELECT data FROM message WHERE run = ? ORDER BY portion", (row.id,)
        )
        with decoding(database):
            messages = [message for (data,) in portions for message in unpacked(data)]
            said = json.loads(info[0]) if info else {}
            process = silent[row.id]
            found.append(BrokenOff(row=row, info=said, messages=messages, process=process))
    return found


def is_broken_off(alive_s: float, process: str, now_s: float) -> bool:
    """Whether a run that ``process`` played, and that last said so at ``alive_s``, is over."""
    return alive_s < now_s - SILENT_S or has_ended(process)


def history(
    database: Database,
    player: int,
    *,
    name: str | None = None,
    kind: str | None = None,
    limit: int = 1_000,
) -> list[RunRow]:
    """The runs of a player that were kept, the latest first: of the pattern called ``name``, and
    of one ``kind``, or of all.
    """
    where, values = ["run.player = ?", "run.state = ?"], [player, KEPT]
    if kind is not None:
        where, values = [*where, "run.kind = ?"], [*values, kind]
    if name is None:
        return select(database, " AND ".join(where), values, limit=limit)
    # Each of the pattern's versions by itself: an index has their order.
    latest = (
        f"SELECT id FROM run WHERE {' AND '.join(where)} AND run.pattern = ?"
        " ORDER BY began_s DESC, id DESC LIMIT ?"
    )
    numbers = [
        str(number)
        for fingerprint in _fingerprints(database, name)
        for (number,) in database.rows(latest, [*values, fingerprint, limit])
    ]
    return select(database, f"run.id IN ({', '.join(numbers)})", limit=limit)


def best(database: Database, player: int, name: str | None = None) -> RunRow | None:
    """The run of the highest score, the latest of several: of the pattern called ``name``, or of
    all.
    """
    best, values = "SELECT id FROM run WHERE player = ? AND score IS NOT NULL{}" + _BEST, [player]
    row = database.row(best.format(""), values) if name is None else None
    if name is not None:  # each of the pattern's versions by itself: an index has their order
        found = [
            database.row(best.format(" AND pattern = ?"), [*values, fingerprint])
            for fingerprint in _fingerprints(database, name)
        ]
        numbers = [str(each[0]) for each in found if each is not None]
        row = database.row(f"SELECT id FROM run WHERE id IN ({', '.join(numbers)})" + _BEST)
    return select(database, "run.id = ?", row)[0] if row else None


#: An order: the highest score first, of several the latest.
_BEST = " ORDER BY score DESC, began_s DESC LIMIT 1"


def _fingerprints(database: Database, name: str) -> list[str]:
    rows = database.rows("SELECT fingerprint FROM pattern WHERE name = ?", (name,))
    return [fingerprint for (fingerprint,) in rows]


def patterns(database: Database, player: int) -> list[str]:
    """The names of the patterns that a player has played, the latest first."""
    rows = database.rows(
        "SELECT name, (SELECT max(began_s) FROM run WHERE player = ? AND run.pattern = fingerprint"
        " AND run.state = 'kept') AS latest FROM pattern WHERE latest IS NOT NULL"
        " ORDER BY latest DESC",
        (player,),
    )
    return list(dict.fromkeys(name for name, _ in rows))


_ROW = (
    "SELECT run.id, player.name, kit.name, pattern.name, pattern.title, run.kind, run.program,"
    " run.began, run.seconds, run.state, run.score, run.tempo_bpm, run.bars, run.spread_ms,"
    " run.contrast_db, run.steadiness_ms, run.advice, run.file"
    " FROM run JOIN player ON player.id = run.player LEFT JOIN kit ON kit.id = run.kit"
    " LEFT JOIN pattern ON pattern.fingerprint = run.pattern WHERE {}"
    " ORDER BY run.began_s DESC, run.id DESC LIMIT {}"
)


def select(
    database: Database, where: str, values: Sequence[Any] = (), *, limit: int = 1_000
) -> list[RunRow]:
    """The runs for which ``where`` holds, the latest first."""
    names = tuple(RunRow.__dataclass_fields__)
    found = []
    with decoding(database):
        for row in database.rows(_ROW.format(where, int(limit)), values):
            cells = dict(zip(names, row, strict=True))
            found.append(_checked(cells))
    return found


def _checked(cells: dict[str, Any]) -> RunRow:
    """A row whose figures are figures; TypeError or ValueError where one is none."""
    for name in FIGURES:
        value = cells[name]
        if value is not None and not isinstance(value, int | float):
            raise TypeError(name)
    return RunRow(**{**cells, "began": datetime.fromisoformat(cells["began"])})


#: Columns of figures.
FIGURES = (
    "seconds",
    "score",
    "tempo_bpm",
    "bars",
    "spread_ms",
    "contrast_db",
    "steadiness_ms",
)


def take_of(database: Database, run: int) -> bytes | None:
    """The take of a run as the bytes of a Standard MIDI File."""
    row = database.row("SELECT take FROM body WHERE run = ?", (run,))
    return bytes(row[0]) if row and row[0] is not None else None


def grade_without_hits(database: Database, run: int) -> Any:
    """The JSON of a run's grade alone, None where there is none."""
    row = database.row("SELECT grade FROM body WHERE run = ?", (run,))
    with decoding(database):
        return json.loads(row[0]) if row and row[0] else None


def body_of(database: Database, run: int) -> tuple[bytes | None, Any, str | None]:
    """The take of a run, the JSON of its grade, and the text of that of its hits, which are many;
    None where there is none.
    """
    row = database.row("SELECT take, grade, hits FROM body WHERE run = ?", (run,))
    take, grade, hits = row if row is not None else (None, None, None)
    with decoding(database):
        return (
            bytes(take) if take is not None else None,
            json.loads(grade) if grade else None,
            zlib.decompress(hits).decode() if hits else None,
        )


def grade_of(database: Database, run: int) -> tuple[Any, Any]:
    """The JSON of a run's grade as it was shown, and of its hits; None where there is none."""
    _, grade, hits = body_of(database, run)
    with decoding(database):
        return grade, json.loads(hits) if hits else None
