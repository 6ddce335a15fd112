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
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SCORE, SMALL, Theme
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

#: In units: the height of the score and the advice, what the title of the picture takes, and how
#: high the course of the tempo and the figures are at least and at most.
_SCORE, _NAMED, _FIGURES = 128, 32, (96, 130)

#: How many sentences are shown small under the advice, and in units the height of each.
ALSO, _ALSO_HIGH = 2, 27

#: What the foot takes with all that it tells, in units, and with one line beside its buttons.
_FOOT, _TIGHT_FOOT = 200, 80

#: The course of the tempo: its part of the width, the room for its name in units, and how far its
#: axis reaches at least to each side, in parts of the tempo that was asked for.
_COURSE, _COURSE_NAME, _COURSE_AXIS = 0.46, 96, 0.03

#: The course stands beside the figures where they are so high, in units; where they are lower,
#: under the score if long sentences leave so much there, or beside the figures all the same, and
#: where nothing is left for figures, as a line beside the title of the picture.
_COURSE_LEAST, _COURSE_SMALL = 70, 44


class ResultPage:
    """The grade of a run.

    ``advice`` is the one thing to work on, ``also`` what comes after it, shown small;
    ``figures`` are (what, figure in words); ``places`` the grades of the strokes of ``bars``, in
    their order; ``voices`` the rows; ``notices`` are told at the foot, and ``caution`` under them.
    ``offered`` are its buttons, ``pads`` and ``call`` as ``Buttons`` has them; ``level`` is that of
    the sound in which the run may be heard again. ``course`` is that of the tempo, as (bar, bpm)
    for each bar, and ``requested_bpm`` the tempo asked for; ``best`` the best score so far.
    """

    def __init__(
        self,
        theme: Theme,
        title: str,
        subtitle: str,
        *,
        total: float,
        advice: str,
        figures: Sequence[tuple[str, str]],
        places: Sequence[PlaceGrade],
        bars: Sequence[Bar],
        voices: Sequence[str],
        also: Sequence[str] = (),
        notices: Sequence[str] = (),
        caution: str = "",
        rules: Rules | None = None,
        offered: Sequence[Button] = (AGAIN, LEAVE),
        pads: Mapping[Outcome, str] = NO_PADS,
        call: str = "",
        level: Level | None = None,
        course: Sequence[tuple[int, float]] = (),
        requested_bpm: float = 0.0,
        best: float | None = None,
    ) -> None:
        self._course, self._requested_bpm, self._best = course, requested_bpm, best
        self.level = level or Level()
        self._theme, self._title, self._subtitle = theme, title, subtitle
        self._total, self._advice, self._figures = total, advice, figures
        self._also = also[:ALSO]
        self._voices, self._rules = voices, rules or Rules()
        self._foot = [*notices, *([caution] if caution else [])]
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

    @property
    def bar(self) -> int:
        """The bar of the pattern that is shown, or the first of those; 0 is the first."""
        return self._bar // self._shown * self._shown if self._shown > 1 else self._bar

    def offers(self, outcome: Outcome) -> bool:
        """Whether a button has this outcome."""
        return self._buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self._theme)
        surface.fill(pen.colours.paper)
        head(pen, self._title, self._subtitle, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        height = surface.get_height()
        rect = area(left=left, top=pen.px(HEAD), right=right, bottom=height)
        top, beside_score = self._draw_score(pen, rect)
        hands = any(stroke.hand for each in self._bars for stroke in each.bar.strokes)
        picture = pen.px(_NAMED + bar_picture.wanted(len(self._voices), hands))
        # Where there is little room, where it went wrong comes before what is told at the foot.
        notices = self._foot
        if height - top - pen.px(_FOOT) < picture:
            notices = notices[:1]
        if height - top - self._buttons.tall(pen, right - left) - pen.px(_TIGHT_FOOT) < picture:
            notices = self._foot[:-2]  # where the take is kept is told in the history too
        bottom = foot(pen, self._buttons, notices) - pen.px(10)
        least, most = map(pen.px, _FIGURES)
        tall = min(most, max(least, (bottom - top) // 3))
        if bottom - tall - top < picture:  # where it went wrong comes first
            tall = max(0, round(bottom - top) - picture)
        figures = area(left=left, top=bottom - tall, right=right, bottom=bottom)
        has_course = len(self._course) > 1 and bool(self._requested_bpm)
        is_low = tall < pen.px(_COURSE_LEAST)
        if has_course and is_low and _is_room(pen, beside_score):
            self._draw_course(pen, beside_score)
            has_course = False
        elif has_course and tall >= pen.px(_COURSE_SMALL):
            middle = left + (right - left) * _COURSE
            self._draw_course(pen, area(left=left, top=figures.top, right=middle, bottom=bottom))
            figures = area(left=middle + pen.px(40), top=figures.top, right=right, bottom=bottom)
            has_course = False
        rest = area(left=left, top=top, right=right, bottom=bottom - tall - pen.px(10))
        self._draw_bars(pen, rest, with_course=has_course)
        if tall >= pen.px(BODY * 1.5):
            table(pen, figures, self._figures)

    def _draw_score(self, pen: Pen, rect: pygame.Rect) -> tuple[float, pygame.Rect]:
        """Draw the score, the advice and what comes next; where they end, in pixels, and what room
        they leave under the score.
        """
        top, base = rect.top, rect.top + pen.px(14) + pen.capital(SCORE)
        total = pen.text(f"{self._total:.0f}", SCORE, (rect.left, base), bold=True)
        of = pen.text("of 100", BODY, (total.right + pen.px(10), base), colour=pen.colours.quiet)
        left = of.right
        if self._best is not None:
            at = (total.right + pen.px(10), base - pen.px(BODY * 1.4))
            left = max(
                left, pen.text(f"best {self._best:.0f}", BODY, at, colour=pen.colours.quiet).right
            )
        score_right = left
        left, right = left + pen.px(40), float(rect.right)
        if self.level.db is not None:
            right -= pen.px(LEVEL_WIDE)
            self.level.draw(pen, (right, top))
            right -= pen.px(24)
        size, step = ADVICE, pen.px(ADVICE * 1.25)
        lines = pen.wrapped(self._advice, size, right - left, bold=True)
        for number, line in enumerate(lines):
            at = (left, top + pen.px(10) + pen.capital(size) + number * step)
            pen.text(line, size, at, bold=True)
        y = top + pen.px(10) + pen.capital(size) + (len(lines) - 1) * step + pen.px(12)
        for number, words in enumerate(self._also):
            said = f"then: {words}" if not number else words
            for line in pen.wrapped(said, BODY, rect.right - left):
                y += pen.px(_ALSO_HIGH)
                pen.text(line, BODY, (left, y - pen.px(5)), colour=pen.colours.quiet)
        end = max(top + pen.px(_SCORE), y + pen.px(6))
        under = top + pen.px(_SCORE)
        return end, area(left=rect.left, top=under, right=score_right, bottom=end)

    def _draw_course(self, pen: Pen, rect: pygame.Rect) -> None:
        """The course of the tempo over the bars, about the one that was asked for."""
        colours = pen.colours
        base, foot_y = rect.top + pen.px(LABEL), rect.bottom - pen.px(4)
        pen.text("Tempo", LABEL, (rect.left, base), bold=True)
        plot = area(
            left=rect.left + pen.px(_COURSE_NAME),
            top=rect.top,
            right=rect.right,
            bottom=rect.bottom - pen.px(SMALL * 1.6),
        )
        self._draw_tempo_line(pen, plot)
        first, last = self._course[0][0], self._course[-1][0]
        pen.text(f"bar {first + 1}", SMALL, (plot.left, foot_y), colour=colours.quiet)
        pen.text(f"bar {last + 1}", SMALL, (plot.right, foot_y), colour=colours.quiet, align=1.0)
        label_at = (plot.left - pen.px(10), plot.centery + pen.capital(SMALL) / 2)
        if plot.centery - pen.capital(SMALL) > base + pen.px(6):
            pen.text(f"{self._requested_bpm:g}", SMALL, label_at, colour=colours.quiet, align=1.0)

    def _draw_tempo_line(self, pen: Pen, plot: pygame.Rect) -> None:
        """The course alone, about the tempo that was asked for."""
        colours = pen.colours
        pen.level_line(plot.centery, plot.left, plot.right, colour=colours.rule, width=1)
        off = [bpm / self._requested_bpm - 1 for _, bpm in self._course]
        per = plot.height / 2 / max(_COURSE_AXIS, *map(abs, off))
        first, last = self._course[0][0], self._course[-1][0]
        across = plot.width / max(1, last - first)
        points = [
            (plot.left + (bar - first) * across, plot.centery - part * per)
            for (bar, _), part in zip(self._course, off, strict=True)
        ]
        pen.stroke(points, colours.ink, 2.6)

    def _draw_bars(self, pen: Pen, rect: pygame.Rect, *, with_course: bool) -> None:
        """Where in the bar it went wrong, with the course of the tempo beside its title."""
        self._shown = bar_picture.fitting(pen, rect, self._bars)
        first = self._bar // self._shown * self._shown
        shown = self._bars[first : first + self._shown]
        base = rect.top + pen.px(LABEL)
        named = pen.text("Where in the bar", LABEL, (rect.left, base), bold=True)
        right = rect.right
        if len(self._bars) > self._shown:
            last = first + len(shown)
            which = f"bar {last}" if len(shown) == 1 else f"bars {first + 1} to {last}"
            words = f"← {which} of {len(self._bars)} →"
            right = pen.text(words, BODY, (right, base), align=1.0).left - pen.px(20)
        at = named.right + pen.px(14)
        legend = "the mark is the mean of its hits; the number, how often the stroke was off"
        if with_course:
            said = pen.text("Tempo", SMALL, (at, base), colour=pen.colours.quiet)
            line = area(
                left=said.right + pen.px(10),
                top=rect.top,
                right=right,
                bottom=rect.top + pen.px(_NAMED - 8),
            )
            self._draw_tempo_line(pen, line)
        elif pen.width(legend, SMALL) <= right - at:
            pen.text(legend, SMALL, (at, base), colour=pen.colours.quiet)
        picture = area(
            left=rect.left, top=rect.top + pen.px(_NAMED), right=rect.right, bottom=rect.bottom
        )
        bar_picture.draw(pen, picture, shown, voices=self._voices, rules=self._rules)


def _is_room(pen: Pen, rect: pygame.Rect) -> bool:
    """Whether the course of the tempo can be read in it."""
    return rect.height >= pen.px(_COURSE_SMALL) and rect.width >= pen.px(2 * _COURSE_NAME)
