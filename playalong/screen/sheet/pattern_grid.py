"""A pattern as a grid of cells: a row for each voice, a cell for each place, boxes for strokes.

Height inside a row is loudness: a ghost note is a low box, an accent a high one.
An open hi-hat has a ring in its box, grace strokes are small boxes before it, and what may be left
out has a dashed edge. A place in a cell can be pointed at, and how high in its row.
"""

from bisect import bisect_right
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import pygame

from playalong.pattern.model import Bar, Dynamic, Stroke
from playalong.pattern.voices import BY_NAME
from playalong.screen.base import marks
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, LABEL, SMALL
from playalong.screen.sheet.count import Spoken, Weight, count_of
from playalong.screen.sheet.geometry import HANDS, Row, draw_hand, rows

#: In units: the baseline of the count, where the rows begin, from row to row, room for names and
#: beside them, between bars, the narrowest and the widest cell, the widest box.
_COUNT_BASE, _ROWS, _GAP, _NAMES, _BESIDE, _BETWEEN = 24, 34, 8, 96, 14, 16
_CELL, _WIDEST, _BOX = 29, 64, 26

#: The most a row is high, in units.
_ROW = 74

#: A grace stroke, in units: its width, height, and from one to the next.
_GRACE, _GRACE_HIGH, _GRACE_STEP = 4, 13, 6

#: How thick the bar is that shows how long a roll lasts, in units.
_LASTS = 7

#: How high the box of each dynamic is, in parts of its row.
HIGH = {Dynamic.GHOST: 0.3, Dynamic.NORMAL: 0.62, Dynamic.ACCENT: 0.95}

#: Bar, cell in it, row.
Cell = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pointed:
    """What is pointed at: a cell, and the dynamic whose box would be nearest there."""

    cell: Cell
    dynamic: Dynamic


@dataclass(kw_only=True)
class PatternGrid:
    """Draws bars into a rectangle, and knows afterwards which cell is where.

    ``cursor`` is outlined; ``now`` (bar, position) is where it sounds; ``unsure`` are (bar,
    position, voice) of strokes that are drawn as a question.
    """

    cursor: Cell | None = None
    now: tuple[int, Fraction] | None = None
    unsure: Collection[tuple[int, Fraction, str]] = ()
    left_handed: bool = False
    _areas: list[tuple[pygame.Rect, Cell]] = field(default_factory=list, repr=False)
    _lines: list[Row] = field(default_factory=list, repr=False)

    def fitting(self, pen: Pen, rect: pygame.Rect, bars: Sequence[Bar]) -> int:
        """How many of the bars, from the first on, find room side by side, at least one."""
        room = rect.width - pen.px(_NAMES + _BESIDE)
        taken = 0.0
        for number, bar in enumerate(bars):
            taken += sum(bar.divisions) * pen.px(_CELL) + (pen.px(_BETWEEN) if number else 0)
            if taken > room and number:
                return number
        return len(bars)

    def draw(
        self, pen: Pen, rect: pygame.Rect, bars: Sequence[Bar], *, voices: Sequence[str], first: int
    ) -> int:
        """Draw bars from number ``first`` on; how many find room is returned."""
        shown = bars[first : first + self.fitting(pen, rect, bars[first:])]
        names = max(pen.width(BY_NAME[voice].label, SMALL) for voice in voices)
        left: float = rect.left + max(names, pen.px(_NAMES)) + pen.px(_BESIDE)
        has_hands = any(stroke.hand for bar in shown for stroke in bar.strokes)
        hands = pen.px(HANDS) if has_hands else 0
        top = rect.top + pen.px(_ROWS)
        most = len(voices) * (pen.px(_ROW) + pen.px(_GAP) + hands)
        bottom = min(rect.bottom - hands, top + most)
        lines = rows(voices, top, bottom, gap=pen.px(_GAP) + hands, even=True)
        self._areas, self._lines = [], list(lines.values())
        high = self._lines[0].bottom - self._lines[0].top
        size = max(SMALL, min(LABEL, int(0.7 * high / pen.unit)))
        for row in self._lines:
            label = BY_NAME[row.voice].label
            fitted = pen.fitted(label, (size, SMALL), left - pen.px(_BESIDE) - rect.left)
            base = (row.top + row.bottom) / 2 + pen.capital(fitted) / 2
            pen.text(label, fitted, (left - pen.px(_BESIDE), base), align=1.0)
        cells = sum(sum(bar.divisions) for bar in shown)
        room = rect.right - left - pen.px(_BETWEEN) * (len(shown) - 1)
        step = min(room / cells, pen.px(_WIDEST))
        for number, bar in enumerate(shown, first):
            right = left + step * sum(bar.divisions)
            here = area(left=left, top=rect.top, right=right, bottom=bottom)
            self._draw_bar(pen, here, bar, number=number, step=step)
            left = right + pen.px(_BETWEEN)
        return len(shown)

    def _draw_bar(self, pen: Pen, rect: pygame.Rect, bar: Bar, *, number: int, step: float) -> None:
        colours = pen.colours
        for row in self._lines:
            back = pygame.Rect(rect.left, row.top, rect.width, row.bottom - row.top)
            pen.fill(back, colours.row)
        count = list(count_of(bar))
        x_of: dict[Fraction, float] = {}
        for place, said in enumerate(count):
            x = rect.left + (place + 0.5) * step
            x_of[said.at] = x
            self._say(pen, (x, rect.top + pen.px(_COUNT_BASE)), said, step=step)
            if said.weight is Weight.BEAT:
                pen.upright(
                    x - step / 2,
                    self._lines[0].top,
                    self._lines[-1].bottom,
                    colour=colours.line,
                    width=1,
                )
            for line, row in enumerate(self._lines):
                room = area(left=x - step / 2, top=row.top, right=x + step / 2, bottom=row.bottom)
                self._areas.append((room, (number, place, line)))
                pen.upright(x, row.bottom - pen.px(5), row.bottom, colour=colours.rule, width=1)
        for row in self._lines:
            pen.level_line(row.bottom, rect.left, rect.right, colour=colours.rule, width=1)
        by_voice = {row.voice: row for row in self._lines}
        for stroke in bar.strokes:
            if stroke.voice in by_voice and stroke.at in x_of:
                unsure = (number, stroke.at, stroke.voice) in self.unsure
                if stroke.roll is not None:
                    end = stroke.at + stroke.roll.length
                    until = next((x - step / 2 for at, x in x_of.items() if at >= end), rect.right)
                    low = by_voice[stroke.voice].bottom
                    lasts = area(
                        left=x_of[stroke.at], top=low - pen.px(_LASTS), right=until, bottom=low + 1
                    )
                    pen.fill(lasts, colours.ahead_edge)
                self._draw_stroke(
                    pen,
                    stroke,
                    x_of[stroke.at],
                    row=by_voice[stroke.voice],
                    step=step,
                    unsure=unsure,
                )
        if self.cursor is not None and self.cursor[0] == number:
            self._draw_cursor(pen)
        if self.now is not None and self.now[0] == number:
            places = [*x_of, bar.meter.length]
            at = max(0, bisect_right(places, self.now[1]) - 1)
            begin = places[min(at, len(places) - 2)]
            end = places[min(at, len(places) - 2) + 1]
            x = x_of[begin] + float((self.now[1] - begin) / (end - begin)) * step
            pen.upright(x, self._lines[0].top, self._lines[-1].bottom, colour=colours.ink, width=2)

    def _say(self, pen: Pen, at: tuple[float, float], said: Spoken, *, step: float) -> None:
        if said.weight is not Weight.PART:
            pen.text(said.words, LABEL, at, bold=True, align=0.5)
        elif pen.width(said.words, BODY) < step:
            pen.text(said.words, BODY, at, colour=pen.colours.quiet, align=0.5)

    def _draw_stroke(
        self, pen: Pen, stroke: Stroke, x: float, *, row: Row, step: float, unsure: bool
    ) -> None:
        colours = pen.colours
        half = min(pen.px(_BOX), step * 0.66) / 2
        high = HIGH[stroke.dynamic] * (row.bottom - row.top)
        box = area(left=x - half, top=row.bottom - high, right=x + half, bottom=row.bottom + 1)
        fill = colours.row if unsure else colours.ahead
        pen.box(box, fill=fill, edge=colours.ahead_edge, dashed=stroke.optional or unsure)
        for grace in range(stroke.graces):
            right = box.left - pen.px(2) - grace * pen.px(_GRACE_STEP)
            small = area(
                left=right - pen.px(_GRACE),
                top=box.bottom - pen.px(_GRACE_HIGH),
                right=right,
                bottom=box.bottom,
            )
            pen.fill(small, colours.ahead_edge)
        if stroke.is_open:
            radius = max(3, min(pen.px(5), round(half) - 2, box.height // 2 - 2))
            ring = marks.ring(radius, width=pen.px(1.6), colour=colours.ink, inside=None)
            pen.mark(ring, box.center)
        if stroke.roll is not None and not unsure:
            letter = "r" if stroke.roll.strokes else "z"
            pen.text(letter, SMALL, (x, box.centery + pen.capital(SMALL) / 2), align=0.5)
        if unsure:
            pen.text("?", SMALL, (x, box.centery + pen.capital(SMALL) / 2), align=0.5)
        if stroke.hand is not None:
            draw_hand(pen, stroke.hand, (x, row.bottom), left_handed=self.left_handed)

    def _draw_cursor(self, pen: Pen) -> None:
        room = next((where for where, cell in self._areas if cell == self.cursor), None)
        if room is not None:
            pygame.draw.rect(pen.surface, pen.colours.ink, room, pen.px(2.4))

    def pointed(self, x: int, y: int) -> Pointed | None:
        """What a place in the window points at, None where no cell is."""
        for room, cell in self._areas:
            if room.collidepoint(x, y):
                row = self._lines[cell[2]]
                high = (row.bottom - y) / max(1, row.bottom - row.top)
                near = min(Dynamic, key=lambda dynamic: abs(HIGH[dynamic] - high))
                return Pointed(cell=cell, dynamic=near)
        return None
