"""The page after a run: the score, the one thing to work on next, what comes after it, and where
it went wrong."""

from collections.abc import Mapping, Sequence

import pygame

from playalong.grading.grade import PlaceGrade
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Bar
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SCORE, Theme
from playalong.screen.base.widgets import (
    AGAIN,
    HEAD,
    LEAVE,
    LEVEL_WIDE,
    MARGIN,
    NO_PADS,
    Button,
    Buttons,
    Level,
    foot,
    head,
    table,
)
from playalong.screen.sheet import bar_picture

#: In units: the height of the score and the advice, and what the title of the picture takes.
_SCORE, _NAMED = 97, 32

#: How many sentences are shown small under the advice, in units the height of each, and how large.
ALSO, _ALSO_HIGH = 2, 22

#: The picture's part of what lies between the advice and the foot.
_PICTURE = 0.65


class ResultPage:
    """The grade of a run.

    ``advice`` is the one thing to work on, ``also`` what comes after it, shown small;
    ``figures`` are (what, figure in words); ``places`` the grades of the strokes of ``bars``, in
    their order; ``voices`` the rows; ``notes`` are told at the foot, and ``caution`` under them.
    ``offered`` are its buttons, ``pads`` and ``call`` as ``Buttons`` has them; ``level`` is that of
    the sound in which the run may be heard again.
    """

    def __init__(
        self,
        theme: Theme,
        title: str,
        subtitle: str,
        total: float,
        advice: str,
        figures: Sequence[tuple[str, str]],
        places: Sequence[PlaceGrade],
        bars: Sequence[Bar],
        voices: Sequence[str],
        also: Sequence[str] = (),
        notes: Sequence[str] = (),
        caution: str = "",
        rules: Rules | None = None,
        offered: Sequence[Button] = (AGAIN, LEAVE),
        pads: Mapping[Outcome, str] = NO_PADS,
        call: str = "",
        level: Level | None = None,
    ) -> None:
        self.level = level or Level()
        self._theme, self._title, self._subtitle = theme, title, subtitle
        self._total, self._advice, self._figures = total, advice, figures
        self._also = also[:ALSO]
        self._voices, self._rules = voices, rules or Rules()
        self._foot = [*notes, *([caution] if caution else [])]
        self._bars = bar_picture.graded_bars(bars, places)
        self._bar = max(self._bars, key=lambda each: each.off).number
        self._shown = 1
        self._buttons = Buttons(offered, pads, call)

    def handle(self, press: Press) -> Outcome | None:
        """What a button is for; the left and right keys go through the bars of a longer pattern."""
        if press is Key.LEFT:
            self._bar = max(0, self._bar - self._shown)
        elif press is Key.RIGHT:
            self._bar = min(len(self._bars) - 1, self._bar + self._shown)
        return self._buttons.handle(press)

    def offers(self, outcome: Outcome) -> bool:
        """Whether a button has this outcome."""
        return self._buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        head(pen, self._title, self._subtitle, "", None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top = pen.px(HEAD + _SCORE)
        words_from = self._draw_score(pen, area(left, pen.px(HEAD), right, top))
        for line in self._also:
            base = top + pen.px(_ALSO_HIGH * 0.7)
            pen.text(
                pen.cut(line, BODY, right - words_from), BODY, (words_from, base), pen.colours.quiet
            )
            top += pen.px(_ALSO_HIGH)
        bottom = foot(pen, self._buttons, self._foot) - pen.px(12)
        middle = top + (bottom - top) * _PICTURE
        self._draw_bars(pen, area(left, top, right, middle))
        table(pen, area(left, middle + pen.px(16), right, bottom), self._figures)

    def _draw_score(self, pen: Pen, rect: pygame.Rect) -> float:
        """Draw the score and the advice; where the words begin, in pixels."""
        base = rect.centery + pen.capital(SCORE) / 2
        total = pen.text(f"{self._total:.0f}", SCORE, (rect.left, base), bold=True)
        of = pen.text("of 100", BODY, (total.right + pen.px(10), base), pen.colours.quiet)
        left = of.right + pen.px(36)
        right = float(rect.right)
        if self.level.db is not None:
            right -= pen.px(LEVEL_WIDE)
            self.level.draw(pen, (right, rect.top))
            right -= pen.px(24)
        lines = pen.wrapped(self._advice, ADVICE, right - left)
        step = pen.px(ADVICE * 1.35)
        base = rect.centery - step * (len(lines) - 1) / 2 + pen.capital(ADVICE) / 2
        for number, line in enumerate(lines):
            pen.text(line, ADVICE, (left, base + number * step))
        return left

    def _draw_bars(self, pen: Pen, rect: pygame.Rect) -> None:
        self._shown = bar_picture.fitting(pen, rect, self._bars)
        first = self._bar // self._shown * self._shown
        shown = self._bars[first : first + self._shown]
        base = rect.top + pen.px(18)
        named = pen.text("Where in the bar", LABEL, (rect.left, base), bold=True)
        right = rect.right
        if len(self._bars) > self._shown:
            last = first + len(shown)
            which = f"bar {last}" if len(shown) == 1 else f"bars {first + 1} to {last}"
            words = f"← {which} of {len(self._bars)} →"
            right = pen.text(words, BODY, (right, base), align=1.0).left - pen.px(20)
        at = named.right + pen.px(14)
        told = "mark: the mean of its hits; number: how often the stroke was off"
        pen.text(pen.cut(told, BODY, right - at), BODY, (at, base), pen.colours.quiet)
        picture = area(rect.left, rect.top + pen.px(_NAMED), rect.right, rect.bottom)
        bar_picture.draw(pen, picture, shown, self._voices, self._rules)
