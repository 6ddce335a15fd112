"""The page at the end of a lesson: what was learned, and what can be played next."""

from collections.abc import Mapping, Sequence

import pygame

from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.rows import clicked_row
from playalong.screen.base.theme import ADVICE, LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    HEAD,
    LEAVE,
    MARGIN,
    NO_PADS,
    Button,
    Buttons,
    foot,
    head,
)

#: What can be asked for on this page. The next one after the last is the first, so that going back
#: needs no pad, and the plan has one.
OFFERED = (
    Button((Key.ENTER,), "Enter", "play this", outcome=Outcome.AGAIN),
    Button((Key.DOWN, Key.RIGHT, "n", "N"), "↓", "the next one", outcome=Outcome.NEXT),
    Button(("p", "P"), "P", "the plan", outcome=Outcome.PLAN),
    LEAVE,
)

#: In units: a row, and what lies between two.
_ROW, _BETWEEN = 76, 14


class AfterwardsPage:
    """What was ``said`` at the end, and ``offers`` under it; ``chosen`` is the number of one."""

    def __init__(
        self,
        theme: Theme,
        title: str,
        said: str,
        *,
        offers: Sequence[str],
        pads: Mapping[Outcome, str] = NO_PADS,
        call: str = "",
    ) -> None:
        self._theme, self._title, self._said, self._offers = theme, title, said, tuple(offers)
        self.chosen = 0
        self._rows: tuple[pygame.Rect, ...] = ()
        shown = OFFERED if offers else OFFERED[2:]
        self._buttons = Buttons(shown, pads, call)

    def handle(self, press: Press) -> Outcome | None:
        """AGAIN plays what is chosen; NEXT goes through them; PLAN; LEAVE."""
        outcome = self._buttons.handle(press)
        if self._offers and (outcome is Outcome.NEXT or press is Key.UP):
            by = 1 if outcome is Outcome.NEXT else -1
            self.chosen = (self.chosen + by) % len(self._offers)
            return None
        row = clicked_row(press, self._rows)
        if outcome is None and row is not None:
            self.chosen = row
        return outcome

    def offers(self, outcome: Outcome) -> bool:
        """AGAIN, NEXT, PLAN and LEAVE."""
        return self._buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        head(pen, self._title, "what next?", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self._buttons) - pen.px(10)
        base = pen.px(HEAD) + pen.px(ADVICE * 1.2)
        for line in pen.wrapped(self._said, ADVICE, right - left, bold=True):
            pen.text(line, ADVICE, (left, base), bold=True)
            base += pen.px(ADVICE * 1.3)
        top = base - pen.px(ADVICE * 0.5)
        room = (bottom - top) / max(1, len(self._offers))
        row = min(pen.px(_ROW), room - pen.px(_BETWEEN))
        rows = []
        for number, words in enumerate(self._offers):
            y = top + number * (row + pen.px(_BETWEEN))
            box = area(left=left, top=y, right=right, bottom=y + row)
            rows.append(box)
            if number == self.chosen:
                pen.box(box, pen.colours.band, pen.colours.ink)
            size = pen.fitted(words, (LABEL, SMALL), box.width - pen.px(28))
            shown = pen.wrapped(words, size, box.width - pen.px(28))[:2]
            tall = pen.px(size * 1.3)
            y = box.centery + pen.capital(size) / 2 - tall * (len(shown) - 1) / 2
            for line in shown:
                pen.text(line, size, (left + pen.px(14), y), bold=number == self.chosen)
                y += tall
        self._rows = tuple(rows)
