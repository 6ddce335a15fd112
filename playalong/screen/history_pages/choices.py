"""A few lines that say what is at hand, and what can be done about it."""

from collections.abc import Sequence

import pygame

from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import ADVICE, BODY, Theme
from playalong.screen.base.widgets import (
    HEAD,
    LEAVE,
    MARGIN,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)

#: What becomes of a run that was broken off.
GRADE = Button((Key.ENTER,), "Enter", "grade it", outcome=Outcome.GRADE)
KEEP = Button(("k", "K"), "K", "keep it without a grade", outcome=Outcome.KEEP)
THROW_AWAY = Button(("x", "X"), "X", "throw it away", outcome=Outcome.THROW_AWAY)
LATER = Button((Key.ESCAPE, Key.CLOSE), "Esc", "decide later", outcome=Outcome.LEAVE)

#: What can be done with a player's data.
EXPORT = Button(("e", "E"), "E", "export as files", outcome=Outcome.EXPORT)
ERASE = Button(("x", "X"), "X", "erase", outcome=Outcome.ERASE)
ERASE_ALL = Button(("y", "Y"), "Y", "yes, erase all of it", outcome=Outcome.ERASE)
ERASE_NONE = Button((Key.ESCAPE, Key.CLOSE), "Esc", "no, keep it", outcome=Outcome.LEAVE)

#: In units: the height of a line, and of a bold one.
_LINE, _SAID = 29, 42


class ChoicesPage(ButtonPage):
    """``said`` stands in bold, ``lines`` under it; where they are many, the up and down keys go
    through them. ``offered`` is what can be done.
    """

    def __init__(
        self,
        theme: Theme,
        title: str,
        *,
        said: str,
        lines: Sequence[str],
        offered: Sequence[Button] = (LEAVE,),
        notices: Sequence[str] = (),
    ) -> None:
        self._theme, self._title, self._said = theme, title, said
        self._lines, self._notices = lines, notices
        self._first, self._shown = 0, len(lines)
        self.buttons = Buttons(offered)

    def handle(self, press: Press) -> Outcome | None:
        """What a button is for; up and down go through the lines."""
        last = max(0, len(self._lines) - self._shown)
        if press is Key.UP:
            self._first = max(0, self._first - 1)
        elif press is Key.DOWN:
            self._first = min(last, self._first + 1)
        return super().handle(press)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        head(pen, self._title, "", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom, base = foot(pen, self.buttons, self._notices) - pen.px(10), float(pen.px(HEAD))
        for line in pen.wrapped(self._said, ADVICE, right - left, bold=True):
            base += pen.px(_SAID)
            pen.text(line, ADVICE, (left, base), bold=True)
        base += pen.px(14)
        wrapped = [part for line in self._lines for part in pen.wrapped(line, BODY, right - left)]
        line_px = pen.px(_LINE)
        self._shown = max(1, int((bottom - base) // line_px))
        self._first = min(self._first, max(0, len(wrapped) - self._shown))
        for line in wrapped[self._first : self._first + self._shown]:
            base += line_px
            pen.text(line, BODY, (left, base), colour=pen.colours.quiet)
        left_over = len(wrapped) - self._first - self._shown
        if left_over > 0:
            pen.text(f"↓ {left_over} more", BODY, (right, base), align=1.0)
