"""Lessons: how far each player has come with each pattern, a text in the store."""

from datetime import datetime
from pathlib import Path

from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.model import Pattern
from playalong.pattern.writer import write as written
from playalong.records.store import knowledge, players
from playalong.records.store.database import Database, StoreError
from playalong.records.store.recovery import open_or_renew
from playalong.support.errors import UserError


class LessonError(UserError):
    """A lesson that cannot be kept."""


def read(store: Path, player: str, pattern: Pattern) -> tuple[str | None, str]:
    """What was kept of the lesson of ``player`` on ``pattern``, and a word on trouble.

    ``store`` is the file of the store. None where nothing was kept, or nothing can be read.
    """
    if not store.exists():
        return None, ""
    try:
        database, recovered = open_or_renew(store)
        words = " ".join(recovered.words(store)) if recovered is not None else ""
        try:
            found = players.find(database, player)
            if found is None:
                return None, words
            return knowledge.lesson(database, found.id, pattern_id(pattern)), words
        finally:
            database.close()
    except StoreError as error:
        return None, str(error)


def changed(store: Path, player: str, pattern: Pattern) -> list[str]:
    """What was kept of the lessons of ``player`` on other patterns of the same name, the latest
    first: one of them may be this one, as it was before its file was changed.
    """
    if not store.exists():
        return []
    try:
        database = Database.open(store)
        try:
            found = players.find(database, player)
            kept = knowledge.lessons(database, found.id) if found is not None else []
        finally:
            database.close()
    except StoreError:
        return []  # which ``read`` says
    return [plain for _, name, plain, _ in kept if name == pattern.name]


def write(store: Path, player: str, pattern: Pattern, *, progress: str) -> None:
    """Keep the lesson of ``player`` on ``pattern``; LessonError where the store cannot be used."""
    now = datetime.now().astimezone()
    try:
        database = Database.open(store)
        try:
            with database.writing():
                knowledge.keep_pattern(
                    database,
                    fingerprint=pattern_id(pattern),
                    name=pattern.name,
                    title=pattern.title,
                    text=text_of(pattern),
                )
                knowledge.keep_lesson(
                    database,
                    players.player_of(database, player, now).id,
                    pattern_id(pattern),
                    name=pattern.name,
                    progress=progress,
                    now=now,
                )
        finally:
            database.close()
    except StoreError as error:
        raise LessonError(f"The lesson cannot be kept: {error}") from None


def earlier_files(folder: Path) -> list[Path]:
    """The lessons that earlier versions kept in the user's data ``folder``, named by patterns."""
    return sorted((folder / "lessons").glob("*.json"))


def text_of(pattern: Pattern) -> str:
    """The pattern's file; none where it came from no file and cannot be written as one."""
    try:
        return written(pattern)
    except ValueError:
        return ""
