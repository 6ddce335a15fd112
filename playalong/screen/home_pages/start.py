"""A page of the first start: what is asked, the kit that answers, and how far it has come."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, Theme
from playalong.screen.base.widgets import (
    HEAD,
    MARGIN,
    SKIP,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)
from playalong.screen.kit_pages.kit_drawing import KitDrawing

NEXT_STEP = Button((Key.ENTER,), "Enter", "go on", outcome=Outcome.START)
END_START = Button((Key.ESCAPE, Key.CLOSE), "Esc", "later", outcome=Outcome.LEAVE)
STEPPING = (NEXT_STEP, SKIP, END_START)

#: The part of the width for words; a box and the room between rows of boxes, in units.
_WORDS, _BOX, _ROW, _NAME = 0.5, 30, 44, 170


@dataclass(frozen=True, slots=True)
class Strokes:
    """So many strokes of ``of`` have come of what is called ``name``."""

    name: str
    done: int
    of: int


@dataclass(kw_only=True)
class StartPage(ButtonPage):
    """``prompt`` in large letters, ``said`` below, in the colour of faults where ``is_off``."""

    theme: Theme
    title: str
    subtitle: str
    prompt: str
    said: Sequence[str] = ()
    is_off: bool = False
    strokes: Sequence[Strokes] = ()
    now: int = -1
    drawing: KitDrawing | None = None
    notices: Sequence[str] = ()
    buttons: Buttons = field(default_factory=lambda: Buttons(STEPPING), repr=False)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page as it is at ``now_s``, in seconds."""
        pen = Pen(surface, self.theme)
        colours = pen.colours
        surface.fill(colours.paper)
        head(pen, self.title, self.subtitle, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top, bottom = pen.px(HEAD), foot(pen, self.buttons, self.notices) - pen.px(12)
        middle = left + (right - left) * (_WORDS if self.drawing else 1.0)
        room = middle - left
        base = top + pen.px(8) + pen.capital(ADVICE)
        for line in pen.wrapped(self.prompt, ADVICE, room, bold=True):
            pen.text(line, ADVICE, (left, base), bold=True)
            base += pen.px(ADVICE * 1.25)
        base += pen.px(6)
        for row, strokes in enumerate(self.strokes):
            pen.text(strokes.name, BODY, (left, base), bold=row == self.now)
            for place in range(strokes.of):
                x = left + pen.px(_NAME) + place * pen.px(_BOX + 6)
                y = base - pen.capital(BODY) / 2 - pen.px(_BOX) / 2
                box = area(left=x, top=y, right=x + pen.px(_BOX), bottom=y + pen.px(_BOX))
                if place < strokes.done:
                    pen.box(box, colours.ink, colours.ink)
                else:
                    is_now = row == self.now
                    edge = colours.ahead_edge if is_now else colours.rule
                    pen.box(box, colours.ahead if is_now else colours.row, edge)
            base += pen.px(_ROW)
        colour = colours.off if self.is_off else colours.ink
        for words in self.said:
            for line in pen.wrapped(words, BODY, room):
                pen.text(line, BODY, (left, base), colour=colour)
                base += pen.px(BODY * 1.4)
            base += pen.px(6)
        if self.drawing is not None:
            self.drawing.draw(
                pen, area(left=middle + pen.px(30), top=top, right=right, bottom=bottom), now_s
            )
