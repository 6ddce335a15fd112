"""Players in the store: who plays, at which level, with which hand leading; and their settings."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from playalong.records.store.database import Database, decoding
from playalong.support.errors import UserError
from playalong.support.text import printable, quoted

#: Whose settings are everybody's.
EVERYBODY = 0


@dataclass(frozen=True, kw_only=True)
class PlayerRow:
    """A player; ``level`` is "" where they have not chosen one."""

    id: int
    name: str
    level: str
    left_handed: bool
    since: datetime


def player_of(database: Database, name: str, now: datetime) -> PlayerRow:
    """The player ``name``, who is new where nobody had that name."""
    found = find(database, name)
    if found is not None:
        return found
    database.write(
        "INSERT INTO player (name, since) VALUES (?, ?) ON CONFLICT DO NOTHING",
        (name, now.isoformat(timespec="seconds")),
    )
    found = find(database, name)
    assert found is not None
    return found


def refuse_taken(database: Database, name: str) -> None:
    """UserError where somebody has that ``name``."""
    if find(database, name) is not None:
        raise UserError(_TAKEN.format(name=quoted(name)))


def rename(database: Database, player: PlayerRow, name: str) -> str:
    """Call ``player`` by another name, which is returned as it is kept.

    Takes and files of earlier times have the name of then; it is remembered, so that they are
    found. UserError where the name is none, or somebody else's.
    """
    name = checked(name)
    with database.writing():
        other = find(database, name)
        if other is not None and other.id != player.id:
            raise UserError(_TAKEN.format(name=quoted(name)))
        change(database, player.id, name=name)
        before = [*names_before(database, player), player.name]
        remember(database, {_NAMES_BEFORE: list(dict.fromkeys(before))}, player.id)
    return name


def names_before(database: Database, player: PlayerRow) -> list[str]:
    """What ``player`` was called before, but for names that somebody else has now."""
    stored = settings(database, player.id).get(_NAMES_BEFORE)
    taken = {one.name for one in players(database)}
    return [name for name in stored if name not in taken] if isinstance(stored, list) else []


#: The setting of a player that has their names of before.
_NAMES_BEFORE = "names_before"

_TAKEN = "There is a player {name} already: choose another name, or play as this one."

#: So long may a name be, so that it can be drawn and listed.
LONGEST = 60


def checked(name: str) -> str:
    """``name`` as it is kept; UserError where it is none."""
    cleaned = printable(" ".join(name.split()))
    if not cleaned:
        raise UserError("A player needs a name: type one.")
    if len(cleaned) > LONGEST:
        raise UserError(f"A name has at most {LONGEST} characters; this one has {len(cleaned)}.")
    return cleaned


def last(database: Database) -> PlayerRow | None:
    """Who played last, None where nobody has been chosen."""
    number = settings(database).get("player")
    return next((player for player in players(database) if player.id == number), None)


def name_of(database: Database, player: int) -> str:
    """The name of the player of that id."""
    return next(found.name for found in players(database) if found.id == player)


def choose(database: Database, player: int) -> None:
    """From now on this is who plays."""
    remember(database, {"player": player})


def find(database: Database, name: str) -> PlayerRow | None:
    """The player ``name``, None where there is nobody of that name."""
    return next((player for player in players(database) if player.name == name), None)


def players(database: Database) -> list[PlayerRow]:
    """Everybody, by name."""
    rows = database.rows("SELECT id, name, level, left_handed, since FROM player ORDER BY name")
    with decoding(database):
        return [
            PlayerRow(
                id=number,
                name=name,
                level=level,
                left_handed=bool(left),
                since=datetime.fromisoformat(since),
            )
            for number, name, level, left, since in rows
        ]


def runs_of_each(database: Database) -> dict[int, tuple[int, str]]:
    """How many runs each player has kept, by their id, and the day of the last one (ISO 8601)."""
    rows = database.rows("SELECT player, sum(runs), max(first) FROM day GROUP BY player")
    return {number: (count, day) for number, count, day in rows}


def change(
    database: Database,
    player: int,
    *,
    name: str | None = None,
    level: str | None = None,
    left_handed: bool | None = None,
) -> None:
    """Change what is given of a player."""
    with database.writing():
        for column, value in (("name", name), ("level", level), ("left_handed", left_handed)):
            if value is not None:
                database.write(f"UPDATE player SET {column} = ? WHERE id = ?", (value, player))


def settings(database: Database, player: int = EVERYBODY) -> dict[str, Any]:
    """What is remembered for a player, or for everybody, by name."""
    rows = database.rows("SELECT name, value FROM setting WHERE player = ?", (player,))
    with decoding(database):
        return {str(name): json.loads(value) for name, value in rows}


def remember(database: Database, values: dict[str, Any], player: int = EVERYBODY) -> None:
    """Remember these; None forgets."""
    with database.writing():
        for name, value in values.items():
            if value is None:
                database.write("DELETE FROM setting WHERE player = ? AND name = ?", (player, name))
            else:
                database.write(
                    "INSERT INTO setting VALUES (?, ?, ?) ON CONFLICT (player, name)"
                    " DO UPDATE SET value = excluded.value",
                    (player, name, json.dumps(value)),
                )
