"""A plot over days or weeks, in the manner of the sheet: ink on paper, a dot for each of them.

The name stands above with the latest figure; the ends of the axes are told, and nothing else.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import pygame

from playalong.screen.base import marks
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import LABEL, SMALL

#: In units: the radius of a dot, the width of a line, the room for the ends of the upright axis.
_DOT, _LINE, _GUTTER = 4.5, 2.2, 62

#: The widest bar, in parts of the plot's width.
_WIDEST = 1 / 14

_NOTHING = "nothing yet"


@dataclass(frozen=True, kw_only=True)
class Plot:
    """``points`` are (place in time from 0 to 1, figure), in order of time; ``words`` tell the
    latest figure. ``low`` and ``high`` are the figures at the lower and the upper edge, as written
    in ``ends``; ``stands`` draws bars that stand on the lower edge. ``span`` tells both ends of
    the time.
    """

    name: str
    words: str
    points: Sequence[tuple[float, float]]
    low: float
    high: float
    ends: tuple[str, str]
    span: tuple[str, str]
    stands: bool = False


def draw(pen: Pen, rect: pygame.Rect, plot: Plot) -> None:
    """Draw ``plot`` into ``rect``."""
    colours = pen.colours
    base = rect.top + pen.px(LABEL)
    named = pen.text(plot.name, LABEL, (rect.left, base), bold=True)
    words = plot.words if plot.points else _NOTHING
    left = named.right + pen.px(12)
    pen.text(pen.cut(words, SMALL, rect.right - left), SMALL, (left, base), colour=colours.quiet)
    foot = rect.bottom - pen.px(5)
    room = area(
        left=rect.left + pen.px(_GUTTER),
        top=base + pen.px(14),
        right=rect.right,
        bottom=foot - pen.px(SMALL * 1.3),
    )
    pen.level_line(room.bottom, room.left, room.right, colour=colours.rule, width=1)
    pen.text(plot.span[0], SMALL, (room.left, foot), colour=colours.quiet)
    pen.text(plot.span[1], SMALL, (room.right, foot), colour=colours.quiet, align=1.0)
    if not plot.points:
        return
    high_y = room.top + pen.capital(SMALL)
    has_both = room.bottom - high_y > 1.4 * pen.capital(SMALL)
    for end, y in zip(plot.ends, (room.bottom, high_y), strict=True):
        if end is plot.ends[0] and not has_both:
            continue
        at = (room.left - pen.px(8), y)
        pen.text(pen.cut(end, SMALL, pen.px(_GUTTER)), SMALL, at, colour=colours.quiet, align=1.0)
    radius, scale = pen.px(_DOT), max(1e-9, plot.high - plot.low)
    inside = room.inflate(-2 * radius, 0)
    placed = [
        (
            inside.left + place * inside.width,
            room.bottom - (value - plot.low) / scale * (room.height - radius),
        )
        for place, value in plot.points
    ]
    if plot.stands:
        _stand(pen, room, placed)
        return
    pen.stroke(placed, colours.ink, _LINE)
    for point in placed:
        pen.mark(marks.dot(radius, colours.ink), point)


def _stand(pen: Pen, room: pygame.Rect, placed: Sequence[tuple[float, float]]) -> None:
    steps = [right - left for (left, _), (right, _) in pairwise(placed)]
    wide = max(pen.px(3), round(min([room.width * _WIDEST, *(0.7 * step for step in steps)])))
    for x, y in placed:
        pen.fill(
            area(
                left=x - wide / 2,
                top=min(y, room.bottom - 1),
                right=x + wide / 2,
                bottom=room.bottom,
            ),
            pen.colours.ink,
        )
