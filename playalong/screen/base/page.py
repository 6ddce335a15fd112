"""A page: what fills the window until it answers a press with an outcome.

To go from page to page, whoever shows them looks at the outcome and shows the next one.

An outcome may be handed in as a press as well: strokes on the pads ask for an outcome and not for
a key, and a page answers them as it answers the key that does the same.
"""

from enum import StrEnum
from typing import Protocol, runtime_checkable

import pygame

from playalong.screen.base.keys import Press


class Outcome(StrEnum):
    """How a page ends."""

    LEAVE = "leave"
    START = "start"
    AGAIN = "again"
    NEXT = "next"
    BACK = "back"
    SLOWER = "slower"
    FASTER = "faster"
    LOUDER = "louder"
    SOFTER = "softer"
    SKIP = "skip"
    EASIER = "easier"
    LATER = "later"
    PLAN = "plan"
    HEAR = "hear"
    LISTEN = "listen"
    SOUND = "sound"

    # While an assessment is taken.
    PAUSE = "stop the clock"
    FINISH = "finish"

    # The rooms that the first page leads to, and what is changed in a list of choices.
    GO_ON = "go on"
    PATTERNS = "patterns"
    WARM_UP = "warm up"
    ASSESSMENT = "assessment"
    LOOK_BACK = "look back"
    KIT = "kit"
    SETTINGS = "settings"
    PRACTISE = "practise"
    WATCH = "watch"
    LESS = "less"
    MORE = "more"

    # What is listened to after a run, and how fast.
    YOURS = "yours"
    PATTERN = "the pattern"
    BOTH = "both"
    HALF = "half speed"

    # The pages of a kit, and what they are answered with.
    PADS = "pads"
    LOUDNESS = "loudness"
    TRIGGERS = "triggers"
    LATENCY = "latency"
    PAD_COMMANDS = "pad-commands"
    MESSAGES = "messages"
    ACCEPT = "accept"
    ACCEPT_ALL = "accept all"
    REFUSE = "refuse"
    FOLD = "fold"
    UNDO = "undo"
    TYPED = "typed"
    CLICK_ON_KIT = "click on the kit"

    # What is put on a pattern's sheet, and what becomes of it; a file that is opened.
    NORMAL = "normal"
    ACCENT = "accent"
    GHOST = "ghost"
    OPEN_HAT = "open hi-hat"
    FLAM = "flam"
    DRAG = "drag"
    BUZZ = "buzz"
    DOUBLES = "doubles"
    LONGER = "longer"
    SHORTER = "shorter"
    VARIATION = "variation"
    OPTIONAL = "may be left out"
    RIGHT_HAND = "right hand"
    LEFT_HAND = "left hand"
    REDO = "redo"
    SAVE = "save"
    EDIT = "edit"
    PRINT = "print"
    WRITE = "write"
    OPEN_FILE = "open a file"

    # The pages that look back.
    OPEN = "open"
    SPAN = "days or weeks"
    OTHER = "another pattern"
    SHEET = "the sheet"
    COMPARE = "compare"
    DATA = "your data"
    GRADE = "grade"
    KEEP = "keep"
    THROW_AWAY = "throw away"
    EXPORT = "export"
    ERASE = "erase"


class Page(Protocol):
    """One page."""

    def handle(self, press: Press) -> Outcome | None:
        """Take a press; an outcome when the page is done."""
        ...

    def offers(self, outcome: Outcome) -> bool:
        """Whether ``outcome`` can be asked of the page now, by whatever means."""
        ...

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page over all of ``surface`` as it is at ``now_s``, in seconds of the run."""
        ...


@runtime_checkable
class Looking(Protocol):
    """A page that knows how it looks, so that it need not be drawn while it looks the same."""

    def looks(self, now_s: float) -> tuple[object, ...] | None:
        """All that is seen at ``now_s``, equal where it looks the same; None where that is open."""
        ...


def looks_of(page: object, now_s: float) -> tuple[object, ...] | None:
    """How ``page`` looks at ``now_s``, with what kind of page it is; None where it does not say."""
    seen = page.looks(now_s) if isinstance(page, Looking) else None
    return None if seen is None else (type(page), *seen)
