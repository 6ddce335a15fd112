"""The page of how loud it sounds: all of it, and click, drums and recording beside one another."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.rows import CHANGING, Choice, Rows
from playalong.screen.base.theme import LABEL, Theme
from playalong.screen.base.widgets import HEAD, MARGIN, Button, Buttons, foot, head

DONE = Button((Key.ENTER, Key.ESCAPE, Key.CLOSE), "Enter", "done", outcome=Outcome.ACCEPT)

#: The part of the width that the rows take, and the height of a line of words, in units.
_ROWS, _LINE = 0.6, 30


@dataclass(kw_only=True)
class SoundLevelPage:
    """``levels`` are (what, its level in words); LESS and MORE ask for another of the chosen one.

    ``words`` stand above them.
    """

    theme: Theme
    words: str
    levels: Sequence[tuple[str, str]]
    buttons: Buttons = field(default_factory=lambda: Buttons((DONE, *CHANGING)), repr=False)
    rows: Rows = field(default_factory=lambda: Rows(()), repr=False)

    @property
    def chosen(self) -> int:
        """The number of the one that is chosen."""
        return self.rows.chosen

    def handle(self, press: Press) -> Outcome | None:
        """LESS or MORE, or that it is done."""
        outcome = self.buttons.handle(press)
        if outcome is Outcome.ACCEPT:
            return outcome
        return self.rows.handle(press if outcome is None else outcome)

    def offers(self, outcome: Outcome) -> bool:
        """Whether a button has this outcome."""
        return self.buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page, which stands still."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        head(pen, "Sound", "", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, ()) - pen.px(16)
        base = float(pen.px(HEAD))
        for line in pen.wrapped(self.words, LABEL, right - left):
            base += pen.px(_LINE)
            pen.text(line, LABEL, (left, base), colour=pen.colours.quiet)
        self.rows.choices = [Choice(name=what, value=level) for what, level in self.levels]
        rows = area(
            left=left,
            top=base + pen.px(_LINE),
            right=left + (right - left) * _ROWS,
            bottom=bottom,
        )
        self.rows.draw(pen, rows)
