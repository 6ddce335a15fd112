"""The page of a plan: every step, what is done, what is next, how long it took."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pygame

from playalong.screen.base import marks
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import BODY, Theme
from playalong.screen.base.widgets import GO_ON, HEAD, LEAVE, MARGIN, NO_PADS, Buttons, foot, head

#: In units: a line of the list, and the room for the mark before a line.
_LINE, _MARK = 25, 26


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLine:
    """One step: its words, whether it is done, left out, played now, and what it took."""

    words: str
    done: bool
    left_out: bool
    now: bool
    took: str


class PlanPage:
    """A plan as a whole. The up and down keys go through a long one."""

    def __init__(
        self,
        theme: Theme,
        title: str,
        lines: Sequence[PlanLine],
        *,
        notes: Sequence[str] = (),
        pads: Mapping[Outcome, str] = NO_PADS,
        call: str = "",
    ) -> None:
        self._theme, self._title, self._lines, self._notes = theme, title, lines, notes
        now = next((number for number, line in enumerate(lines) if line.now), len(lines))
        self._first, self._shown, self._now = max(0, now - 4), len(lines), now
        self._buttons = Buttons([GO_ON, LEAVE], pads, call)

    def handle(self, press: Press) -> Outcome | None:
        """AGAIN goes on; LEAVE."""
        if press is Key.UP:
            self._first = max(0, self._first - 1)
        elif press is Key.DOWN:
            self._first = min(max(0, len(self._lines) - self._shown), self._first + 1)
        return self._buttons.handle(press)

    def offers(self, outcome: Outcome) -> bool:
        """AGAIN and LEAVE."""
        return self._buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        done = sum(line.done for line in self._lines)
        head(pen, self._title, f"{done} of {len(self._lines)} steps learned", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom, line = foot(pen, self._buttons, self._notes) - pen.px(10), pen.px(_LINE)
        self._shown = max(1, (bottom - pen.px(HEAD)) // line)
        self._first = min(self._first, max(0, len(self._lines) - self._shown))
        for place, item in enumerate(self._lines[self._first : self._first + self._shown]):
            self._draw_line(
                pen, item, left=left, right=right, base=pen.px(HEAD) + place * line + pen.px(BODY)
            )

    def _draw_line(self, pen: Pen, item: PlanLine, *, left: int, right: int, base: float) -> None:
        colours, radius = pen.colours, pen.px(6)
        at = (left + radius, base - pen.capital(BODY) / 2)
        if item.done:
            pen.mark(marks.dot(radius, colours.ink), at)
        elif not item.left_out:
            pen.mark(marks.ring(radius, width=pen.px(1.8), colour=colours.ink, inside=None), at)
        took = pen.text(item.took, BODY, (right, base), colour=colours.quiet, align=1.0)
        room = took.left - pen.px(20) - left - pen.px(_MARK)
        colour = colours.quiet if item.left_out else colours.ink
        words = pen.cut(item.words, BODY, room, bold=item.now)
        pen.text(words, BODY, (left + pen.px(_MARK), base), colour=colour, bold=item.now)
