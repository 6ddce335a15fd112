"""What is saved of a player's warm-ups: marks and tempi, and the diary."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playalong.app.user_folders import UserFolders
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.pattern.voices import VOICES
from playalong.practice.warm_up.adapting import Knowledge
from playalong.practice.warm_up.diary import Diary
from playalong.practice.warm_up.exercises import EXERCISES
from playalong.records.pattern_files import read_text
from playalong.support import resources

#: How long a warm-up may be chosen in the window, in minutes.
LENGTHS = (5.0, 10.0, 20.0)

#: What can be played on, as it is typed and as it is said: the voices of each.
SETS: dict[str, tuple[str, ...]] = {
    "pad": ("snare",),
    "pad-and-kick": ("snare", "kick"),
    "kit": tuple(voice.name for voice in VOICES),
}
SAID = {"pad": "on one pad", "pad-and-kick": "on a pad and a kick", "kit": "on a kit"}


def can_play(on: str, pattern: Pattern) -> bool:
    """Whether a pattern can be played on one of ``SETS``."""
    return set(SETS[on]).issuperset(pattern.voices)


#: The name under which the store has it, among a player's settings.
_SETTING = "warm_up"


@dataclass(frozen=True, slots=True, kw_only=True)
class SavedWarmUps:
    """What is known of a player, and their other days; how long and on what they last warmed up,
    0 and "" before the first time.
    """

    knowledge: Knowledge
    diary: Diary
    minutes: float = 0.0
    on: str = ""


def load(home: UserFolders, player: str) -> SavedWarmUps:
    """What is saved of ``player``; nothing where there is nothing, or nothing that is sound."""
    plain: Any = home.settings_of(player).get(_SETTING)
    found = plain if isinstance(plain, dict) else {}
    minutes, on = found.get("minutes"), found.get("on")
    return SavedWarmUps(
        knowledge=Knowledge.from_plain(found.get("known")),
        diary=Diary.from_plain(found.get("days")),
        minutes=float(minutes) if minutes in LENGTHS else 0.0,
        on=on if isinstance(on, str) and on in SETS else "",
    )


def save(home: UserFolders, player: str, what: SavedWarmUps) -> None:
    """Save it; what goes wrong is among the notices of ``home``."""
    plain = {
        "known": what.knowledge.as_plain(),
        "days": what.diary.as_plain(),
        "minutes": what.minutes,
        "on": what.on,
    }
    home.remember_for(player, **{_SETTING: plain})


def exercise_patterns() -> dict[str, Pattern]:
    """The patterns of all exercises, by the names of their files."""
    folder: Path = resources.folder("patterns") / "warm-up"
    names = sorted({one.pattern for one in EXERCISES})
    return {name: read(read_text(folder / f"{name}.toml"), name) for name in names}
