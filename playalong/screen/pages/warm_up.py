"""The warm-up's pages: the curve of temperature, before it, under the sheet, and at the end.

The paper is that of a recorder: today's curve in ink, those of other days faint behind it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base import marks
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, COUNT, LABEL, SCORE, SMALL, TITLE, Theme
from playalong.screen.base.widgets import HEAD, LEAVE, MARGIN, ButtonPage, Buttons, foot, head

#: The scale, in degrees: its lines, and its end.
_LINES, _TOP = (0, 20, 40, 60, 80), 90.0

#: Room beside the curve for the scale, and for a day's name, in units.
_SCALE, _DAY = 46, 104

#: The strip of small curves: how high and how wide each is at most, and how many, in units.
_STRIP, _SMALL_WIDE, _MOST_DAYS = 84, 92, 10

#: The share of a page's height that text above a curve may take.
_TEXT = 0.46

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Curve:
    """A curve of (seconds, degrees), and the day it is of."""

    day: str
    points: Points


@dataclass(kw_only=True)
class WarmthChart:
    """The curve of temperature as it grows.

    ``today`` are (seconds, degrees) so far; ``others`` those of other days, the latest last;
    ``minutes`` how long all of it is about to be. ``heading`` names what warms now, ``figure``
    says how it stands.
    """

    minutes: float
    others: Sequence[Curve] = ()
    today: Points = ((0.0, 0.0),)
    heading: str = ""
    figure: str = ""

    @property
    def reading(self) -> str:
        """The temperature now."""
        return f"{self.today[-1][1]:.0f}°"

    def draw(self, pen: Pen, rect: pygame.Rect) -> None:
        """Draw it into ``rect``."""
        top = rect.top
        if self.heading:
            base = rect.top + pen.px(ADVICE + 6)
            size = pen.fitted(self.heading, (ADVICE, SMALL), rect.width, bold=True)
            words = pen.cut(self.heading, size, rect.width, bold=True)
            end = pen.text(words, size, (rect.left, base), bold=True).right + pen.px(16)
            at, room = (end, base), rect.right - end
            if pen.width(self.figure, SMALL) > room:  # below
                base += pen.px(LABEL * 1.4)
                at, room = (rect.left, base), rect.width
            size = pen.fitted(self.figure, (LABEL, SMALL), room)
            pen.text(pen.cut(self.figure, size, room), size, at, colour=pen.colours.quiet)
            top = base + pen.px(12)
        plot = area(
            left=rect.left + pen.px(_SCALE),
            top=top + pen.px(BODY),
            right=rect.right - pen.px(_DAY),
            bottom=rect.bottom - pen.px(BODY + 12),
        )
        self._axes(pen, plot)
        self._curves(pen, plot)

    @property
    def _end_s(self) -> float:
        longest = max((one.points[-1][0] for one in self.others if one.points), default=0.0)
        return max(60.0 * self.minutes, min(longest, 90.0 * self.minutes), self.today[-1][0], 60.0)

    def _axes(self, pen: Pen, plot: pygame.Rect) -> None:
        colours = pen.colours
        for degrees in _LINES:
            y = plot.bottom - degrees / _TOP * plot.height
            pen.level_line(y, plot.left, plot.right, colour=colours.line, width=1)
            at = (plot.left - pen.px(8), y + pen.capital(BODY) / 2)
            pen.text(f"{degrees}°", BODY, at, colour=colours.quiet, align=1.0)
        last = int(self._end_s // 60)
        step = max(1, -(-last // max(1, plot.width // pen.px(96))))
        for minute in range(0, last + 1, step):
            x = plot.left + 60.0 * minute / self._end_s * plot.width
            pen.upright(x, plot.bottom - pen.px(6), plot.bottom, colour=colours.quiet, width=1)
            words = f"{minute} min"
            pen.text(
                words, BODY, (x, plot.bottom + pen.px(BODY + 6)), colour=colours.quiet, align=0.5
            )

    def _curves(self, pen: Pen, plot: pygame.Rect) -> None:
        colours = pen.colours
        for curve in self.others:
            points = self._placed(plot, curve.points)
            pen.stroke(points, colours.rule, 1)
        taken: list[float] = []
        for curve in reversed(self.others):
            end = self._placed(plot, curve.points[-1:])
            y = end[0][1] + pen.capital(SMALL) / 2 if end else 0.0
            if end and all(abs(y - other) > pen.px(SMALL * 1.3) for other in taken):
                taken.append(y)
                words = pen.cut(curve.day, SMALL, pen.px(_DAY) - pen.px(8))
                pen.text(words, SMALL, (end[0][0] + pen.px(6), y), colour=colours.quiet)
        points = self._placed(plot, self.today)
        pen.stroke(points, colours.ink, 3)
        pen.mark(marks.dot(pen.px(7), colours.ink), points[-1])
        if len(points) > 1:
            x, y = points[-1]
            above = y - pen.px(14) if y - pen.px(30) > plot.top else y + pen.px(28)
            right = x + pen.width("today", LABEL, bold=True) > plot.right
            pen.text("today", LABEL, (x, above), bold=True, align=1.0 if right else 0.0)

    def _placed(self, plot: pygame.Rect, points: Points) -> list[tuple[float, float]]:
        across, up = plot.width / self._end_s, plot.height / _TOP
        return [
            (plot.left + min(at_s, self._end_s) * across, plot.bottom - min(degrees, _TOP) * up)
            for at_s, degrees in points
        ]


@dataclass(kw_only=True)
class WarmUpPage(ButtonPage):
    """Before a warm-up and after it.

    ``degrees`` stands large at the right, "" for nothing; ``said`` are sentences, the first in
    bold; ``listed`` a list in smaller type beside them; ``chart`` the curve below, None for none;
    ``days`` the strip of small curves. ``notices`` stand at the foot.
    """

    theme: Theme
    title: str
    subtitle: str
    said: Sequence[str]
    listed: Sequence[str] = ()
    degrees: str = ""
    chart: WarmthChart | None = None
    days: Sequence[Curve] = ()
    notices: Sequence[str] = ()
    buttons: Buttons = field(default_factory=lambda: Buttons([LEAVE]), repr=False)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        head(pen, self.title, self.subtitle, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, self.notices) - pen.px(8)
        top = pen.px(HEAD)
        below = bottom
        if self.chart is not None:
            below = round(top + _TEXT * (bottom - top))
            self.chart.draw(pen, area(left=left, top=below, right=right, bottom=bottom))
        text_right = right
        if self.degrees:
            base = top + pen.capital(SCORE)
            text_right = pen.text(
                self.degrees, SCORE, (right, base), bold=True, align=1.0
            ).left - pen.px(24)
        if self.listed:
            middle = left + 0.56 * (right - left)
            list_bottom = below - pen.px(_STRIP + 40 if self.days else 0)
            self._list(pen, area(left=middle, top=top, right=text_right, bottom=list_bottom))
            if self.days:
                self._strip(
                    pen,
                    area(left=middle, top=below - pen.px(_STRIP + 30), right=right, bottom=below),
                )
            text_right = round(middle) - pen.px(32)
        self._say(pen, area(left=left, top=top, right=text_right, bottom=below))

    def _say(self, pen: Pen, room: pygame.Rect) -> None:
        """The sentences, as large as all of them fit."""
        said = [words for words in self.said if words]
        for size in (ADVICE, COUNT, TITLE, LABEL, BODY, SMALL):
            lines = [
                [*pen.wrapped(words, size, room.width, bold=number == 0)]
                for number, words in enumerate(said)
            ]
            step, between = pen.px(size * 1.35), pen.px(size * 0.3)
            if step * sum(map(len, lines)) + between * len(lines) <= room.height:
                break
        base = room.top + pen.px(size)
        for number, wrapped in enumerate(lines):
            for line in wrapped:
                pen.text(line, size, (room.left, base), bold=number == 0)
                base += step
            base += between

    def _list(self, pen: Pen, room: pygame.Rect) -> None:
        size = LABEL if len(self.listed) * pen.px(LABEL * 1.5) <= room.height else BODY
        step = min(pen.px(size * 1.6), room.height / max(1, len(self.listed)))
        fits = max(1, int(room.height // max(step, pen.px(size * 1.25))))
        lines = list(self.listed)
        if len(lines) > fits:
            lines = [*lines[: fits - 1], f"and {len(lines) - fits + 1} more"]
            step = room.height / fits
        for number, words in enumerate(lines):
            at = (room.left, room.top + pen.px(size) + number * step)
            pen.text(pen.cut(words, size, room.width), size, at, colour=pen.colours.quiet)

    def _strip(self, pen: Pen, room: pygame.Rect) -> None:
        """A small curve for each of the last days, the latest at the right."""
        gap = pen.px(14)
        count = min(_MOST_DAYS, max(1, room.width // (pen.px(_SMALL_WIDE) + gap)), len(self.days))
        shown = self.days[-count:]
        base = room.top + pen.px(LABEL)
        pen.text("other days", LABEL, (room.left, base), colour=pen.colours.quiet)
        wide = pen.px(_SMALL_WIDE)
        top, bottom = base + pen.px(8), room.bottom - pen.px(SMALL + 8)
        for number, curve in enumerate(shown):
            left = room.left + number * (wide + gap)
            box = area(left=left, top=top, right=left + wide, bottom=bottom)
            pen.fill(box, pen.colours.row)
            end_s = max((at_s for at_s, _ in curve.points), default=0.0) or 1.0
            points = [
                (
                    box.left + at_s / end_s * box.width,
                    box.bottom - min(degrees, _TOP) / _TOP * box.height,
                )
                for at_s, degrees in curve.points
            ]
            pen.stroke(points, pen.colours.ink, 1.5)
            words = pen.cut(curve.day, SMALL, wide + gap)
            pen.text(words, SMALL, (left, room.bottom - pen.px(4)), colour=pen.colours.quiet)
