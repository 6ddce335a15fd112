"""The page of a plan: every step, what is done, what is next, how long it took."""

from collections.abc import Sequence
from dataclasses import dataclass

import pygame

from playalong.screen import marks
from playalong.screen.keys import Key, Press
from playalong.screen.page import Outcome
from playalong.screen.pen import Pen
from playalong.screen.theme import BODY, Theme
from playalong.screen.widgets import HEAD, LEAVE, MARGIN, Button, Buttons, head

GO_ON = Button((Key.ENTER, "p", "P"), "Enter", "go on", Outcome.AGAIN)

#: In units: a line of the list, the foot, and the room for the mark before a line.
_LINE, _FOOT, _FOOT_BASE, _MARK = 25, 52, 18, 26


@dataclass(frozen=True, slots=True)
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
        self, theme: Theme, title: str, lines: Sequence[PlanLine], notes: Sequence[str] = ()
    ) -> None:
        self._theme, self._title, self._lines, self._notes = theme, title, lines, notes
        now = next((number for number, line in enumerate(lines) if line.now), len(lines))
        self._first, self._shown, self._now = max(0, now - 4), len(lines), now
        self._buttons = Buttons([GO_ON, LEAVE])

    def handle(self, press: Press) -> Outcome | None:
        """AGAIN goes on; LEAVE."""
        if press is Key.UP:
            self._first = max(0, self._first - 1)
        elif press is Key.DOWN:
            self._first = min(max(0, len(self._lines) - self._shown), self._first + 1)
        return self._buttons.handle(press)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        done = sum(line.done for line in self._lines)
        head(pen, self._title, f"{done} of {len(self._lines)} steps learned", "", None)
        width, height = surface.get_size()
        left, right = pen.px(MARGIN), width - pen.px(MARGIN)
        bottom, line = height - pen.px(_FOOT), pen.px(_LINE)
        self._shown = max(1, (bottom - pen.px(HEAD)) // line)
        self._first = min(self._first, max(0, len(self._lines) - self._shown))
        for place, item in enumerate(self._lines[self._first : self._first + self._shown]):
            self._draw_line(pen, item, left, right, pen.px(HEAD) + place * line + pen.px(BODY))
        end = self._buttons.draw(pen, right, height - pen.px(_FOOT_BASE))
        words = pen.cut("  ·  ".join(self._notes), BODY, end - left)
        pen.text(words, BODY, (left, height - pen.px(_FOOT_BASE)), pen.colours.quiet)

    def _draw_line(self, pen: Pen, item: PlanLine, left: int, right: int, base: float) -> None:
        colours, radius = pen.colours, pen.px(6)
        at = (left + radius, base - pen.capital(BODY) / 2)
        if item.done:
            pen.mark(marks.dot(radius, colours.ink), at)
        elif not item.left_out:
            pen.mark(marks.ring(radius, pen.px(1.8), colours.ink, None), at)
        took = pen.text(item.took, BODY, (right, base), colours.quiet, align=1.0)
        room = took.left - pen.px(20) - left - pen.px(_MARK)
        colour = colours.quiet if item.left_out else colours.ink
        words = pen.cut(item.words, BODY, room, bold=item.now)
        pen.text(words, BODY, (left + pen.px(_MARK), base), colour, bold=item.now)
