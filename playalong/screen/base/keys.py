"""What a page is told: keys, characters and clicks."""

from dataclasses import dataclass
from enum import Enum, auto


class Key(Enum):
    """The keys that pages know, and the closing of the window."""

    ENTER = auto()
    ESCAPE = auto()
    LEFT = auto()
    RIGHT = auto()
    UP = auto()
    DOWN = auto()
    SPACE = auto()
    BACKSPACE = auto()
    CLOSE = auto()


@dataclass(frozen=True, slots=True)
class Click:
    """A click of the mouse, in pixels from the upper left corner of the window."""

    x: int
    y: int


#: A key, a single character, a click, or the outcome (see ``page``) that strokes ask for.
Press = Key | str | Click
