"""What earlier versions kept in files is taken into the store: once, and left where it is.

Earlier versions kept ``settings.toml`` and ``profiles/`` in the user's config folder, ``lessons/``
and ``takes/`` in the data folder. Each file is taken in whole or not at all, and the store knows
which were; so an end in between, or two programs at once, take nothing twice.
"""

from collections.abc import Callable, Iterator
from contextlib import nullcontext
from dataclasses import replace
from datetime import datetime
from math import inf
from pathlib import Path

from playalong.app import stored_runs
from playalong.app.memory import Memory
from playalong.app.stored_runs import NOBODY
from playalong.pattern.fingerprint import pattern_id
from playalong.records import lessons, profiles, settings
from playalong.records.pattern_files import library
from playalong.records.settings import EarlierSettings
from playalong.records.store import imports, knowledge, players, runs
from playalong.records.store.database import Database, StoreError
from playalong.support.errors import UserError
from playalong.support.reading import read_text
from playalong.support.terminal import progress
from playalong.support.text import printable, quoted

#: A setting of the store: all that earlier versions kept has been looked at.
_DONE = "moved_in"

#: So many takes are taken in at once: whole, or none of them.
_AT_ONCE = 100


def is_due(config: Path, data: Path) -> bool:
    """Whether there is anything of an earlier version."""
    return (
        settings.earlier_file(config).exists()
        or bool(profiles.earlier_files(config))
        or bool(lessons.earlier_files(data))
        or next((data / "takes").rglob("*.mid"), None) is not None
    )


#: Told of each take that was looked at, and of how many there are.
Progress = Callable[[int, int], None]


def move_in(
    memory: Memory, database: Database, config: Path, *, most: float = inf
) -> tuple[list[str], bool]:
    """Take in what is there, if that was not done before; what is to be told of it, and whether
    all of it is in.

    ``database`` is the open store of ``memory``, that of people; what simulated players left goes
    into their own. More takes than ``most`` are left to ``move_takes_in``, which takes its time.
    """
    try:
        if players.settings(database).get(_DONE):
            return [], True
        notices = [*_settings(database, config), *_profiles(database, config)]
        count = len(_paths(memory.folder))
        if count > most:
            return notices, False
        with progress(count, "takes taken in") if count > _AT_ONCE else nullcontext() as step:
            notices += move_takes_in(memory, database, lambda *_: step() if step else None)
    except StoreError as error:
        return [str(error)], True
    return notices, True


def move_takes_in(memory: Memory, database: Database, progress: Progress) -> list[str]:
    """Take in takes and lessons; as above. StoreError where the store cannot be written.

    Where ``progress`` raises, what it was told of is in, and the next start goes on from there.
    """
    simulated = replace(memory, simulated=True).open()
    try:
        notices = [
            *_takes(memory.folder, database, simulated, progress=progress),
            *_lessons(memory.folder, database, simulated),
        ]
    finally:
        if simulated is not None:
            simulated.close()
    players.remember(database, {_DONE: True})
    return notices


def _paths(data: Path) -> list[Path]:
    return sorted((data / "takes").rglob("*.mid"))


def _settings(database: Database, config: Path) -> Iterator[str]:
    path = settings.earlier_file(config)
    if not path.exists():
        return
    try:
        found = settings.read_earlier(path)
    except (OSError, UserError) as error:
        yield _left(path, error)
        return
    with imports.taking_in(database, path, _now()) as is_new:
        if is_new:
            _keep_settings(database, found)


def _keep_settings(database: Database, found: EarlierSettings) -> None:
    last = found.settings
    plain = {name: getattr(last, name) for name in ("level_db", "sound_device", "kit", "port")}
    players.remember(
        database, {name: value for name, value in plain.items() if value not in (None, "")}
    )
    for name, level in found.levels.items():
        players.change(database, _player(database, name), level=level.value)
    for name in found.left_handed:
        players.change(database, _player(database, name), left_handed=True)
    if last.player:
        players.choose(database, _player(database, last.player))


def _profiles(database: Database, config: Path) -> Iterator[str]:
    for path in profiles.earlier_files(config):
        if path.suffix != ".toml":
            continue  # it was set aside for its mistakes
        try:
            found, text = profiles.read_file(path), read_text(path)
        except (OSError, UserError) as error:
            yield _left(path, error)
            continue
        player = found.player or NOBODY
        with imports.taking_in(database, path, _now(), player=player) as is_new:
            if is_new:
                number = _player(database, player)
                knowledge.keep_profile(database, number, found.kit, text=text, now=_now())


def _takes(
    data: Path, database: Database, simulated: Database | None, *, progress: Progress
) -> Iterator[str]:
    """Takes are graded later, when that is asked for: it would take long."""
    paths = _paths(data)
    count = 0
    for first in range(0, len(paths), _AT_ONCE):
        portion = paths[first : first + _AT_ONCE]
        with database.writing(), simulated.writing() if simulated else nullcontext():
            for path in portion:
                try:
                    take = stored_runs.read_take(path)
                    store = simulated if take and take.is_simulated else database
                    if take is not None and store is not None:
                        is_new = stored_runs.take_in(store, take)
                        count += is_new and store is database
                except (OSError, UserError) as error:
                    if isinstance(error, StoreError):
                        raise
                    yield _left(path, error)
        for number in range(first, first + len(portion)):
            progress(number + 1, len(paths))
    nobodys = players.find(database, NOBODY)
    unnamed = len(runs.pending(database, nobodys.id)) if nobodys is not None else 0
    if unnamed:
        yield (
            f"{unnamed} of the takes say not who played: they are under the name {quoted(NOBODY)}."
        )
    if count:
        takes = "1 take of an earlier version was" if count == 1 else f"{count} takes were"
        yield f"{takes} taken into the store; the files stay where they are."


def _lessons(data: Path, database: Database, simulated: Database | None) -> Iterator[str]:
    """A lesson was known by its pattern's name alone: its takes say which, and whose it was."""
    for path in lessons.earlier_files(data):
        stores = [database, *([simulated] if simulated is not None else [])]
        found = next(filter(None, (_practised(store, path.stem) for store in stores)), None)
        found = found or _of_library(database, path.stem)
        try:
            text = read_text(path)
        except (OSError, UnicodeDecodeError) as error:
            yield _left(path, error)
            continue
        if found is None:
            yield (
                f"{printable(str(path))} was not taken in, and is left as it is: no pattern of "
                "that name is known."
            )
            continue
        store, number, pattern = found
        with imports.taking_in(
            store, path, _now(), player=players.name_of(store, number)
        ) as is_new:
            if is_new:
                knowledge.keep_lesson(
                    store, number, pattern, name=path.stem, progress=text, now=_now()
                )


def _practised(database: Database, name: str) -> tuple[Database, int, str] | None:
    """Who last practised the pattern of that name, and its fingerprint."""
    row = database.row(
        "SELECT run.player, run.pattern FROM run"
        " JOIN pattern ON pattern.fingerprint = run.pattern"
        " WHERE pattern.name = ? AND run.kind = 'lesson' ORDER BY run.began_s DESC LIMIT 1",
        (name,),
    )
    return None if row is None else (database, int(row[0]), str(row[1]))


def _of_library(database: Database, name: str) -> tuple[Database, int, str] | None:
    """The last player, and the fingerprint of the shipped pattern of that name, if there is one."""
    try:
        pattern = library().get(name)
    except UserError:
        return None
    last = players.last(database)
    number = last.id if last else _player(database, NOBODY)
    fingerprint = pattern_id(pattern)
    knowledge.keep_pattern(
        database,
        fingerprint=fingerprint,
        name=pattern.name,
        title=pattern.title,
        text=lessons.text_of(pattern),
    )
    return database, number, fingerprint


def _player(database: Database, name: str) -> int:
    return players.player_of(database, name or NOBODY, _now()).id


def _left(path: Path, error: Exception) -> str:
    reason = error if isinstance(error, UserError) else getattr(error, "strerror", None) or error
    return f"{printable(str(path))} was not taken in, and is left as it is. {reason}"


def _now() -> datetime:
    return datetime.now().astimezone()
