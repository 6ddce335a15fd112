"""The page after variations played freely: which variation was played in which bar of the run."""

from collections.abc import Collection, Mapping, Sequence

import pygame

from playalong.screen.base import marks
from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SMALL, Theme
from playalong.screen.base.widgets import GO_ON, HEAD, LEAVE, MARGIN, NO_PADS, Buttons, foot, head

#: In units: the most that a row takes, and the room for names.
_ROW, _NAMES = 150, 230


class TexturePage:
    """Rows of (name, the bars it was played in, 0 is the first) over ``bars`` bars, which fill the
    page; under them what to do ``next``, large, and ``words`` on what was played.
    """

    def __init__(
        self,
        theme: Theme,
        title: str,
        rows: Sequence[tuple[str, Collection[int]]],
        *,
        bars: int,
        words: Sequence[str],
        next: str = "",
        pads: Mapping[Outcome, str] = NO_PADS,
        call: str = "",
    ) -> None:
        self._theme, self._title, self._rows = theme, title, rows
        self._bars, self._words, self._next = bars, words, next
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
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom, top = foot(pen, self._buttons) - pen.px(10), pen.px(HEAD + 34)
        width = right - left
        next_lines = pen.wrapped(self._next, ADVICE, width, bold=True) if self._next else []
        word_lines = pen.wrapped(" ".join(self._words), BODY, width)
        under = pen.px(ADVICE * 1.3) * (len(next_lines) + 1) + pen.px(BODY * 1.4) * len(word_lines)
        row = min(pen.px(_ROW), max(bottom - top - under, (bottom - top) // 2) / len(self._rows))
        start = left + pen.px(_NAMES)
        column = (right - start) / self._bars
        for bar in range(self._bars):
            at = (start + (bar + 0.5) * column, top - pen.px(10))
            pen.text(str(bar + 1), BODY, at, colour=pen.colours.quiet, align=0.5)
        for place, (name, played) in enumerate(self._rows):
            self._draw_row(pen, name, played, at=(left, top + place * row), cell=(column, row))
        base = top + row * len(self._rows) + pen.px(ADVICE * 1.3)
        for line in next_lines:
            pen.text(line, ADVICE, (left, base), bold=True)
            base += pen.px(ADVICE * 1.3)
        for line in word_lines:
            if base < bottom:
                pen.text(line, BODY, (left, base), colour=pen.colours.quiet)
            base += pen.px(BODY * 1.4)

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
        size = pen.fitted(name, (LABEL, SMALL), pen.px(_NAMES - 12))
        pen.text(pen.cut(name, size, pen.px(_NAMES - 12)), size, (left, base))
        pen.level_line(
            middle, start, start + self._bars * cell[0], colour=pen.colours.line, width=1
        )
        dot = marks.dot(round(min(pen.px(11), cell[0] / 3, cell[1] / 3)), pen.colours.ink)
        for bar in played:
            pen.mark(dot, (start + (bar + 0.5) * cell[0], middle))
