"""What the store knows beside the runs: patterns, profiles of kits, lessons."""

from datetime import datetime

from playalong.records.store.database import Database, decoding
from playalong.records.store.runs import kit_id_of


def keep_pattern(database: Database, *, fingerprint: str, name: str, title: str, text: str) -> None:
    """Keep a pattern as it was; one of the same content is there once, under its latest name."""
    database.write(
        "INSERT INTO pattern VALUES (?, ?, ?, ?) ON CONFLICT (fingerprint)"
        " DO UPDATE SET name = excluded.name, title = excluded.title, text = excluded.text"
        " WHERE name != excluded.name OR title != excluded.title",
        (fingerprint, name, title, text),
    )


def pattern_text(database: Database, fingerprint: str) -> str | None:
    """The text of a pattern that was played."""
    row = database.row("SELECT text FROM pattern WHERE fingerprint = ?", (fingerprint,))
    return str(row[0]) if row else None


def keep_profile(database: Database, player: int, kit: str, *, text: str, now: datetime) -> None:
    """Keep the profile of a player on a kit, the text of its TOML file."""
    with database.writing():
        database.write(
            "INSERT INTO profile VALUES (?, ?, ?, ?) ON CONFLICT (player, kit)"
            " DO UPDATE SET text = excluded.text, changed = excluded.changed",
            (player, kit_id_of(database, kit), text, now.isoformat(timespec="seconds")),
        )


def profile_text(database: Database, player: int, kit: str) -> str | None:
    """The profile of a player on a kit, None where there is none."""
    row = database.row(
        "SELECT text FROM profile JOIN kit ON kit.id = profile.kit"
        " WHERE profile.player = ? AND kit.name = ?",
        (player, kit),
    )
    return str(row[0]) if row else None


def kits(database: Database, player: int) -> list[str]:
    """The kits of which a player has a profile, the latest first."""
    rows = database.rows(
        "SELECT kit.name FROM profile JOIN kit ON kit.id = profile.kit"
        " WHERE profile.player = ? ORDER BY profile.changed DESC, kit.name",
        (player,),
    )
    return [name for (name,) in rows]


def keep_lesson(
    database: Database,
    player: int,
    pattern: str,
    *,
    name: str,
    progress: str,
    now: datetime,
) -> None:
    """Keep how far a player has come with the pattern of that fingerprint; ``progress`` is JSON."""
    database.write(
        "INSERT INTO lesson VALUES (?, ?, ?, ?, ?) ON CONFLICT (player, pattern)"
        " DO UPDATE SET plain = excluded.plain, changed = excluded.changed, name = excluded.name",
        (player, pattern, name, progress, now.isoformat(timespec="seconds")),
    )


def lesson(database: Database, player: int, pattern: str) -> str | None:
    """The lesson of a player on the pattern of that fingerprint, None where there is none."""
    row = database.row(
        "SELECT plain FROM lesson WHERE player = ? AND pattern = ?", (player, pattern)
    )
    return str(row[0]) if row else None


def lessons(database: Database, player: int) -> list[tuple[str, str, str, datetime]]:
    """(fingerprint, name, progress, when) of all lessons of a player, the latest first."""
    rows = database.rows(
        "SELECT pattern, name, plain, changed FROM lesson WHERE player = ? ORDER BY changed DESC",
        (player,),
    )
    with decoding(database):
        return [
            (pattern, name, plain, datetime.fromisoformat(changed))
            for pattern, name, plain, changed in rows
        ]
