"""Settings, profiles and lessons that change while the store cannot be written.

What is to be kept is a ``Change``. The store takes it; where it cannot, a file does: one for each
program, in the first folder that takes it, written whole at each change. Whoever asks meanwhile is
answered from a store in memory: what can be read of the real one, with the changes. Once the store
can be written they are taken in. What was there before a change is kept with it, so that where the
store could not even be read nothing in it is written over that did not change: a latency that was
measured meanwhile joins the notes that were learned before.
"""

import json
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any
from zlib import crc32

from playalong.records import profiles
from playalong.records.store import knowledge, players
from playalong.records.store.database import Database, StoreError
from playalong.records.store.meanwhile.run_file import delete, folders, is_ours
from playalong.support.errors import UserError
from playalong.support.files import FileError, write_file, write_new_file
from playalong.support.merging import ABSENT, merged
from playalong.support.reading import MOST_MIDI, read_bytes
from playalong.support.text import counted

#: What is told when something goes to the file.
WORDS = "Settings, profiles and lessons are kept in a file meanwhile, and taken in later."

#: So long the store is waited for when changes are to be taken in, in seconds.
_PATIENCE_S = 0.2


class Kind(StrEnum):
    """What changes; ``key`` and ``value`` of a change are behind it."""

    CHOSEN = "chosen"  # who plays
    PLAYER = "player"  # "level", its name; "left_handed", whether; "" where they only come
    SETTING = "setting"  # its name, what JSON has; None forgets
    PROFILE = "profile"  # the kit, the text
    WRITTEN = "written"  # the same, of a text that a person wrote and that counts whole
    LESSON = "lesson"  # the pattern's fingerprint; its name, title, text; the progress, as JSON


@dataclass(frozen=True, kw_only=True)
class Change:
    """``value`` is to be what ``kind`` and ``key`` name of ``player``, or of everybody (None)."""

    kind: Kind
    player: str | None
    key: str = ""
    value: Any = None


#: Says what is to be kept, from what the store says so far.
Describe = Callable[[Database], Sequence[Change]]


def keep(database: Database, describe: Describe) -> None:
    """Let the store have it: all of it, or nothing."""
    with database.writing():
        for change in describe(database):
            _keep(database, change)


def keep_in_file(store: Path, database: Database | None, describe: Describe) -> bool:
    """Let a file have it, where the ``store`` cannot; whether that is done.

    ``database`` is the store where it can still be read.
    """
    entries = _read(_own(store))
    with seen(store, database) as view:
        for change in describe(view):
            name = (change.kind, change.player, change.key)
            before = entries.pop(name, (change, _before(view, change)))[1]
            entries[name] = (change, before)
            _keep(view, change)
    lines = (
        json.dumps({**asdict(change), **({} if before is ABSENT else {"before": before})})
        for change, before in entries.values()
    )
    text, own = "".join(f"{line}\n" for line in lines), _own(store)
    for folder in folders(store.parent):
        path = folder / _name(store)
        with suppress(FileError):
            write_file(path, text)
            if own is not None and own != path:
                delete(own)
            return True
    return False


def is_waiting(store: Path) -> bool:
    """Whether there are changes that the ``store`` has not taken in."""
    return bool(files(store))


def files(store: Path) -> list[Path]:
    """The files with changes for the ``store``, the oldest first."""
    found = []
    for folder in folders(store.parent):
        with suppress(OSError):
            found += [
                (path.stat().st_mtime, path)
                for path in folder.glob(f"playalong-{_whose(store)}-*.changes")
                if is_ours(path)
            ]
    return [path for _, path in sorted(set(found))]


@contextmanager
def seen(store: Path, database: Database | None) -> Iterator[Database]:
    """The store in memory, as far as it can be read, with all that waits for it."""
    with closing(Database.open(Path(":memory:"))) as view:
        if database is not None:
            with suppress(StoreError), view.writing():
                _copy(database, view)
        for path in files(store):
            for change, before in _read(path).values():
                with suppress(UserError):
                    _take_in(view, change, before)
        yield view


def take_in(database: Database) -> list[str]:
    """Let the store have all that waited for it; what is to be told of it.

    StoreError where it still cannot be written: what waits is left as it is.
    """
    counts: dict[str, int] = {}
    notices: list[str] = []
    for path in files(database.path):
        entries = _read(path)
        with database.waiting(_PATIENCE_S), database.writing():
            for change, before in entries.values():
                try:
                    notices += _take_in(database, change, before)
                except StoreError:
                    raise
                except UserError as error:  # a name that somebody else has by now
                    notices.append(str(error))
                counts[_CALLED[change.kind]] = counts.get(_CALLED[change.kind], 0) + 1
        with suppress(OSError):
            path.unlink(missing_ok=True)
    if counts:
        what = ", ".join(counted(number, name) for name, number in counts.items())
        verb = "was" if sum(counts.values()) == 1 else "were"
        notices.append(
            f"Taken in: {what} that {verb} kept in a file while the store could not be used."
        )
    return notices


_CALLED = {
    Kind.CHOSEN: "setting",
    Kind.PLAYER: "setting",
    Kind.SETTING: "setting",
    Kind.PROFILE: "profile",
    Kind.WRITTEN: "profile",
    Kind.LESSON: "lesson",
}


# One change.


def _keep(database: Database, change: Change) -> None:
    number, now = players.EVERYBODY, datetime.now().astimezone()
    if change.player is not None:
        number = players.player_of(database, change.player, now).id
    if change.kind is Kind.CHOSEN:
        players.choose(database, number)
    elif change.kind is Kind.PLAYER and change.key:
        players.change(database, number, **{change.key: change.value})
    elif change.kind is Kind.SETTING:
        players.remember(database, {change.key: change.value}, number)
    elif change.kind in (Kind.PROFILE, Kind.WRITTEN):
        knowledge.keep_profile(database, number, change.key, text=change.value, now=now)
    elif change.kind is Kind.LESSON:
        pattern = {name: change.value[name] for name in ("name", "title", "text")}
        knowledge.keep_pattern(database, fingerprint=change.key, **pattern)
        knowledge.keep_lesson(
            database,
            number,
            change.key,
            name=pattern["name"],
            progress=change.value["progress"],
            now=now,
        )


def _before(database: Database, change: Change) -> Any:
    """What was there before a change, ``ABSENT`` where nothing was, or nothing like it."""
    found = players.find(database, change.player) if change.player is not None else None
    number = players.EVERYBODY if found is None else found.id
    if change.player is not None and found is None:
        return ABSENT
    if change.kind is Kind.SETTING:
        return players.settings(database, number).get(change.key, ABSENT)
    if change.kind is Kind.PROFILE:
        text = knowledge.profile_text(database, number, change.key)
        return ABSENT if text is None else text
    if change.kind is Kind.LESSON:
        progress = knowledge.lesson(database, number, change.key)
        return ABSENT if progress is None else progress
    return ABSENT


def _take_in(database: Database, change: Change, before: Any) -> list[str]:
    """Put a change together with what the store has by now; what is to be told of it."""
    stored, notices = _before(database, change), list[str]()
    if stored is not ABSENT and change.kind is Kind.PROFILE:
        text = profiles.merged(None if before is ABSENT else before, change.value, stored)
        if text is None:
            name = f"{change.key}-{change.player}.toml"
            aside = write_new_file(database.path.parent / "set-aside", _safe(name), stored)
            notices = [f"What was learned of a kit meanwhile replaces its profile, now in {aside}."]
        change = replace(change, value=change.value if text is None else text)
    elif stored is not ABSENT and change.kind is Kind.LESSON:
        progress = _merged_texts(before, change.value["progress"], stored)
        change = replace(change, value={**change.value, "progress": progress})
    elif stored is not ABSENT and change.value is not None:
        change = replace(change, value=merged(before, change.value, stored))
    _keep(database, change)
    return notices


def _merged_texts(before: Any, after: str, stored: str) -> str:
    """Texts of JSON put together; ``after`` where one is none."""
    try:
        was = json.loads(before) if isinstance(before, str) else ABSENT
        return json.dumps(merged(was, json.loads(after), json.loads(stored)))
    except (ValueError, RecursionError):
        return after


def _safe(name: str) -> str:
    return "".join(char if char.isalnum() or char in "-." else "-" for char in name)


# Files.


def _copy(database: Database, view: Database) -> None:
    for table in ("player", "kit", "pattern", "profile", "lesson", "setting"):
        for row in database.rows(f"SELECT * FROM {table}"):
            marks = ", ".join("?" * len(row))
            view.write(f"INSERT INTO {table} VALUES ({marks})", row)


def _whose(store: Path) -> str:
    return f"{crc32(str(store.absolute()).encode(errors='replace')):08x}"


def _name(store: Path) -> str:
    return f"playalong-{_whose(store)}-{os.getpid()}.changes"


def _own(store: Path) -> Path | None:
    """The file of this program, where it has begun one."""
    name = _name(store)
    return next((path for path in files(store) if path.name == name), None)


_Entries = dict[tuple[Kind, str | None, str], tuple[Change, Any]]


def _read(path: Path | None) -> _Entries:
    """The changes in a file, each with what was before; what makes no sense is passed over."""
    try:
        lines = [] if path is None else read_bytes(path, MOST_MIDI).splitlines()
    except OSError:
        return {}
    found: _Entries = {}
    for line in lines:
        with suppress(ValueError, TypeError, KeyError, RecursionError):
            plain = dict(json.loads(line))
            before = plain.pop("before", ABSENT)
            change = Change(**{**plain, "kind": Kind(plain["kind"])})
            if _are_names(plain) and _makes_sense(change):
                found[(change.kind, change.player, change.key)] = (change, before)
    return found


def _are_names(plain: dict[str, Any]) -> bool:
    return isinstance(plain["key"], str) and isinstance(plain["player"], str | None)


def _makes_sense(change: Change) -> bool:
    value = change.value
    if change.kind is Kind.PLAYER:
        kinds = {"": object, "level": str, "left_handed": bool}
        return isinstance(value, kinds.get(change.key, ()))
    if change.kind in (Kind.PROFILE, Kind.WRITTEN):
        return isinstance(value, str)
    if change.kind is Kind.LESSON:
        return isinstance(value, dict) and all(
            isinstance(value.get(name), str) for name in ("name", "title", "text", "progress")
        )
    return change.kind is not Kind.CHOSEN or change.player is not None
