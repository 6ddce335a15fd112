"""What was practised, over days or weeks: plots, the weakest place, and the runs to open again."""

from collections.abc import Sequence
from dataclasses import dataclass

import pygame

from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    DOWN,
    HEAD,
    LEAVE,
    MARGIN,
    UP,
    Button,
    Buttons,
    ListPage,
    foot,
    head,
)
from playalong.screen.history_pages import plots
from playalong.screen.history_pages.plots import Plot

OPEN = Button((Key.ENTER,), "Enter", "open the run", outcome=Outcome.OPEN)
SPAN = Button(("w", "W"), "W", "days or weeks", outcome=Outcome.SPAN)
OTHER = Button(("p", "P"), "P", "another pattern", outcome=Outcome.OTHER)
DATA = Button(("d", "D"), "D", "your data", outcome=Outcome.DATA)

#: In units: the height of a line of the list, and what lies between plots, across and down.
_LINE, _BETWEEN, _BELOW = 31, 30, 16

#: The plots' part of the width.
_PLOTS = 0.58


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLine:
    """A run in the list: when it was, what was played, its tempo and score in words."""

    when: str
    what: str
    tempo: str
    score: str


class LookBackPage(ListPage):
    """``said`` is what stands out, in bold, and ``also`` is told small under it; ``plots`` are
    drawn two beside one another; of ``runs``, the latest first, one is ``chosen``.
    """

    def __init__(
        self,
        theme: Theme,
        title: str,
        subtitle: str,
        *,
        said: str,
        also: Sequence[str],
        plots: Sequence[Plot],
        runs: Sequence[RunLine],
        chosen: int = 0,
    ) -> None:
        self._theme, self._title, self._subtitle = theme, title, subtitle
        self._said, self._also, self._plots, self._runs = said, also, plots, runs
        self.chosen = min(chosen, max(0, len(runs) - 1))
        offered = [OPEN, DOWN, UP] if runs else []
        self.buttons = Buttons([*offered, SPAN, OTHER, DATA, LEAVE])
        self._lines: list[tuple[pygame.Rect, int]] = []

    @property
    def count(self) -> int:
        """How many runs there are."""
        return len(self._runs)

    def handle(self, press: Press) -> Outcome | None:
        """What a button is for; a click on a run chooses it, and one more opens it."""
        if isinstance(press, Click):
            for line, number in self._lines:
                if line.collidepoint(press.x, press.y):
                    was, self.chosen = self.chosen, number
                    return Outcome.OPEN if was == number else None
        return super().handle(press)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        head(pen, self._title, self._subtitle, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons) - pen.px(12)
        top = self._draw_said(pen, area(left=left, top=pen.px(HEAD), right=right, bottom=bottom))
        middle = left + (right - left) * _PLOTS
        self._draw_plots(pen, area(left=left, top=top, right=middle, bottom=bottom))
        self._draw_runs(
            pen, area(left=middle + pen.px(_BETWEEN), top=top, right=right, bottom=bottom)
        )

    def _draw_said(self, pen: Pen, rect: pygame.Rect) -> int:
        base: float = rect.top
        for line in pen.wrapped(self._said, LABEL, rect.width, bold=True)[:2]:
            base += pen.px(LABEL * 1.25)
            pen.text(line, LABEL, (rect.left, base), bold=True)
        for words in self._also:
            base += pen.px(SMALL * 1.5)
            pen.text(
                pen.cut(words, SMALL, rect.width),
                SMALL,
                (rect.left, base),
                colour=pen.colours.quiet,
            )
        return round(base) + pen.px(20)

    def _draw_plots(self, pen: Pen, rect: pygame.Rect) -> None:
        gap, below, rows = pen.px(_BETWEEN), pen.px(_BELOW), (len(self._plots) + 1) // 2
        wide, tall = (rect.width - gap) / 2, (rect.height - below * (rows - 1)) / max(1, rows)
        for number, plot in enumerate(self._plots):
            row, column = divmod(number, 2)
            x, y = rect.left + column * (wide + gap), rect.top + row * (tall + below)
            plots.draw(pen, area(left=x, top=y, right=x + wide, bottom=y + tall), plot)

    def _draw_runs(self, pen: Pen, rect: pygame.Rect) -> None:
        pen.text("Runs", LABEL, (rect.left, rect.top + pen.px(LABEL)), bold=True)
        top, line = rect.top + pen.px(LABEL * 1.7), pen.px(_LINE)
        shown = max(1, (rect.bottom - top) // line)
        first = min(max(0, self.chosen - shown // 2), max(0, len(self._runs) - shown))
        self._lines = []
        listed = self._runs[first : first + shown]
        when = max((pen.width(run.when, SMALL) for run in listed), default=0)
        for place, run in enumerate(listed):
            row = area(
                left=rect.left,
                top=top + place * line,
                right=rect.right,
                bottom=top + (place + 1) * line,
            )
            self._lines.append((row, first + place))
            self._draw_run(pen, row, run, when_px=when, is_chosen=first + place == self.chosen)

    def _draw_run(
        self, pen: Pen, row: pygame.Rect, run: RunLine, *, when_px: int, is_chosen: bool
    ) -> None:
        """One run; what was played begins below each other, behind ``when_px`` for the time."""
        colours, inside = pen.colours, pen.px(8)
        if is_chosen:
            pygame.draw.rect(pen.surface, colours.ahead, row, border_radius=pen.px(6))
        base = row.centery + pen.capital(BODY) / 2
        score = pen.text(run.score, BODY, (row.right - inside, base), bold=True, align=1.0)
        right = row.right - inside - max(score.width, pen.width("100", BODY, bold=True)) - inside
        # What was played comes first: for a long title the tempo goes, then the time of the day.
        left, when, tempo = row.left + inside, run.when, run.tempo
        needed = pen.width(run.what, SMALL) + 2 * inside
        if when_px + pen.width(tempo, SMALL) + needed > right - left:
            tempo = ""
        if when_px + needed > right - left:
            when = when.partition(",")[0]
        if tempo:
            at = (right, base)
            right = pen.text(tempo, SMALL, at, colour=colours.quiet, align=1.0).left - inside
        said = pen.text(when, SMALL, (left, base), colour=colours.quiet)
        left = (left + when_px if when == run.when else said.right) + inside
        pen.text(pen.cut(run.what, SMALL, right - left), SMALL, (left, base))
