"""The three gauges under the sheet: timing, ghost notes, steadiness. Each draws itself and says
in words what it shows.
"""

from statistics import fmean

import pygame

from playalong.grading.gauges import GhostGauge, SteadinessGauge, TimingGauge
from playalong.grading.measures.steadiness import STEADY
from playalong.grading.text import sided
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, LABEL, SMALL
from playalong.screen.sheet.geometry import height

#: The time axis reaches so far to each side, in ms, or to a wider tolerance and a little more.
_AXIS_MS, _WIDER = 50, 1.5

#: The tempo axis reaches at least so far to each side, in parts of the written tempo.
_AXIS_TEMPO = 0.03

#: How low the oldest of the hits stands, in parts of the newest.
_OLDEST = 0.4

#: From this width on, in units, the words stand beside a gauge's name, else below it.
_BESIDE = 375

_NOTHING = "play a few strokes"


def draw(
    pen: Pen,
    rect: pygame.Rect,
    timing: TimingGauge,
    ghosts: GhostGauge,
    steadiness: SteadinessGauge,
    has_ghosts: bool = True,
) -> None:
    """Draw the three gauges side by side; ``has_ghosts``: the pattern asks for ghost notes."""
    gap = pen.px(34)
    width = (rect.width - 2 * gap) / 3
    thirds = [
        area(rect.left + at, rect.top, rect.left + at + width, rect.bottom)
        for at in (0, width + gap, 2 * (width + gap))
    ]
    draw_timing(pen, thirds[0], timing)
    draw_ghosts(pen, thirds[1], ghosts, has_ghosts)
    draw_steadiness(pen, thirds[2], steadiness)


def draw_timing(pen: Pen, rect: pygame.Rect, gauge: TimingGauge) -> None:
    """Where the last hits fell: a line each, the newest the tallest; the band is the tolerance."""
    words = _NOTHING
    if gauge.mean_ms is not None and gauge.sd_ms is not None:
        words = f"{sided(gauge.mean_ms)} on average, {gauge.sd_ms:.0f} ms spread"
    axis_ms = max(_AXIS_MS, 10 * round(gauge.tolerance_ms * _WIDER / 10))
    plot = _frame(pen, rect, "Timing", words, f"early {axis_ms}", f"{axis_ms} late")
    colours, per_ms = pen.colours, plot.width / 2 / axis_ms
    half = gauge.tolerance_ms * per_ms
    band = area(plot.centerx - half, plot.top, plot.centerx + half, plot.bottom)
    pen.fill(band, colours.band)
    for age, error_ms in enumerate(reversed(gauge.errors_ms)):
        newness = 1 - age / (gauge.errors_ms.maxlen or len(gauge.errors_ms))
        tall = plot.height * (_OLDEST + (0.92 - _OLDEST) * newness)
        within = abs(error_ms) <= gauge.tolerance_ms
        x = plot.centerx + min(axis_ms, max(-axis_ms, error_ms)) * per_ms
        colour = colours.ink if within else colours.off
        pen.upright(x, plot.bottom - tall, plot.bottom, colour, 1.4)
    pen.level_line(plot.bottom, plot.left, plot.right, colours.rule, 1)
    pen.upright(plot.centerx, plot.top, plot.bottom + pen.px(4), colours.ink, 1.4)


def draw_ghosts(pen: Pen, rect: pygame.Rect, gauge: GhostGauge, has_ghosts: bool) -> None:
    """The level of the last strokes; a ghost note should stay under the line."""
    words, is_off = _NOTHING if has_ghosts else "none in this pattern", False
    if gauge.contrast_db is not None:
        is_off = gauge.contrast_db > 0
        side = "over" if is_off else "under"
        words = f"{abs(gauge.contrast_db):.0f} dB {side} the plain strokes"
    plot = _frame(pen, rect, "Ghost notes", words, "last strokes", "", is_off)
    colours = pen.colours
    pen.level_line(plot.bottom, plot.left, plot.right, colours.rule, 1)
    if not has_ghosts:
        return
    right = plot.right - pen.width("soft", SMALL) - pen.px(6)
    soft = plot.bottom - height(gauge.soft_db) * plot.height
    step = (right - plot.left) / (gauge.levels.maxlen or max(1, len(gauge.levels)))
    wide = max(pen.px(1), round(step * 0.45))
    for place, (is_ghost, level) in enumerate(gauge.levels):
        tall = max(pen.px(2), round(height(level) * plot.height))
        too_loud = is_ghost and level > gauge.soft_db
        bar = pygame.Rect(round(plot.left + place * step), plot.bottom - tall, wide, tall)
        pen.fill(bar, colours.off if too_loud else colours.ink)
    pen.level_line(soft, plot.left, right, colours.rule, 1)
    at = (plot.right, soft + pen.capital(SMALL) / 2)
    pen.text("soft", SMALL, at, colours.quiet, align=1.0)


def draw_steadiness(pen: Pen, rect: pygame.Rect, gauge: SteadinessGauge) -> None:
    """The course of the tempo over the bars, about the written one."""
    words, is_off, course = "play a few bars", False, gauge.course
    if gauge.trend != STEADY and gauge.first_bpm is not None and gauge.last_bpm is not None:
        words, is_off = f"{gauge.trend}: {gauge.first_bpm:.1f} to {gauge.last_bpm:.1f} bpm", True
    elif course:
        words = f"steady at {fmean(bpm for _, bpm in course):.1f} bpm"
    first = f"bar {course[0][0] + 1}" if course else ""
    last = f"bar {course[-1][0] + 1}" if len(course) > 1 else ""
    plot = _frame(pen, rect, "Steadiness", words, first, last, is_off)
    pen.level_line(plot.centery, plot.left, plot.right, pen.colours.rule, 1)
    if not course:
        return
    off = [bpm / gauge.written_bpm - 1 for _, bpm in course]
    per = plot.height / 2 / max(_AXIS_TEMPO, *map(abs, off))
    across = plot.width / max(1, course[-1][0] - course[0][0])
    points = [
        (plot.left + (bar - course[0][0]) * across, plot.centery - part * per)
        for (bar, _), part in zip(course, off, strict=True)
    ]
    pen.stroke(points, pen.colours.ink, 1.8)


def _frame(
    pen: Pen,
    rect: pygame.Rect,
    name: str,
    words: str,
    left: str,
    right: str,
    is_off: bool = False,
) -> pygame.Rect:
    """The name, the words and the ends of the axis; returns the room for the drawing."""
    colours = pen.colours
    base = rect.top + pen.px(20)
    named = pen.text(name, LABEL, (rect.left, base), bold=True)
    colour = colours.off if is_off else colours.quiet
    if rect.width >= _BESIDE * pen.unit:
        at = named.right + pen.px(14)
    else:
        at, base = rect.left, base + pen.px(21)
    room = rect.right - at
    size = BODY if pen.width(words, BODY) <= room else SMALL
    pen.text(pen.cut(words, size, room), size, (at, base), colour)
    foot = rect.bottom - pen.px(4)
    pen.text(left, SMALL, (rect.left, foot), colours.quiet)
    pen.text(right, SMALL, (rect.right, foot), colours.quiet, align=1.0)
    return area(rect.left, base + pen.px(12), rect.right, foot - pen.px(20))
