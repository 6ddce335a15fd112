"""What is remembered from run to run, in ``settings.toml``: a person may read and edit it."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from playalong.grading.levels import Level
from playalong.records import hand_edited
from playalong.records.tables import TEXT, Kind, Tables, number, one_of

#: The sound level is a gain, so never above 0 dB; under the lowest nothing is heard.
LOWEST_DB, HIGHEST_DB = -100.0, 0.0

_TEMPLATE = """\
# What playalong remembers from run to run. You may change it; what you add here stays.

# The sound device, by a part of its name; "" is the usual one.
sound_device = ""

# The kit and the player whose profile is used.
kit = ""
player = ""

# The MIDI port on which the kit is heard; "" is any.
port = ""

# The players who lead with the left hand: sticking is mirrored for them.
left_handed = []

# How loud the program sounds, in dB: level_db = -6.0 is as loud as it gets, -18.0 is quiet.

[levels]
# How strict each player is judged: beginner, intermediate, advanced or professional.
"""

_LEVEL = one_of(Level)
_NAMES = Kind(
    'a list of names in quotes, as in ["Ana"]',
    lambda value: isinstance(value, list) and all(isinstance(name, str) for name in value),
)


@dataclass(frozen=True, slots=True)
class Settings:
    """What is remembered: the sound level in dB (None until one is chosen), the names of the last
    sound device, kit, player and port, empty where there is none, how strict each player is
    judged, by name, and the names of left-handed players.
    """

    level_db: float | None = None
    sound_device: str = ""
    kit: str = ""
    player: str = ""
    port: str = ""
    levels: Mapping[str, Level] = field(default_factory=dict)
    left_handed: tuple[str, ...] = ()


def read(folder: Path) -> tuple[Settings, str]:
    """What is remembered in ``folder``, and a word on trouble.

    A file with mistakes is set aside under another name, and nothing is remembered.
    """
    found, told = hand_edited.read_or_set_aside(_path(folder), _read)
    return found or Settings(), told


def write(folder: Path, settings: Settings) -> str:
    """Remember ``settings``; returns a word on trouble; TomlError where it cannot be written."""
    plain = {key: value for key, value in asdict(settings).items() if value is not None}
    plain["left_handed"] = list(settings.left_handed)
    plain["levels"] = {player: level.value for player, level in settings.levels.items()}
    return hand_edited.write(_path(folder), plain, _TEMPLATE, _read)


def _path(folder: Path) -> Path:
    return folder / "settings.toml"


def _read(path: Path) -> Settings:
    tables = Tables(path)
    texts = ("sound_device", "kit", "player", "port")
    tables.known((), ("level_db", "left_handed", "levels", *texts))
    level = number(LOWEST_DB, HIGHEST_DB, "a level in dB from -100 to 0, as in -20.0")
    level_db = tables.get(("level_db",), level, None)
    words: dict[str, Any] = {name: tables.get((name,), TEXT, "") for name in texts}
    levels = {
        player: Level(found)
        for player in tables.table("levels")
        if (found := tables.get(("levels", player), _LEVEL, None)) is not None
    }
    left_handed = tuple(tables.get(("left_handed",), _NAMES, []))
    tables.done()
    return Settings(
        None if level_db is None else float(level_db),
        **words,
        levels=levels,
        left_handed=left_handed,
    )
