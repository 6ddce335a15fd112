"""The page after free mixing: which variation was played in which bar of the run."""

from collections.abc import Collection, Mapping, Sequence

import pygame

from playalong.screen.base import marks
from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import ADVICE, BODY, SMALL, Theme
from playalong.screen.base.widgets import GO_ON, HEAD, LEAVE, MARGIN, NO_PADS, Buttons, foot, head

#: In units: the most that a row and a bar take, and the room for names.
_ROW, _BAR, _NAMES = 44, 44, 170


class TexturePage:
    """Rows of (name, the bars it was played in, 0 is the first) over ``bars`` bars; and words."""

    def __init__(
        self,
        theme: Theme,
        title: str,
        rows: Sequence[tuple[str, Collection[int]]],
        *,
        bars: int,
        words: Sequence[str],
        pads: Mapping[Outcome, str] = NO_PADS,
        call: str = "",
    ) -> None:
        self._theme, self._title, self._rows = theme, title, rows
        self._bars, self._words = bars, words
        self._buttons = Buttons([GO_ON, LEAVE], pads, call)

    def handle(self, press: Press) -> Outcome | None:
        """AGAIN goes on; LEAVE."""
        return self._buttons.handle(press)

    def offers(self, outcome: Outcome) -> bool:
        """AGAIN and LEAVE."""
        return self._buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        head(pen, self._title, "what you played when", tempo="", clean=None)
        width, height = surface.get_size()
        left, right, top = pen.px(MARGIN), width - pen.px(MARGIN), pen.px(HEAD + 30)
        column = min(pen.px(_BAR), (right - left - pen.px(_NAMES)) / self._bars)
        row = min(pen.px(_ROW), (height * 0.55 - top) / len(self._rows))
        start = left + pen.px(_NAMES)
        for bar in range(self._bars):
            at = (start + (bar + 0.5) * column, top - pen.px(10))
            pen.text(str(bar + 1), SMALL, at, colour=pen.colours.quiet, align=0.5)
        for place, (name, played) in enumerate(self._rows):
            self._draw_row(pen, name, played, at=(left, top + place * row), cell=(column, row))
        base = top + row * len(self._rows) + pen.px(ADVICE * 2)
        for line in (
            line for told in self._words for line in pen.wrapped(told, BODY, right - left)
        ):
            pen.text(line, BODY, (left, base))
            base += pen.px(BODY * 1.5)
        foot(pen, self._buttons)

    def _draw_row(
        self,
        pen: Pen,
        name: str,
        played: Collection[int],
        *,
        at: tuple[float, float],
        cell: tuple[float, float],
    ) -> None:
        left, top = at
        start, middle = left + pen.px(_NAMES), top + cell[1] / 2
        base = middle + pen.capital(BODY) / 2
        pen.text(pen.cut(name, BODY, pen.px(_NAMES - 12)), BODY, (left, base))
        pen.level_line(
            middle, start, start + self._bars * cell[0], colour=pen.colours.line, width=1
        )
        dot = marks.dot(pen.px(7), pen.colours.ink)
        for bar in played:
            pen.mark(dot, (start + (bar + 0.5) * cell[0], middle))
