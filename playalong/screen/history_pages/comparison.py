"""Two runs side by side: what is figured of each."""

from collections.abc import Sequence

import pygame

from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import BODY, LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    HEAD,
    LEAVE,
    MARGIN,
    TO_LEFT,
    TO_RIGHT,
    ButtonPage,
    Buttons,
    foot,
    head,
)

#: In units: the height of a line; the parts of the width where the columns begin.
_LINE, _COLUMNS = 33, (0.22, 0.61)


class ComparisonPage(ButtonPage):
    """``named`` are the two runs in words, ``rows`` (what, of the one, of the other); ``notices``
    are told at the foot. NEXT and BACK ask for another run beside the first.
    """

    def __init__(
        self,
        theme: Theme,
        title: str,
        *,
        named: tuple[str, str],
        rows: Sequence[tuple[str, str, str]],
        notices: Sequence[str] = (),
        has_others: bool = True,
    ) -> None:
        self._theme, self._title, self._named = theme, title, named
        self._rows, self._notices = rows, notices
        self.buttons = Buttons([*([TO_LEFT, TO_RIGHT] if has_others else []), LEAVE])

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        head(pen, self._title, "two runs compared", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, self._notices) - pen.px(10)
        starts = [left + (right - left) * part for part in _COLUMNS]
        rooms = [starts[1] - starts[0] - pen.px(16), right - starts[1]]
        base: float = pen.px(HEAD + LABEL)
        for at, room, words in zip(starts, rooms, self._named, strict=True):
            size = pen.fitted(words, (LABEL, SMALL), room, bold=True)
            pen.text(pen.cut(words, size, room, bold=True), size, (at, base), bold=True)
        base += pen.px(8)
        line = min(pen.px(_LINE), max(1, round((bottom - base) / (len(self._rows) + 0.5))))
        size = min(BODY, line / pen.unit / 1.25)
        for what, *figures in self._rows:
            base += line
            room = starts[0] - left - pen.px(12)
            pen.text(pen.cut(what, size, room), size, (left, base), colour=pen.colours.quiet)
            for at, room, figure in zip(starts, rooms, figures, strict=True):
                pen.text(pen.cut(figure, size, room), size, (at, base))
