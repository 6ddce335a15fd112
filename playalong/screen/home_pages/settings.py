"""A page of rows: the settings, or a choice of one of several things."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.rows import CHANGING, Rows
from playalong.screen.base.theme import BODY, Theme
from playalong.screen.base.widgets import (
    BACK_OUT,
    HEAD,
    MARGIN,
    Button,
    ButtonPage,
    Buttons,
    Level,
    foot,
    head,
)

#: How one of several things is chosen, where rows are not changed.
CHOOSING = (
    Button((Key.ENTER,), "Enter", "choose", outcome=Outcome.START),
    Button((Key.UP,), "↑", "up", outcome=Outcome.BACK),
    Button((Key.DOWN,), "↓", "down", outcome=Outcome.NEXT),
    BACK_OUT,
)

#: How rows are changed: the main action does what the arrow to the right does.
SETTING = (
    Button((Key.ENTER,), "Enter", "change", outcome=Outcome.FASTER),
    *CHANGING,
    BACK_OUT,
)

#: The part of the width that the rows take; the room for a word about the chosen one, in units.
_ROWS, _ABOUT = 0.62, 30


@dataclass(kw_only=True)
class SettingsPage(ButtonPage):
    """Rows of settings; what is chosen is changed at once. ``notices`` are told at the foot, and
    ``level`` is that of the sound, None where it is what is set.
    """

    theme: Theme
    title: str
    subtitle: str
    rows: Rows
    notices: Sequence[str] = ()
    level: Level | None = field(default_factory=Level, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons(SETTING), repr=False)

    def handle(self, press: Press) -> Outcome | None:
        """LESS or MORE of the chosen row, or what a button is for."""
        outcome = self.buttons.handle(press)
        changed = self.rows.handle(press if outcome is None else outcome)
        if outcome in {button.outcome for button in CHANGING}:
            return changed
        return outcome or changed

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        head(pen, self.title, self.subtitle, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top, bottom = pen.px(HEAD), foot(pen, self.buttons, self.notices) - pen.px(16)
        middle = left + (right - left) * _ROWS
        self.rows.draw(pen, area(left=left, top=top, right=middle, bottom=bottom))
        beside = middle + pen.px(40)
        base = top + pen.px(_ABOUT)
        for line in pen.wrapped(self.rows.choice.about, BODY, right - beside):
            pen.text(line, BODY, (beside, base), colour=pen.colours.quiet)
            base += pen.px(BODY * 1.45)
        if self.level is not None:
            self.level.draw(pen, (beside, base + pen.px(10)))
