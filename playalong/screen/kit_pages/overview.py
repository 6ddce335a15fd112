"""The page of a kit as a whole: what is known of it, and what can be set."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base import marks
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    DOWN,
    HEAD,
    LEAVE,
    MARGIN,
    UP,
    Button,
    Buttons,
    ListPage,
    foot,
    head,
)
from playalong.screen.kit_pages.kit_drawing import KitDrawing

#: What can be set, in the order of the page.
PAGES = (
    Button(("p", "P"), "P", "pads", outcome=Outcome.PADS),
    Button(("l", "L"), "L", "loudness", outcome=Outcome.LOUDNESS),
    Button(("d", "D"), "D", "double triggers", outcome=Outcome.TRIGGERS),
    Button(("t", "T"), "T", "latency", outcome=Outcome.LATENCY),
    Button(("s", "S"), "S", "sticks in hand", outcome=Outcome.PAD_COMMANDS),
    Button(("m", "M"), "M", "messages", outcome=Outcome.MESSAGES),
)

#: How the lines are gone through, so that few pads are enough to reach every page.
CHOOSING = (
    Button((Key.ENTER,), "Enter", "open", outcome=Outcome.START),
    DOWN,
    UP,
    LEAVE,
)

#: The list's part of the width; in units, a line of it at most, and the room for its mark.
_LIST, _LINE, _MARK = 0.48, 80, 26


@dataclass(frozen=True, slots=True)
class KitLine:
    """How things stand with one of PAGES: in words, and whether it has been done."""

    outcome: Outcome
    words: str
    done: bool


@dataclass(kw_only=True)
class KitPage(ListPage):
    """The kit, who plays it, its port, and a line for each thing that can be set.

    ``port`` is a line in words, ``there`` whether the port is; ``chosen`` is the number of the
    line that START opens.
    """

    theme: Theme
    kit: str
    player: str
    port: str
    there: bool
    lines: Sequence[KitLine]
    drawing: KitDrawing = field(default_factory=KitDrawing, repr=False)
    notices: Sequence[str] = ()
    buttons: Buttons = field(default_factory=lambda: Buttons(CHOOSING), repr=False)
    chosen: int = 0
    _pages: Buttons = field(default_factory=lambda: Buttons(PAGES), init=False, repr=False)

    @property
    def count(self) -> int:
        """How many lines there are."""
        return len(self.lines)

    def handle(self, press: Press) -> Outcome | None:
        """The page that is asked for, or LEAVE; NEXT and BACK go through the lines."""
        outcome = super().handle(press) or self._pages.handle(press)
        return self.lines[self.chosen].outcome if outcome is Outcome.START else outcome

    def offers(self, outcome: Outcome) -> bool:
        """Whether a button or a line has this outcome."""
        return super().offers(outcome) or self._pages.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page as it is at ``now_s``, in seconds."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        head(pen, self.kit, f"played by {self.player}", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, self.notices) - pen.px(16)
        middle = left + (right - left) * _LIST
        self._draw_port(pen, left=left, right=right, base=pen.px(HEAD + BODY))
        top = pen.px(HEAD + 36)
        line = min((bottom - top) / len(self.lines), pen.px(_LINE))
        for place, item in enumerate(self.lines):
            self._draw_line(pen, item, left=left, right=middle, down=(top + place * line, line))
        picture = area(left=middle + pen.px(24), top=top - pen.px(20), right=right, bottom=bottom)
        self.drawing.draw(pen, picture, now_s)

    def _draw_port(self, pen: Pen, *, left: float, right: float, base: float) -> None:
        colours, radius = pen.colours, pen.px(6)
        at = (left + radius, base - pen.capital(LABEL) / 2)
        if self.there:
            pen.mark(marks.dot(radius, colours.ink), at)
        else:
            pen.mark(marks.ring(radius, width=pen.px(1.8), colour=colours.off, inside=None), at)
        x = left + pen.px(_MARK)
        colour = colours.ink if self.there else colours.off
        size = pen.fitted(self.port, (LABEL, SMALL), right - x)
        pen.text(self.port, size, (x, base), colour=colour)

    def _draw_line(
        self, pen: Pen, item: KitLine, *, left: float, right: float, down: tuple[float, float]
    ) -> None:
        colours, radius = pen.colours, pen.px(6)
        top, tall = down
        base = top + pen.px(BODY * 1.15)
        if item is self.lines[self.chosen]:
            pen.fill(
                area(left=left - pen.px(8), top=top, right=right, bottom=top + tall - pen.px(2)),
                colours.band,
            )
        at = (left + radius, base - pen.capital(BODY) / 2)
        if item.done:
            pen.mark(marks.dot(radius, colours.ink), at)
        else:
            pen.mark(marks.ring(radius, width=pen.px(1.8), colour=colours.ink, inside=None), at)
        x = left + pen.px(_MARK)
        button = next(button for button in PAGES if button.outcome is item.outcome)
        self._pages.draw_one(pen, button, (x, base))
        for line in pen.wrapped(item.words, SMALL, right - x):
            base += pen.px(SMALL * 1.25)
            if base <= top + tall:
                pen.text(line, SMALL, (x, base), colour=colours.quiet)
