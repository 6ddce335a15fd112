"""Lessons: how far each player has come with each pattern, a text in the store."""

from pathlib import Path

from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.model import Pattern
from playalong.pattern.writer import write as written
from playalong.records.store import knowledge, players
from playalong.records.store.database import Database, StoreError
from playalong.records.store.meanwhile import changes
from playalong.records.store.meanwhile.changes import Change, Kind
from playalong.records.store.recovery import open_or_renew
from playalong.support.errors import UserError


class LessonError(UserError):
    """A lesson that cannot be kept."""


def read(store: Path, player: str, pattern: Pattern) -> tuple[str | None, str]:
    """What was kept of the lesson of ``player`` on ``pattern``, and a word on trouble.

    ``store`` is the file of the store. None where nothing was kept, or nothing can be read.
    """
    saved, words = _saved_lessons(store, player)
    return next((plain for found, _, plain in saved if found == pattern_id(pattern)), None), words


def changed(store: Path, player: str, pattern: Pattern) -> list[str]:
    """What was kept of the lessons of ``player`` on other patterns of the same name, the latest
    first: one of them may be this one, as it was before its file was changed.
    """
    saved, _ = _saved_lessons(store, player)  # what is wrong ``read`` says
    return [plain for _, name, plain in saved if name == pattern.name]


def _saved_lessons(store: Path, player: str) -> tuple[list[tuple[str, str, str]], str]:
    """All lessons of a player, the latest first: fingerprint, name, progress; a word on trouble."""
    database, words = None, ""
    try:
        if store.exists():
            database, recovered = open_or_renew(store)
            words = " ".join(recovered.words(store)) if recovered is not None else ""
        if changes.is_waiting(store):
            with changes.seen(store, database) as seen:
                return _of(seen, player), words
        return ([] if database is None else _of(database, player)), words
    except StoreError as error:
        if not changes.is_waiting(store):
            return [], str(error)
        with changes.seen(store, None) as seen:
            return _of(seen, player), str(error)
    finally:
        if database is not None:
            database.close()


def _of(database: Database, player: str) -> list[tuple[str, str, str]]:
    found = players.find(database, player)
    rows = knowledge.lessons(database, found.id) if found is not None else []
    return [(fingerprint, name, plain) for fingerprint, name, plain, _ in rows]


def write(store: Path, player: str, pattern: Pattern, *, progress: str) -> str:
    """Keep the lesson of ``player`` on ``pattern``; ``progress`` is JSON.

    A word on trouble where it is in a file meanwhile; LessonError where it can be kept nowhere.
    """
    value = {
        "name": pattern.name,
        "title": pattern.title,
        "text": text_of(pattern),
        "progress": progress,
    }
    lesson = Change(kind=Kind.LESSON, player=player, key=pattern_id(pattern), value=value)
    database = None
    try:
        database = Database.open(store)
        changes.take_in(database)
        changes.keep(database, lambda _: [lesson])
        return ""
    except StoreError as error:
        if changes.keep_in_file(store, database, lambda _: [lesson]):
            return f"{error} {changes.WORDS}"
        raise LessonError(f"The lesson cannot be kept: {error}") from None
    finally:
        if database is not None:
            database.close()


def earlier_files(folder: Path) -> list[Path]:
    """The lessons that earlier versions kept in the user's data ``folder``, named by patterns."""
    return sorted((folder / "lessons").glob("*.json"))


def text_of(pattern: Pattern) -> str:
    """The pattern's file; none where it came from no file and cannot be written as one."""
    try:
        return written(pattern)
    except ValueError:
        return ""
