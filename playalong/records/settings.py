"""What is remembered of this computer from run to run, and what earlier versions kept of that."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playalong.grading.levels import Level
from playalong.records.tables import TEXT, Kind, Tables, number, one_of

#: The sound level is a gain, so never above 0 dB; under the lowest nothing is heard.
LOWEST_DB, HIGHEST_DB = -100.0, 0.0

_DB = number(LOWEST_DB, HIGHEST_DB, "a level in dB from -100 to 0, as in -20.0")
_LEVEL = one_of(Level)
_NAMES = Kind(
    'a list of names in quotes, as in ["Ana"]',
    lambda value: isinstance(value, list) and all(isinstance(name, str) for name in value),
)
_TEXTS = ("sound_device", "kit", "port")


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What is remembered: the sound level in dB (None until one is chosen), and the names of the
    last sound device, kit, player and port, empty where there is none.
    """

    level_db: float | None = None
    sound_device: str = ""
    kit: str = ""
    player: str = ""
    port: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierSettings:
    """What ``settings.toml`` says: beside the settings how strict each player is judged, and who
    leads with the left hand.
    """

    settings: Settings
    levels: Mapping[str, Level] = field(default_factory=dict)
    left_handed: tuple[str, ...] = ()


def from_plain(plain: Mapping[str, Any], player: str) -> Settings:
    """The settings as the store keeps them, by their names; what makes no sense is left out."""
    level_db = plain.get("level_db")
    texts = {name: plain[name] for name in _TEXTS if isinstance(plain.get(name), str)}
    return Settings(
        level_db=float(level_db) if level_db is not None and _DB.fits(level_db) else None,
        player=player,
        **texts,
    )


def earlier_file(folder: Path) -> Path:
    """Where earlier versions kept them, in the user's config ``folder``."""
    return folder / "settings.toml"


def read_earlier(path: Path) -> EarlierSettings:
    """What earlier versions kept at ``path``; TomlError tells every mistake, OSError that it
    cannot be read.
    """
    tables = Tables(path)
    tables.known((), ("level_db", "left_handed", "levels", "player", *_TEXTS))
    level_db = tables.get(("level_db",), _DB, None)
    words: dict[str, Any] = {name: tables.get((name,), TEXT, "") for name in ("player", *_TEXTS)}
    levels = {
        player: Level(found)
        for player in tables.table("levels")
        if (found := tables.get(("levels", player), _LEVEL, None)) is not None
    }
    left_handed = tuple(tables.get(("left_handed",), _NAMES, []))
    tables.done()
    return EarlierSettings(
        settings=Settings(level_db=None if level_db is None else float(level_db), **words),
        levels=levels,
        left_handed=left_handed,
    )
