"""What the settings page changes, kept for this computer and for each player."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from playalong.app.user_folders import UserFolders
from playalong.grading.levels import LEVELS, Level
from playalong.screen.base.rows import Choice
from playalong.sound.synth.click import Counting, Places

#: A setting of this computer: the first start has been gone through, or put off.
FIRST_START = "first_start"

#: The sizes of window that can be chosen, in pixels.
SIZES = ((1280, 720), (1600, 900), (1920, 1080), (2560, 1440), (960, 540), (640, 480))

_OFF_ON = ("off", "on")


@dataclass(frozen=True, kw_only=True)
class Setting:
    """A row of the settings page: its name, a word about it, its values in words, and which of
    them it is now; ``keep`` is told the number of another.
    """

    name: str
    about: str
    values: Sequence[str]
    now: Callable[[], int]
    keep: Callable[[int], None]

    def choice(self) -> Choice:
        """The row as it stands."""
        return Choice(name=self.name, value=self.values[self.now()], about=self.about)

    def step(self, steps: int) -> None:
        """Another value, so many further on."""
        self.keep((self.now() + steps) % len(self.values))


def settings_of(home: UserFolders, player: str) -> list[Setting]:
    """The rows of the settings page for ``player``."""
    sizes = [f"{width} × {height}" for width, height in SIZES]
    levels, places = list(Level), list(Places)
    return [
        _flag(home, "full_screen", "full screen", about="The window takes all of the screen."),
        Setting(
            name="window",
            about="How large the window is when it does not take all of the screen.",
            values=sizes,
            now=lambda: _number(sizes, _size_words(home)),
            keep=lambda number: home.remember_for(None, window_size=list(SIZES[number])),
        ),
        _flag(home, "dark", "dark", about="Light writing on dark paper."),
        _flag(home, "large", "larger writing", about="Everything that is read is a fifth larger."),
        _flag(home, "strong", "strong contrast", about="Black and white, with hard edges."),
        _flag(
            home,
            "still",
            "less motion",
            about="The sheet stands still, and the line moves over it.",
        ),
        _flag(
            home,
            "echo",
            "your pads sound here",
            about="For a kit without a module: the program sounds your strokes, a little late.",
        ),
        Setting(
            name="click",
            about="Where it clicks, unless a run says otherwise.",
            values=[str(place) for place in places],
            now=lambda: _number(
                [str(place) for place in places], home.settings_of(None).get("click")
            ),
            keep=lambda number: home.remember_for(None, click=str(places[number])),
        ),
        Setting(
            name="counted in by",
            about="A voice says the numbers, or what lies between as well, at the click's level.",
            values=[str(one) for one in Counting],
            now=lambda: _number(
                [str(one) for one in Counting], home.settings_of(None).get("counting")
            ),
            keep=lambda number: home.remember_for(None, counting=str(list(Counting)[number])),
        ),
        Setting(
            name="level",
            about="How strict you are judged: how far off is still on time.",
            values=[f"{level}, {LEVELS[level].tolerance_ms:g} ms" for level in levels],
            now=lambda: levels.index(home.level(player)),
            keep=lambda number: home.remember_level(player, levels[number]),
        ),
        Setting(
            name="leading hand",
            about="Sticking is written for the right-handed, and mirrored for the left-handed.",
            values=("right", "left"),
            now=lambda: int(home.is_left_handed(player)),
            keep=lambda number: home.remember_hand(player, bool(number)),
        ),
    ]


def is_due(home: UserFolders) -> bool:
    """Whether the first start is due: nobody has played or been here yet."""
    return home.player() is None and not home.settings_of(None).get(FIRST_START)


def size_of(stored: Mapping[str, Any]) -> tuple[int, int]:
    """The size of the window that was chosen, in pixels."""
    found = stored.get("window_size")
    if isinstance(found, list) and tuple(found) in SIZES:
        return (int(found[0]), int(found[1]))
    return SIZES[0]


def click_of(stored: Mapping[str, Any]) -> Places:
    """Where it clicks by the settings."""
    found = stored.get("click")
    return next((place for place in Places if place == found), Places.BEATS)


def _flag(home: UserFolders, key: str, name: str, *, about: str) -> Setting:
    return Setting(
        name=name,
        about=about,
        values=_OFF_ON,
        now=lambda: int(bool(home.settings_of(None).get(key))),
        keep=lambda number: home.remember_for(None, **{key: bool(number)}),
    )


def _size_words(home: UserFolders) -> str:
    width, height = size_of(home.settings_of(None))
    return f"{width} × {height}"


def _number(values: Sequence[str], value: object) -> int:
    return next((number for number, one in enumerate(values) if one == value), 0)
