"""The page of a plan: every step, what is done, how sure it is, how long it took, what is next.

A step can be chosen, by keys and from the pads: the lesson then goes on from there.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pygame

from playalong.screen.base import marks
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.rows import clicked_row
from playalong.screen.base.theme import BODY, SMALL, Theme
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

#: What can be asked for on this page. P shows the plan, and takes it away again. Long plans have
#: longer strides: from the pads each costs a call.
PLAN = (
    Button((Key.ENTER, "p", "P"), "Enter", "play this step", outcome=Outcome.AGAIN),
    Button((Key.DOWN, "n", "N"), "↓", "down", outcome=Outcome.NEXT),
    Button((Key.UP, "b", "B"), "↑", "up", outcome=Outcome.BACK),
    Button((Key.RIGHT,), "→", "5 down", outcome=Outcome.FASTER),
    Button((Key.LEFT,), "←", "5 up", outcome=Outcome.SLOWER),
    LEAVE,
)
_STRIDES = {Outcome.NEXT: 1, Outcome.BACK: -1, Outcome.FASTER: 5, Outcome.SLOWER: -5}

#: In units: a line of the list, the room for the mark before a line, the columns of how a step
#: stands, how sure it is and what it took, and of the headings above them.
_LINE, _MARK, _STANDS, _SURE, _TOOK, _HEADINGS = 32, 30, 110, 130, 190, 26

#: How many steps are seen before the one that is chosen, where there are more than fit.
_BEFORE = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLine:
    """One step: its words, whether it is done, left out, played now, and what it took.

    ``sure`` is how sure it is, in words; ``stands`` how it stands, where that is to be said.
    """

    words: str
    done: bool
    left_out: bool
    now: bool
    took: str
    sure: str = ""
    stands: str = ""


class PlanPage:
    """A plan as a whole; ``chosen`` is the number of the step that is gone to."""

    def __init__(
        self,
        theme: Theme,
        title: str,
        lines: Sequence[PlanLine],
        *,
        notices: Sequence[str] = (),
        pads: Mapping[Outcome, str] = NO_PADS,
        call: str = "",
    ) -> None:
        self._theme, self._title, self._lines, self._notices = theme, title, lines, notices
        self.now = next((number for number, line in enumerate(lines) if line.now), None)
        self.chosen = len(lines) - 1 if self.now is None else self.now
        self._first, self._shown = max(0, self.chosen - _BEFORE), len(lines)
        self._rows: tuple[pygame.Rect, ...] = ()
        self._buttons = Buttons(PLAN, pads, call)

    def handle(self, press: Press) -> Outcome | None:
        """AGAIN plays the step that is chosen; NEXT, BACK, FASTER, SLOWER choose one; LEAVE."""
        outcome = self._buttons.handle(press)
        if outcome in _STRIDES:
            chosen = self.chosen + _STRIDES[outcome]
            self.chosen = min(max(0, chosen), max(0, len(self._lines) - 1))
            self._first = min(self._first, max(0, self.chosen - 1))
            self._first = max(self._first, min(self.chosen + 2, len(self._lines)) - self._shown)
            return None
        row = clicked_row(press, self._rows)
        if outcome is None and row is not None:
            self.chosen = self._first + row
        return outcome

    def offers(self, outcome: Outcome) -> bool:
        """AGAIN, NEXT, BACK, FASTER, SLOWER and LEAVE."""
        return self._buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        done = sum(line.done for line in self._lines)
        head(pen, self._title, f"{done} of {len(self._lines)} steps learned", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom, line = foot(pen, self._buttons, self._notices) - pen.px(10), pen.px(_LINE)
        top = pen.px(HEAD + _HEADINGS)
        took, sure = right, right - pen.px(_TOOK)
        base = top - pen.px(8)
        quiet = pen.colours.quiet
        pen.text("it took", BODY, (took, base), colour=quiet, align=1.0)
        pen.text("right lately", BODY, (sure, base), colour=quiet, align=1.0)
        self._shown = max(1, (bottom - top) // line)
        self._first = max(0, min(self._first, len(self._lines) - self._shown))
        rows = []
        for place, item in enumerate(self._lines[self._first : self._first + self._shown]):
            row = area(
                left=left, top=top + place * line, right=right, bottom=top + (place + 1) * line
            )
            rows.append(row)
            if self._first + place == self.chosen:
                pen.box(row.inflate(pen.px(12), 0), pen.colours.band, pen.colours.ink)
            self._draw_line(pen, item, row, columns=(sure, took))
        self._rows = tuple(rows)
        self._draw_more(pen, right, top=top, bottom=bottom)

    def _draw_line(
        self, pen: Pen, item: PlanLine, row: pygame.Rect, *, columns: tuple[float, float]
    ) -> None:
        colours, radius = pen.colours, pen.px(7)
        base = row.centery + pen.capital(BODY) / 2
        at = (row.left + radius, row.centery)
        if item.done:
            pen.mark(marks.dot(radius, colours.ink), at)
        elif not item.left_out:
            ring = marks.ring(radius, width=pen.px(1.8), colour=colours.ink, inside=None)
            pen.mark(ring, at)
        sure, took = columns
        pen.text(item.took, BODY, (took, base), colour=colours.quiet, align=1.0)
        pen.text(item.sure, BODY, (sure, base), colour=colours.quiet, align=1.0)
        stands = sure - pen.px(_SURE)
        pen.text(item.stands, BODY, (stands, base), colour=colours.ink, align=1.0)
        room = stands - pen.px(_STANDS) - row.left - pen.px(_MARK)
        colour = colours.quiet if item.left_out else colours.ink
        size = pen.fitted(item.words, (BODY, SMALL), room, bold=item.now)
        words = pen.cut(item.words, size, room, bold=item.now)
        pen.text(words, size, (row.left + pen.px(_MARK), base), colour=colour, bold=item.now)

    def _draw_more(self, pen: Pen, right: float, *, top: int, bottom: int) -> None:
        """Where in a long plan the lines are that are seen: a bar at the edge."""
        count = len(self._lines)
        if count <= self._shown:
            return
        x, high = right + pen.px(12), bottom - top
        pen.fill(area(left=x, top=top, right=x + pen.px(4), bottom=bottom), pen.colours.band)
        begin = top + high * self._first / count
        end = top + high * (self._first + self._shown) / count
        pen.fill(area(left=x, top=begin, right=x + pen.px(4), bottom=end), pen.colours.rule)
