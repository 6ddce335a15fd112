"""The page after bars were played again and again: all passes, and the one thing to work on."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base import marks
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SCORE, SMALL, Theme
from playalong.screen.base.widgets import (
    AGAIN,
    HEAD,
    LEAVE,
    LEVEL_WIDE,
    MARGIN,
    ButtonPage,
    Buttons,
    Level,
    foot,
    head,
)
from playalong.screen.pages.run import PassMark

#: In units: the height of the score and the advice, a line of what comes after, and room for the
#: ends of the plot's axis.
_SCORE, _LINE, _GUTTER = 128, 27, 62

#: How many sentences come after the advice.
_ALSO = 2


@dataclass(kw_only=True)
class PassesPage(ButtonPage):
    """``passes`` in order; ``bars`` says which bars they are, in words. ``advice`` is the one thing
    to work on, ``also`` what comes after it. ``notices`` are told at the foot.
    """

    theme: Theme
    title: str
    bars: str
    passes: Sequence[PassMark]
    advice: str
    also: Sequence[str] = ()
    notices: Sequence[str] = ()
    level: Level = field(default_factory=Level, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons([AGAIN, LEAVE]), repr=False)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        count = len(self.passes)
        many = "1 pass" if count == 1 else f"{count} passes"
        clean = sum(one.is_clean for one in self.passes)
        subtitle = f"{self.bars}  ·  {many}  ·  {clean} clean  ·  {self._speeds()}"
        head(pen, self.title, subtitle, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top = self._draw_score(pen, area(left=left, top=pen.px(HEAD), right=right, bottom=10**4))
        bottom = foot(pen, self.buttons, self.notices) - pen.px(12)
        self._draw_passes(pen, area(left=left, top=top, right=right, bottom=bottom))

    def _speeds(self) -> str:
        percents = [one.percent for one in self.passes]
        low, high = min(percents), max(percents)
        return f"{low} %" if low == high else f"{percents[0]} to {percents[-1]} %"

    def _draw_score(self, pen: Pen, rect: pygame.Rect) -> float:
        """The last pass, the best, and what to work on; where they end, in pixels."""
        quiet = pen.colours.quiet
        top, base = rect.top, rect.top + pen.px(14) + pen.capital(SCORE)
        total = pen.text(f"{self.passes[-1].score}", SCORE, (rect.left, base), bold=True)
        beside = total.right + pen.px(10)
        best = max(one.score for one in self.passes)
        under = pen.text("the last pass, of 100", BODY, (beside, base), colour=quiet)
        over = pen.text(f"best {best}", BODY, (beside, base - pen.px(BODY * 1.4)), colour=quiet)
        left, right = max(under.right, over.right) + pen.px(40), float(rect.right)
        if self.level.db is not None:
            right -= pen.px(LEVEL_WIDE)
            self.level.draw(pen, (right, top))
            right -= pen.px(24)
        step = pen.px(ADVICE * 1.25)
        y: float = top + pen.px(10) + pen.capital(ADVICE) - step
        for line in pen.wrapped(self.advice, ADVICE, right - left, bold=True):
            y += step
            pen.text(line, ADVICE, (left, y), bold=True)
        y += pen.px(12)
        for number, words in enumerate(self.also[:_ALSO]):
            said = f"then: {words}" if not number else words
            for line in pen.wrapped(said, BODY, rect.right - left):
                y += pen.px(_LINE)
                pen.text(line, BODY, (left, y - pen.px(5)), colour=quiet)
        return max(top + pen.px(_SCORE), y + pen.px(6)) + pen.px(14)

    def _draw_passes(self, pen: Pen, rect: pygame.Rect) -> None:
        """A dot for each pass at the height of its score, solid where it was clean."""
        colours = pen.colours
        base = rect.top + pen.px(LABEL)
        named = pen.text("Pass by pass", LABEL, (rect.left, base), bold=True)
        legend = "solid where it was clean"
        pen.text(legend, SMALL, (named.right + pen.px(12), base), colour=colours.quiet)
        low_y = rect.bottom - pen.px(SMALL * 2.0)
        plot = area(
            left=rect.left + pen.px(_GUTTER),
            top=base + pen.px(22),
            right=rect.right - pen.px(20),
            bottom=low_y,
        )
        if plot.height < pen.px(40):
            return
        pen.level_line(plot.bottom, plot.left, plot.right, colour=colours.rule, width=1)
        for score, edge in ((100, plot.top), (0, plot.bottom)):
            at = (plot.left - pen.px(14), edge + pen.capital(SMALL) / 2)
            pen.text(str(score), SMALL, at, colour=colours.quiet, align=1.0)
        count = len(self.passes)
        step = plot.width / count
        points = [
            (plot.left + (number + 0.5) * step, plot.bottom - one.score / 100.0 * plot.height)
            for number, one in enumerate(self.passes)
        ]
        pen.stroke(points, colours.rule, 1.6)
        foot_y, free = rect.bottom - pen.px(5), float(plot.left - pen.px(_GUTTER))
        radius = min(float(pen.px(7)), step / 3)
        befores = [None, *(one.percent for one in self.passes[:-1])]
        for (x, y), one, before in zip(points, self.passes, befores, strict=True):
            mark = (
                marks.dot(radius, colours.ink)
                if one.is_clean
                else marks.ring(radius, width=pen.px(1.8), colour=colours.ink, inside=colours.paper)
            )
            pen.mark(mark, (x, y))
            words = f"{one.percent} %"
            if one.percent != before and x - pen.width(words, SMALL) / 2 > free:
                end = pen.text(words, SMALL, (x, foot_y), colour=colours.quiet, align=0.5).right
                free = end + pen.px(8)
