"""The page on which the pads that work the program are shown and changed."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, Theme
from playalong.screen.base.widgets import (
    ACCEPT,
    DOWN,
    HEAD,
    LEAVE,
    MARGIN,
    UP,
    Buttons,
    ListPage,
    foot,
    head,
)
from playalong.screen.kit_pages.kit_drawing import KitDrawing

#: What can be asked for.
CHANGING = (
    ACCEPT,
    DOWN,
    UP,
    LEAVE,
)

#: The list's part of the width, its widest line, and from its left edge to the pads, in units.
_LIST, _LINE, _PADS = 0.42, 40, 130


@dataclass(kw_only=True)
class PadCommandsPage(ListPage):
    """What each pad asks for: ``calls`` are (what, the pad's label, "" for none).

    ``call`` says what is to be struck first; ``notice`` is a line on the last change. The pad that
    is struck next becomes that of the call numbered ``chosen``.
    """

    theme: Theme
    kit: str
    call: str
    calls: Sequence[tuple[str, str]]
    notice: str = ""
    drawing: KitDrawing = field(default_factory=KitDrawing, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons(CHANGING), repr=False)
    chosen: int = 0

    @property
    def count(self) -> int:
        """How many calls there are."""
        return len(self.calls)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page as it is at ``now_s``, in seconds."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        head(pen, "Sticks in hand", self.kit, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, [self.notice]) - pen.px(16)
        base = pen.px(HEAD + ADVICE)
        said = (
            f"{self.call} To change a pad, choose a line and strike the pad alone, then once more."
        )
        for line in pen.wrapped(said, LABEL, right - left):
            pen.text(line, LABEL, (left, base))
            base += pen.px(LABEL * 1.4)
        top, middle = base, left + (right - left) * _LIST
        tall = min(pen.px(_LINE), (bottom - top) / max(1, len(self.calls)))
        for number, (what, pad) in enumerate(self.calls):
            upper, chosen = top + number * tall, number == self.chosen
            if chosen:
                line_area = area(
                    left=left - pen.px(8), top=upper, right=middle, bottom=upper + tall - pen.px(2)
                )
                pen.fill(line_area, pen.colours.band)
            y = upper + tall / 2 + pen.capital(LABEL) / 2
            pen.text(what, LABEL, (left, y), bold=chosen)
            room = middle - left - pen.px(_PADS)
            colour = pen.colours.ink if pad else pen.colours.quiet
            words = pen.cut(pad or "no pad", LABEL, room)
            pen.text(words, LABEL, (left + pen.px(_PADS), y), colour=colour)
        picture = area(left=middle + pen.px(24), top=top, right=right, bottom=bottom - pen.px(BODY))
        self.drawing.draw(pen, picture, now_s)
