"""The page on which a file that was opened is shown: its sheet, and what was left out of it."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.pattern.model import Pattern
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, SMALL, Theme
from playalong.screen.base.widgets import (
    BACK_OUT,
    HEAD,
    HEAR,
    MARGIN,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)
from playalong.screen.sheet.pattern_grid import PatternGrid
from playalong.support.text import counted

KEEP = Button((Key.ENTER, "k", "K"), "Enter", "keep it", outcome=Outcome.KEEP)
PLAY = Button(("p", "P"), "P", "play it", outcome=Outcome.START)
EDIT = Button(("e", "E"), "E", "change it", outcome=Outcome.EDIT)
PRINT = Button(("s", "S"), "S", "sheet to print", outcome=Outcome.PRINT)
GRADE = Button(("g", "G"), "G", "the grade of this take", outcome=Outcome.GRADE)

#: What can be done with what was read.
OPENED = (KEEP, PLAY, EDIT, HEAR, PRINT, BACK_OUT)

#: So many lines of what was left out are shown; in units, a line, and the least of the sheet.
_MOST_LINES, _LINE, _LEAST = 6, 28, 150


@dataclass(kw_only=True)
class OpenedPage(ButtonPage):
    """``pattern`` as it was read, ``said`` in words how; left and right go through its bars."""

    theme: Theme
    title: str
    subtitle: str
    pattern: Pattern
    said: Sequence[str] = ()
    notices: Sequence[str] = ()
    left_handed: bool = False
    buttons: Buttons = field(default_factory=lambda: Buttons(OPENED), repr=False)
    _first: int = 0
    _shown: int = 1

    def handle(self, press: Press) -> Outcome | None:
        """What a button is for; left and right show other bars."""
        last = max(0, len(self.pattern.bars) - self._shown)
        if press in (Key.LEFT, Key.RIGHT):
            step = 1 if press is Key.RIGHT else -1
            self._first = min(max(self._first + step, 0), last)
            return None
        return self.buttons.handle(press)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        pattern, bars = self.pattern, self.pattern.bars
        head(pen, self.title, self.subtitle, tempo=f"{pattern.tempo:g} bpm", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, self.notices) - pen.px(12)
        step = pen.px(_LINE)
        room = int((bottom - pen.px(HEAD) - pen.px(_LEAST)) // step)
        lines = [line for words in self.said for line in pen.wrapped(words, BODY, right - left)]
        most = max(0, min(_MOST_LINES, room))
        if len(lines) > most:
            more = counted(len(lines) - most + 1, "line")
            lines = [*lines[: max(0, most - 1)], f"and {more} more"]
        for number, line in enumerate(reversed(lines)):
            pen.text(line, BODY, (left, bottom - number * step), colour=pen.colours.quiet)
        end = bottom - len(lines) * step - pen.px(14)
        sheet = area(left=left, top=pen.px(HEAD), right=right, bottom=end)
        grid = PatternGrid(left_handed=self.left_handed)
        self._shown = grid.draw(pen, sheet, bars, voices=pattern.voices, first=self._first)
        if self._shown < len(bars):
            words = f"bar {self._first + 1} of {len(bars)}, ← → for others"
            pen.text(words, SMALL, (right, end + pen.px(6)), colour=pen.colours.quiet, align=1.0)
