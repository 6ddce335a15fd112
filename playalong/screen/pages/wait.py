"""The page that is shown while something takes its time: what it is, and how far it has come."""

from dataclasses import dataclass, field

import pygame

from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, Theme
from playalong.screen.base.widgets import LEAVE, MARGIN, ButtonPage, Buttons, foot, head

#: The bar, in units.
_HIGH = 14


@dataclass(kw_only=True)
class WaitPage(ButtonPage):
    """``words`` say what is being done, ``share`` from 0 to 1 how much of it is."""

    theme: Theme
    title: str
    words: str
    share: float = 0.0
    buttons: Buttons = field(default_factory=lambda: Buttons([LEAVE]), repr=False)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; the bar grows with ``share``."""
        pen = Pen(surface, self.theme)
        colours = pen.colours
        surface.fill(colours.paper)
        head(pen, self.title, "", tempo=f"{self.share:.0%}".replace("%", " %"), clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        middle = surface.get_height() // 2
        words = pen.cut(self.words, ADVICE, right - left)
        pen.text(words, ADVICE, (left, middle - pen.px(BODY)))
        pen.fill(
            area(left=left, top=middle, right=right, bottom=middle + pen.px(_HIGH)), colours.band
        )
        full = left + (right - left) * min(1.0, max(0.0, self.share))
        pen.fill(
            area(left=left, top=middle, right=full, bottom=middle + pen.px(_HIGH)), colours.ink
        )
        foot(pen, self.buttons)
