"""A player's data as a folder of ordinary files: MIDI, TOML, CSV and JSON.

```
player.toml      name, level, handedness, since when
runs.csv         a line for each run
takes/           the take of each run, a Standard MIDI File
grades/          the grade of each run, with its hits, as JSON
patterns/        the patterns that were played, as they were
profiles/        the profile of each kit
lessons/         how far each lesson has come, as JSON
```
"""

import csv
import io
import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import tomlkit

from playalong.records.store import knowledge, players, runs
from playalong.records.store.database import Database
from playalong.records.store.players import PlayerRow
from playalong.support.errors import UserError
from playalong.support.files import FileError, writing_folder
from playalong.support.text import quoted

#: More runs than this are nobody's.
_ALL = 10_000_000

_COLUMNS = (
    "began",
    "kind",
    "title",
    "kit",
    "program",
    "seconds",
    "bars",
    "tempo_bpm",
    "score",
    "spread_ms",
    "contrast_db",
    "steadiness_ms",
    "advice",
)

#: Told how much of all is done, from 0 to 1.
Progress = Callable[[float], None]


def export(
    database: Database,
    player: PlayerRow,
    folder: Path,
    *,
    also: Mapping[str, Path] = MappingProxyType({}),
    progress: Progress = lambda _: None,
) -> int:
    """Write all that is kept of ``player`` into ``folder``, which must be new or empty.

    Files that lie elsewhere are copied: ``also`` has them by their names below the folder. Returns
    the number of files; UserError where the folder has something in it or cannot be written. Until
    all is written there is nothing, nor where ``progress`` raises.
    """
    try:
        if folder.exists() and any(folder.iterdir()):
            raise UserError(f"{folder} is not empty: name a new folder, so that nothing is mixed.")
        with writing_folder(folder) as new:
            _write(database, player, new.write, progress=progress)
            for name, path in also.items():
                new.write(name, path.read_bytes())
            return len(new.files)
    except (OSError, FileError) as error:
        reason = error.reason if isinstance(error, FileError) else error.strerror or error
        raise UserError(
            f"The data of {quoted(player.name)} cannot be written to {folder} ({reason})."
        ) from None


def _write(
    database: Database,
    player: PlayerRow,
    write: Callable[[str, bytes | str], None],
    *,
    progress: Progress,
) -> None:
    plain = {
        "name": player.name,
        "level": player.level,
        "left_handed": player.left_handed,
        "since": player.since.isoformat(),
        "settings": players.settings(database, player.id),
    }
    write("player.toml", tomlkit.dumps(plain))
    for kit in knowledge.kits(database, player.id):
        write(
            f"profiles/{file_name(kit)}.toml",
            knowledge.profile_text(database, player.id, kit) or "",
        )
    for fingerprint, name, lesson, _ in knowledge.lessons(database, player.id):
        write(f"lessons/{file_name(name)}-{fingerprint[:8]}.json", lesson)
    rows = runs.history(database, player.id, limit=_ALL)
    table = io.StringIO(newline="")
    lines = csv.writer(table)
    lines.writerow((*_COLUMNS, "file"))
    for number, row in enumerate(rows):
        name = f"{row.began:%Y-%m-%d-%H%M%S}-{file_name(row.pattern or row.kind)}-{row.id}"
        take, grade, hits = runs.body_of(database, row.id)
        if take is not None:
            write(f"takes/{name}.mid", take)
        if grade is not None:
            write(f"grades/{name}.json", _json(grade, hits))
        lines.writerow([*(getattr(row, column) for column in _COLUMNS), f"takes/{name}.mid"])
        progress((number + 1) / len(rows))
    write("runs.csv", table.getvalue())
    played = database.rows(
        "SELECT DISTINCT pattern.fingerprint, pattern.name, pattern.text FROM run"
        " JOIN pattern ON pattern.fingerprint = run.pattern WHERE run.player = ?",
        (player.id,),
    )
    for fingerprint, name, text in played:
        write(f"patterns/{file_name(name)}-{fingerprint[:8]}.toml", text)


#: Made once: there is much to be written.
_encoded = json.JSONEncoder(ensure_ascii=False).encode


def _json(grade: Mapping[str, Any], hits: str | None) -> str:
    """A grade with its hits, a line for each of these."""
    if hits is None:
        return f"{_encoded(grade)}\n"
    rows = hits.replace("}, {", "},\n{")  # there are no words of a person's in a hit
    return f'{_encoded(grade)[:-1]},\n"hits": {rows}}}\n'


def file_name(words: str) -> str:
    """``words`` as a part of a file's name, on every system: short, and without what it forbids."""
    return re.sub(r"[^\w-]+", "-", words).strip("-")[:60] or "unnamed"
