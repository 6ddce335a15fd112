"""Players in the store: who plays, at which level, with which hand leading; and their settings."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from playalong.records.store.database import Database

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


def find(database: Database, name: str) -> PlayerRow | None:
    """The player ``name``, None where there is nobody of that name."""
    return next((player for player in players(database) if player.name == name), None)


def players(database: Database) -> list[PlayerRow]:
    """Everybody, by name."""
    rows = database.rows("SELECT id, name, level, left_handed, since FROM player ORDER BY name")
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
    return {name: json.loads(value) for name, value in rows}


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
