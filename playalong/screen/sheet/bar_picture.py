"""What went wrong where in the bar: the written bar, and in each box what became of its stroke.

A box is drawn as on the sheet. The mark in it is the mean of its hits, by time and loudness: solid
inside the box, an open ring outside. The part of the box that is hatched, from its left, is the
part that was missed or fell on another drum; the number beside it says how often the stroke was off
at all.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import pygame

from playalong.grading.grade import PlaceGrade
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Bar
from playalong.pattern.voices import BY_NAME
from playalong.screen.base import marks
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, COUNT, LABEL, SMALL
from playalong.screen.sheet.count import Spoken, Weight, count_of
from playalong.screen.sheet.geometry import (
    DOT,
    HAND_LETTER,
    HANDS,
    LEAST_BOX,
    ROLL,
    Row,
    draw_hand,
    height,
    nearest,
    rows,
)

#: In units: the baseline of the count, where the rows begin, the least from row to row, and the
#: height of a row in which a soft stroke lies lower than a loud one.
_COUNT_BASE, _ROWS, _GAP, _ROW = 26, 38, 6, 30

#: In units: room for the names of the rows, between them and the rows, and between bars.
_NAMES, _BESIDE, _BETWEEN = 96, 16, 26

#: Rows with less room than this are all of one height, in units.
_EVEN = 60

#: In units: the least from one place of the count to the next, and the widest box.
_CLOSEST, _WIDEST = 34, 22


@dataclass(frozen=True, slots=True)
class GradedBar:
    """A bar of the pattern, its number (0 is the first), and the grades of its strokes."""

    number: int
    bar: Bar
    places: tuple[PlaceGrade, ...]

    @property
    def off(self) -> int:
        """How many strokes were not clean."""
        return sum(place.targets - place.clean for place in self.places)


def graded_bars(bars: Sequence[Bar], places: Sequence[PlaceGrade]) -> list[GradedBar]:
    """The bars with their grades; ``places`` are in the order of the bars' strokes."""
    return [
        GradedBar(number, bar, tuple(place for place in places if place.bar == number))
        for number, bar in enumerate(bars)
    ]


def wanted(voices: int, hands: bool = False) -> int:
    """How high a picture with so many rows should be, in units; ``hands`` stand under them."""
    return _ROWS + voices * (_ROW + _GAP + (HANDS if hands else 0))


def fitting(pen: Pen, rect: pygame.Rect, bars: Sequence[GradedBar]) -> int:
    """How many bars can be drawn into ``rect`` side by side, at least one."""
    parts = max(len(list(count_of(each.bar))) for each in bars)
    room = rect.width - pen.px(_NAMES + _BESIDE)
    return max(1, int(room // (parts * _CLOSEST * pen.unit + pen.px(_BETWEEN))))


def draw(
    pen: Pen,
    rect: pygame.Rect,
    bars: Sequence[GradedBar],
    *,
    voices: Sequence[str],
    rules: Rules,
    ahead: bool = False,
) -> None:
    """Draw ``bars`` side by side into ``rect``, a row for each of ``voices``.

    ``ahead``: what has no fault is drawn as it will come on the sheet. Strokes of other voices
    are left out.
    """
    if ahead:
        theme = replace(pen.theme, colours=replace(pen.colours, answered=pen.colours.ahead))
        pen = Pen(pen.surface, theme, pen.unit)
    names = max(pen.width(BY_NAME[voice].label, LABEL) for voice in voices)
    left: float = rect.left + max(names, pen.px(_NAMES)) + pen.px(_BESIDE)
    has_hands = any(stroke.hand for each in bars for stroke in each.bar.strokes)
    hands = pen.px(HANDS) if has_hands else 0
    top, bottom = rect.top + pen.px(_ROWS), rect.bottom - hands
    even = (bottom - top) / len(voices) < pen.px(_EVEN)
    lines = rows(voices, top, bottom, gap=pen.px(_GAP) + hands, even=even)
    middles = [(row.top + row.bottom) / 2 for row in lines.values()]
    closest = min((low - high for high, low in pairwise(middles)), default=rect.height)
    size = max(SMALL, min(LABEL, int(0.8 * closest / pen.unit)))
    for row in lines.values():
        base = (row.top + row.bottom) / 2 + pen.capital(size) / 2
        pen.text(BY_NAME[row.voice].label, size, (left - pen.px(_BESIDE), base), align=1.0)
    gap = pen.px(_BETWEEN)
    whole = sum(float(each.bar.meter.length) for each in bars)
    per_whole = (rect.right - left - gap * (len(bars) - 1)) / whole
    for each in bars:
        right = left + float(each.bar.meter.length) * per_whole
        _draw_bar(
            pen,
            area(left=left, top=rect.top, right=right, bottom=rect.bottom),
            each,
            lines=lines,
            rules=rules,
        )
        left = right + gap


def _draw_bar(
    pen: Pen, rect: pygame.Rect, each: GradedBar, *, lines: dict[str, Row], rules: Rules
) -> None:
    colours, bar = pen.colours, each.bar
    for row in lines.values():
        pen.fill(pygame.Rect(rect.left, row.top, rect.width, row.bottom - row.top), colours.row)
        pen.level_line(row.bottom, rect.left, rect.right, colour=colours.rule, width=1)
    count = list(count_of(bar))
    ends = [*(said.at for said in count[1:]), bar.meter.length]
    per_whole = rect.width / float(bar.meter.length)
    closest = min(end - said.at for end, said in zip(ends, count, strict=True))
    step = float(closest) * per_whole
    inset = rect.left + step / 2
    hands_at = sorted({stroke.at for stroke in bar.strokes if stroke.hand is not None})
    nearest_hands = min((after - at for at, after in pairwise(hands_at)), default=bar.meter.length)
    has_room = float(nearest_hands) * per_whole > pen.width("R", HAND_LETTER) + pen.px(4)
    for said in count:
        _draw_spoken(pen, (inset + float(said.at) * per_whole, rect.top), said, step=step)
    for stroke, place in zip(bar.strokes, each.places, strict=True):
        if stroke.voice not in lines:
            continue
        x = inset + float(stroke.at) * per_whole
        if stroke.roll is not None:
            until = x + float(stroke.roll.length) * per_whole
            at = lines[stroke.voice].bottom - pen.px(ROLL)
            pen.level_line(at, x, until, colour=colours.ahead_edge, width=ROLL)
        _draw_place(
            pen,
            x,
            min(step, 2 * pen.px(_WIDEST)),
            row=lines[stroke.voice],
            place=place,
            rules=rules,
            room=step - min(step, 2 * pen.px(_WIDEST)) / 2,
        )
        if stroke.hand is not None and has_room:
            draw_hand(
                pen, stroke.hand, (x, lines[stroke.voice].bottom), left_handed=rules.left_handed
            )


def _draw_spoken(pen: Pen, at: tuple[float, float], said: Spoken, *, step: float) -> None:
    at = (at[0], at[1] + pen.px(_COUNT_BASE))
    if said.weight is not Weight.PART:
        pen.text(said.words, COUNT, at, bold=True, align=0.5)
    elif pen.width(said.words, BODY) < step:
        pen.text(said.words, BODY, at, colour=pen.colours.quiet, align=0.5)


def _draw_place(
    pen: Pen,
    x: float,
    step: float,
    *,
    row: Row,
    place: PlaceGrade,
    rules: Rules,
    room: float,
) -> None:
    """One stroke; ``step`` is the room for its box and mark, and ``room`` lies between boxes."""
    colours, half = pen.colours, step / 4
    top, bottom = row.span(rules.bands.of(place.voice, place.dynamic), pen.px(LEAST_BOX))
    box = area(left=x - half, top=top, right=x + half + 1, bottom=bottom + 1)
    gone = place.missed + place.wrong_drum
    pen.box(box, fill=colours.answered, edge=colours.rule)
    if gone:
        wide = max(pen.px(5), round(box.width * gone / place.targets))
        pen.hatched(
            area(left=box.left, top=box.top, right=box.left + wide, bottom=box.bottom), colours.off
        )
    at = _mark(pen, x, step, row=row, box=box, place=place, rules=rules)
    _draw_number(pen, row, box, place=place, mark=at, room=room)


def _draw_number(
    pen: Pen,
    row: Row,
    box: pygame.Rect,
    *,
    place: PlaceGrade,
    mark: tuple[int, int] | None,
    room: float,
) -> None:
    """How often a stroke was off, to the right of its box, out of the way of its ``mark``.

    Above the box where ``room``, the pixels up to the next one, is too little.
    """
    off, tall = place.targets - place.clean, pen.capital(SMALL)
    if not off:
        return
    words, middle = str(off), float(box.centery)
    if mark is not None and mark[0] > box.right - pen.px(DOT):
        is_low = mark[1] > (row.top + row.bottom) / 2
        middle = row.top + tall / 2 if is_low else row.bottom - tall / 2 - 1
    at, align = (box.right + pen.px(4), middle + tall / 2), 0.0
    if pen.width(words, SMALL, bold=True) + pen.px(6) > room:
        at, align = (box.centerx, max(row.top, box.top - pen.px(3))), 0.5
    pen.text(words, SMALL, at, colour=pen.colours.off, bold=True, align=align)


def _mark(
    pen: Pen,
    x: float,
    step: float,
    *,
    row: Row,
    box: pygame.Rect,
    place: PlaceGrade,
    rules: Rules,
) -> tuple[int, int] | None:
    """The mean of the hits, solid in the box and open outside; where it is, None without any."""
    colours, half = pen.colours, step / 4
    if place.mean_ms is None or place.mean_db is None:
        return None
    shift = place.mean_ms / max(rules.tolerance_ms, 1.0) * half
    radius = max(2, min(pen.px(DOT), round(half)))
    y = row.y(height(place.mean_db))
    # Loudness is heard against the player's own strokes, whatever the height of the box.
    if 2 * place.too_loud > place.targets:
        y = min(y, box.top - radius - 1)
    elif 2 * place.too_soft > place.targets:
        y = max(y, box.bottom + radius)
    at = (round(x + min(step / 2, max(-step / 2, shift))), y)
    if box.collidepoint(at):
        pen.mark(marks.dot(radius, colours.ink), at)
        return at
    pen.link(at, nearest(box, at), colours.off, width=1.4)
    pen.mark(marks.ring(radius, width=pen.px(1.6), colour=colours.off, inside=colours.row), at)
    return at
