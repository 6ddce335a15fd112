"""The three gauges under the sheet: timing, ghost notes, steadiness. Each draws itself and says
in words what it shows.
"""

from collections.abc import Iterable
from functools import lru_cache
from statistics import fmean

import pygame

from playalong.grading.gauges import GhostGauge, SteadinessGauge, TimingGauge
from playalong.grading.measures.steadiness import STEADY
from playalong.grading.text import sided
from playalong.screen.base import marks
from playalong.screen.base.fonts import Colour
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, LABEL, SMALL
from playalong.screen.sheet.geometry import DOT, height

#: The time axis reaches so far to each side, in ms, or to a wider tolerance and a little more.
_AXIS_MS, _WIDER = 50, 1.5

#: The tempo axis reaches at least so far to each side, in parts of the written tempo.
_AXIS_TEMPO = 0.03

#: In units: between two gauges, two rows of a gauge, and a row's name and the row.
_GAP, _ROW_GAP, _BESIDE = 40, 6, 12

_NOTHING = "play a few strokes"


def draw(
    pen: Pen,
    rect: pygame.Rect,
    timing: TimingGauge,
    *,
    ghosts: GhostGauge,
    steadiness: SteadinessGauge,
    has_ghosts: bool = True,
) -> None:
    """Draw the gauges side by side; ``has_ghosts``: the pattern asks for ghost notes, and has a
    gauge for them.
    """
    gap, parts = pen.px(_GAP), 3 if has_ghosts else 2
    width = (rect.width - (parts - 1) * gap) / parts
    places = [
        area(left=rect.left + at, top=rect.top, right=rect.left + at + width, bottom=rect.bottom)
        for at in (place * (width + gap) for place in range(parts))
    ]
    draw_timing(pen, places[0], timing)
    if has_ghosts:
        draw_ghosts(pen, places[1], ghosts)
    draw_steadiness(pen, places[-1], steadiness)


def draw_timing(pen: Pen, rect: pygame.Rect, gauge: TimingGauge) -> None:
    """Where the last hits fell: dots stacked, a row for each limb; the band is the tolerance.

    A hit outside the tolerance is a ring, in the second colour.
    """
    words = _NOTHING
    if gauge.mean_ms is not None and gauge.sd_ms is not None:
        words = f"{sided(gauge.mean_ms)}, spread {gauge.sd_ms:.0f}"
    axis_ms = max(_AXIS_MS, 10 * round(gauge.tolerance_ms * _WIDER / 10))
    limbs = gauge.limbs or tuple(gauge.by_limb) or ("",)
    names = max(pen.width(limb, BODY) for limb in limbs)
    inset = names + pen.px(_BESIDE) if names else 0
    ends = f"{axis_ms} early", f"{axis_ms} late"
    least = len(limbs) * pen.px(BODY)
    plot = _frame(pen, rect, "Timing", words=words, ends=ends, inset=inset, least=least)
    gap = min(pen.px(_ROW_GAP), plot.height // (2 * len(limbs)))
    tall = (plot.height - gap * (len(limbs) - 1)) / len(limbs)
    size = max(SMALL, min(BODY, (tall + gap) / pen.unit))
    half = gauge.tolerance_ms * plot.width / 2 / axis_ms
    for place, limb in enumerate(limbs):
        top = plot.top + place * (tall + gap)
        row = area(left=plot.left, top=top, right=plot.right, bottom=top + tall)
        pen.fill(row, pen.colours.row)
        pen.fill(
            area(left=row.centerx - half, top=top, right=row.centerx + half, bottom=top + tall),
            pen.colours.band,
        )
        at = (row.left - pen.px(_BESIDE), row.centery + pen.capital(size) / 2)
        pen.text(limb, size, at, colour=pen.colours.quiet, align=1.0)
        pen.level_line(row.bottom, row.left, row.right, colour=pen.colours.rule, width=1)
        _draw_stacks(pen, row, gauge, errors_ms=gauge.by_limb.get(limb, ()), axis_ms=axis_ms)
    pen.upright(plot.centerx, plot.top, plot.bottom + pen.px(4), colour=pen.colours.ink, width=1.4)


def _draw_stacks(
    pen: Pen, row: pygame.Rect, gauge: TimingGauge, *, errors_ms: Iterable[float], axis_ms: int
) -> None:
    """The errors of one limb as dots, those that fall together one above the other."""
    colours = pen.colours
    stacks = _stacked(
        tuple(errors_ms),
        gauge.tolerance_ms,
        axis_ms=axis_ms,
        size=row.size,
        radius=max(2, min(pen.px(DOT), row.height // 3)),
        width=pen.px(2.4),
        inks=(colours.ink, colours.off, colours.row),
    )
    pen.surface.blit(stacks, row)


@lru_cache(maxsize=32)
def _stacked(
    errors_ms: tuple[float, ...],
    tolerance_ms: float,
    *,
    axis_ms: int,
    size: tuple[int, int],
    radius: int,
    width: int,
    inks: tuple[Colour, Colour, Colour],
) -> pygame.Surface:
    """The dots on nothing; drawn anew only after a hit."""
    surface = pygame.Surface(size, pygame.SRCALPHA)
    room = surface.get_rect()
    ink, off, paper = inks
    wide, per_ms = 2 * radius + 1, (room.width / 2 - radius) / axis_ms
    stacks: dict[int, list[bool]] = {}
    for error_ms in errors_ms:
        x = min(axis_ms, max(-axis_ms, error_ms)) * per_ms
        stacks.setdefault(round(x / wide), []).append(abs(error_ms) <= tolerance_ms)
    tallest = max(map(len, stacks.values()), default=1)
    step = min(float(wide), (room.height - wide) / max(1, tallest - 1))
    dot = marks.dot(radius, ink)
    ring = marks.ring(radius, width=width, colour=off, inside=paper)
    half = dot.get_width() // 2
    for place, stack in stacks.items():
        for number, within in enumerate(sorted(stack, reverse=True)):
            at = (room.centerx + place * wide, round(room.bottom - radius - 1 - number * step))
            surface.blit(dot if within else ring, (at[0] - half, at[1] - half))
    return surface


def draw_ghosts(pen: Pen, rect: pygame.Rect, gauge: GhostGauge) -> None:
    """The last strokes, each ghost note against the plain strokes: it should stay under the line.

    Plain strokes are wide bars, ghost notes narrow ones; one that is too loud is open, in the
    second colour.
    """
    words, is_off = _NOTHING, False
    ghosts = [level for is_ghost, level in gauge.levels if is_ghost]
    if gauge.contrast_db is not None:
        under = sum(level <= gauge.soft_db for level in ghosts)
        words, is_off = f"soft enough: {under} of {len(ghosts)}", gauge.contrast_db > 0
    plot = _frame(
        pen, rect, "Ghost notes", words=words, ends=("your last strokes", ""), is_off=is_off
    )
    colours = pen.colours
    pen.level_line(plot.bottom, plot.left, plot.right, colour=colours.rule, width=1)
    right = plot.right - pen.width("soft", BODY) - pen.px(8)
    soft = plot.bottom - height(gauge.soft_db) * plot.height
    each = (right - plot.left) / (gauge.levels.maxlen or max(1, len(gauge.levels)))
    for place, (is_ghost, level) in enumerate(gauge.levels):
        wide = max(pen.px(2), round(each * (0.36 if is_ghost else 0.56)))
        tall = max(pen.px(2), round(height(level) * plot.height))
        left = round(plot.left + (place + 0.5) * each - wide / 2)
        bar = pygame.Rect(left, plot.bottom - tall, wide, tall)
        if is_ghost and level > gauge.soft_db:
            pen.fill(bar, colours.off)
            pen.fill(bar.inflate(-2 * pen.px(2), -2 * pen.px(2)), colours.paper)
        else:
            pen.fill(bar, colours.ink)
    pen.level_line(soft, plot.left, right, colour=colours.rule, width=1)
    at = (plot.right, soft + pen.capital(BODY) / 2)
    pen.text("soft", BODY, at, colour=colours.quiet, align=1.0)


def draw_steadiness(pen: Pen, rect: pygame.Rect, gauge: SteadinessGauge) -> None:
    """The course of the tempo over the bars, about the written one."""
    words, is_off, course = "play a few bars", False, gauge.course
    if gauge.trend != STEADY and gauge.first_bpm is not None and gauge.last_bpm is not None:
        words, is_off = f"{gauge.trend}: {gauge.first_bpm:.1f} to {gauge.last_bpm:.1f}", True
    elif course:
        words = f"holds, {fmean(bpm for _, bpm in course):.1f} bpm"
    first = f"bar {course[0][0] + 1}" if course else ""
    last = f"bar {course[-1][0] + 1}" if len(course) > 1 else ""
    plot = _frame(pen, rect, "Tempo", words=words, ends=(first, last), is_off=is_off)
    pen.level_line(plot.centery, plot.left, plot.right, colour=pen.colours.rule, width=1)
    if not course:
        return
    off = [bpm / gauge.written_bpm - 1 for _, bpm in course]
    per = plot.height / 2 / max(_AXIS_TEMPO, *map(abs, off))
    across = plot.width / max(1, course[-1][0] - course[0][0])
    points = [
        (plot.left + (bar - course[0][0]) * across, plot.centery - part * per)
        for (bar, _), part in zip(course, off, strict=True)
    ]
    pen.stroke(points, pen.colours.ink, 2.6)


def _frame(
    pen: Pen,
    rect: pygame.Rect,
    name: str,
    *,
    words: str,
    ends: tuple[str, str],
    inset: int = 0,
    least: int = 0,
    is_off: bool = False,
) -> pygame.Rect:
    """The name, the words and the ``ends`` of the axis; returns the room for the drawing, which
    begins ``inset`` pixels from the left.

    Where the drawing would have less than ``least`` pixels of height, it takes that of the ends.
    """
    colours = pen.colours
    base = rect.top + pen.px(LABEL)
    named = pen.text(name, LABEL, (rect.left, base), bold=True)
    at = named.right + pen.px(12)
    size = pen.fitted(words, (BODY, SMALL), rect.right - at)
    colour = colours.off if is_off else colours.quiet
    if pen.width(words, size) <= rect.right - at:
        pen.text(words, size, (at, base), colour=colour)
    else:
        base += pen.px(BODY * 1.4)
        pen.text(
            words, pen.fitted(words, (BODY, SMALL), rect.width), (rect.left, base), colour=colour
        )
    foot, top = rect.bottom - pen.px(4), base + pen.px(14)
    bottom = foot - pen.px(BODY * 1.2)
    if bottom - top < least:
        bottom = foot
    else:
        pen.text(ends[0], BODY, (rect.left + inset, foot), colour=colours.quiet)
        pen.text(ends[1], BODY, (rect.right, foot), colour=colours.quiet, align=1.0)
    return area(left=rect.left + inset, top=top, right=rect.right, bottom=bottom)
