"""What earlier versions kept in files is taken into the store: once, and left where it is.

Earlier versions kept ``settings.toml`` and ``profiles/`` in the user's config folder, ``lessons/``
and ``takes/`` in the data folder. Each file is taken in whole or not at all, and the store knows
which were; so an end in between, or two programs at once, take nothing twice.
"""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from playalong.app.memory import NOBODY
from playalong.records import profiles, settings
from playalong.records.settings import EarlierSettings
from playalong.records.store import imports, knowledge, players
from playalong.records.store.database import Database, StoreError
from playalong.support.errors import UserError
from playalong.support.text import printable

#: A setting of the store: all that earlier versions kept has been looked at.
_DONE = "moved_in"


def is_due(config: Path, data: Path) -> bool:
    """Whether there is anything of an earlier version."""
    return settings.earlier_file(config).exists() or bool(profiles.earlier_files(config))


def move_in(database: Database, config: Path, data: Path) -> list[str]:
    """Take in what is there, if that was not done before; what is to be told of it."""
    try:
        if players.settings(database).get(_DONE):
            return []
        told = [*_settings(database, config), *_profiles(database, config)]
        players.remember(database, {_DONE: True})
    except StoreError as error:
        return [str(error)]
    return told


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
            found, text = profiles.read_file(path), path.read_text(encoding="utf-8")
        except (OSError, UserError) as error:
            yield _left(path, error)
            continue
        player = found.player or NOBODY
        with imports.taking_in(database, path, _now(), player) as is_new:
            if is_new:
                number = _player(database, player)
                knowledge.keep_profile(database, number, found.kit, text, _now())


def _player(database: Database, name: str) -> int:
    return players.player_of(database, name or NOBODY, _now()).id


def _left(path: Path, error: Exception) -> str:
    reason = error if isinstance(error, UserError) else getattr(error, "strerror", None) or error
    return f"{printable(str(path))} was not taken in, and is left as it is. {reason}"


def _now() -> datetime:
    return datetime.now().astimezone()
