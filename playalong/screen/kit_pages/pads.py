"""The page on which the kit's pads are learned: what is lit up is to be struck."""

from dataclasses import dataclass, field

import pygame

from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, Theme
from playalong.screen.base.widgets import (
    ACCEPT,
    HEAD,
    LEAVE,
    MARGIN,
    SKIP,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)
from playalong.screen.kit_pages.kit_drawing import KitDrawing

_BACK = Button((Key.LEFT, "b", "B"), "B", "back", outcome=Outcome.BACK)
_FOLD = Button(("f", "F"), "F", "rims and edges", outcome=Outcome.FOLD)

#: What can be asked for while pads are learned, and when all have been.
LEARNING = (SKIP, _BACK, _FOLD, LEAVE)
LEARNED = (ACCEPT, _BACK, _FOLD, LEAVE)

#: The words' part of the width, and in units, how tall the bar of progress is.
_WORDS, _BAR = 0.36, 8


@dataclass(kw_only=True)
class PadsPage(ButtonPage):
    """Learning the pads; what is lit up is ``drawing.lit``. Everything may be set anew.

    ``prompt`` says what to do, ``notice`` more about it; ``done`` of ``of`` pads are learned;
    ``heard`` is the last message in words; ``folds`` whether rims and edges count as their drum.
    The same page asks for pads to be struck for another reason, which its ``title`` tells.
    """

    theme: Theme
    kit: str
    prompt: str
    done: int
    of: int
    notice: str = ""
    heard: str = ""
    folds: bool = False
    drawing: KitDrawing = field(default_factory=KitDrawing, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons(LEARNING), repr=False)
    title: str = "Which pad is which"

    def looks(self, now_s: float) -> tuple[object, ...]:
        """All that is seen; only the drawing moves by itself."""
        words = (self.title, self.kit, self.prompt, self.notice, self.heard)
        figures = (self.done, self.of, self.folds)
        return self.theme, words, figures, self.buttons.shown, self.drawing.looks(now_s)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page as it is at ``now_s``, in seconds."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        head(pen, self.title, self.kit, tempo=f"{self.done} of {self.of}", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top = pen.px(HEAD)
        self._draw_progress(pen, left=left, right=right, top=top)
        folded = "count as their drum" if self.folds else "are voices of their own"
        notices = [f"Rims and edges {folded}."] if self.offers(Outcome.FOLD) else []
        bottom = foot(pen, self.buttons, notices) - pen.px(16)
        top += pen.px(36)
        middle = left + (right - left) * _WORDS
        base = top + pen.px(ADVICE)
        for words, size, bold in ((self.prompt, ADVICE, True), (self.notice, LABEL, False)):
            for line in pen.wrapped(words, size, middle - left, bold=bold) if words else ():
                pen.text(line, size, (left, base), bold=bold)
                base += pen.px(size * 1.4)
            base += pen.px(8)
        heard = pen.wrapped(self.heard, BODY, middle - left) if self.heard else []
        step = pen.px(BODY * 1.4)
        for number, line in enumerate(heard):
            at = (left, bottom - (len(heard) - 1 - number) * step)
            pen.text(line, BODY, at, colour=pen.colours.quiet)
        self.drawing.draw(
            pen, area(left=middle + pen.px(24), top=top, right=right, bottom=bottom), now_s
        )

    def _draw_progress(self, pen: Pen, *, left: float, right: float, top: float) -> None:
        colours, bottom = pen.colours, top + pen.px(_BAR)
        pen.fill(area(left=left, top=top, right=right, bottom=bottom), colours.band)
        part = self.done / max(1, self.of)
        pen.fill(
            area(left=left, top=top, right=left + (right - left) * part, bottom=bottom), colours.ink
        )
