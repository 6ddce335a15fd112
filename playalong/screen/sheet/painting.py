"""Paints a piece of the sheet: rows, count, boxes, and the marks of the hits."""

from functools import cached_property

import pygame

from playalong.grading.graces import Ornament
from playalong.grading.loudness import Loudness
from playalong.grading.matching.windows import HALF_NS_PER_S, tolerances
from playalong.grading.verdicts import HiHat, Verdict, VerdictEvent
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS
from playalong.pattern.voices import BY_NAME, VOICES
from playalong.screen.base import marks
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import BODY, COUNT, SMALL, Theme
from playalong.screen.sheet.answers import Answers, Played
from playalong.screen.sheet.count import Count, Weight
from playalong.screen.sheet.geometry import (
    CROSS,
    DOT,
    LEAST_BOX,
    ROLL,
    Geometry,
    Row,
    draw_hand,
    height_of,
    nearest,
)
from playalong.screen.sheet.tile_cache import PIECE

#: Room above the rows, and of it for the ticks, in units; and the baselines in it of the bar
#: number and the count.
HEAD, TICK = 66, 8
_BAR_BASE, _COUNT_BASE = 15, 50

#: The least room between two words of the count, in units, for each weight.
_ROOM = {Weight.PART: 36, Weight.BEAT: 36, Weight.BAR: 40}

#: How far grace strokes and marks reach beyond the box and the hit they belong to, in units.
_MARKS = 14

#: How far the name of a voice without a row reaches beyond its cross, in units.
_NAMED = 130

_AS_WRITTEN = (None, HiHat.RIGHT)
_GRACED = (None, Ornament.RIGHT)

_GONE = (Verdict.MISSED, Verdict.WRONG_DRUM)
_RIGHT = (None, Loudness.RIGHT)


class Painting:
    """Paints the run of ``answers`` as ``geometry`` lays it out; ``unit`` is in pixels."""

    def __init__(
        self, answers: Answers, count: Count, geometry: Geometry, *, theme: Theme, unit: float
    ) -> None:
        self._answers, self._count, self._geometry = answers, count, geometry
        self._theme, self._unit = theme, unit
        tolerance = tolerances(answers.targets, answers.rules.tolerance_ms)
        self._tolerance_s = (tolerance / HALF_NS_PER_S).tolist()
        self._spans = {row.voice: self._spans_of(row) for row in geometry.rows.values()}

    def prepare(self, surface: pygame.Surface, first: int) -> None:
        """Paint the paper with its rows and the count, which never change, of the piece whose
        leftmost pixel along the strip is ``first``.
        """
        pen = Pen(surface, self._theme, self._unit)
        surface.fill(pen.colours.paper)
        start_s, end_s = self._geometry.time_s(first), self._geometry.time_s(first + PIECE)
        words_s = 2 * COUNT * self._unit / self._geometry.px_per_s
        self._paint_rows(pen)
        self._paint_count(pen, first, start_s=start_s - words_s, end_s=end_s + words_s)

    def paint(self, surface: pygame.Surface, first: int) -> None:
        """Paint boxes and hits on the paper of that piece."""
        pen = Pen(surface, self._theme, self._unit)
        start_s = self._geometry.time_s(first) - self.reach_s
        end_s = self._geometry.time_s(first + PIECE) + self.reach_s
        longest_s = float(self._answers.targets.roll_s.max(initial=0.0))
        for target in self._answers.targets_between(start_s - longest_s, end_s):
            self._paint_target(pen, first, target)
        if self._answers.has_foreign:  # the name of one before may reach in here
            start_s += self.reach_s - self.named_s
        for played, event in self._answers.hits_between(start_s, end_s):
            self._paint_hit(pen, first, played, event=event)

    @cached_property
    def reach_s(self) -> float:
        """How far from its own time a target or a hit reaches: its box, its line, its mark."""
        rules = self._answers.rules
        longest_ms = max(rules.capture_ms, rules.tolerance_ms)
        return longest_ms / 1000.0 + _MARKS * self._unit / self._geometry.px_per_s

    @cached_property
    def named_s(self) -> float:
        """How far after its time a hit of a voice without a row reaches, with its name."""
        return max(self.reach_s, (CROSS + _NAMED) * self._unit / self._geometry.px_per_s)

    @cached_property
    def radius(self) -> int:
        """The radius of a hit's mark in pixels."""
        wide = 2 * self._answers.rules.tolerance_ms / 1000.0 * self._geometry.px_per_s
        return max(2, round(min(DOT * self._unit, wide)))

    def box(self, target: int) -> pygame.Rect:
        """The box of a target along the strip."""
        targets = self._answers.targets
        voice = VOICES[targets.voice[target]].name
        span = self._spans[voice][targets.dynamic[target]]
        return self._geometry.box(float(targets.time_s[target]), self._tolerance_s[target], span)

    def at(self, played: Played) -> tuple[int, int]:
        """Where a hit lies along the strip."""
        row = self._geometry.rows[self._answers.row_of(played.voice)]
        return self._geometry.x(played.time_s), row.y(played.height)

    def heard_at(self, played: Played, event: VerdictEvent) -> tuple[int, int]:
        """Where the mark of a hit lies, given the verdict on it.

        Loudness is heard against the player's own strokes, whatever the kit's curve: a stroke that
        is right lies as high as its box, one that is too loud above it, one too soft below.
        """
        x, y = self.at(played)
        if event.target is None or event.loudness is None:
            return x, y
        box, beyond = self.box(event.target), self.radius + 1
        if event.loudness is Loudness.TOO_LOUD:
            return x, min(y, box.top - beyond)
        if event.loudness is Loudness.TOO_SOFT:
            return x, max(y, box.bottom - 1 + beyond)
        return x, min(max(y, box.top), box.bottom - 1)

    def _spans_of(self, row: Row) -> list[tuple[int, int]]:
        bands = self._answers.rules.bands
        least = round(LEAST_BOX * self._unit)
        return [row.span(bands.of(row.voice, dynamic), least) for dynamic in DYNAMICS]

    def _paint_rows(self, pen: Pen) -> None:
        colours, bands = pen.colours, self._answers.rules.bands
        for row in self._geometry.rows.values():
            pen.fill(pygame.Rect(0, row.top, PIECE, row.bottom - row.top), colours.row)
            # The border between soft and strong: the middle between ghost notes and the others.
            soft = bands.of(row.voice, Dynamic.GHOST).high
            strong = bands.of(row.voice, Dynamic.NORMAL).low
            pen.level_line(
                row.y(height_of((soft + strong) / 2)), 0, PIECE, colour=colours.line, width=1
            )
            pen.level_line(row.bottom, 0, PIECE, colour=colours.rule, width=1)

    def _paint_count(self, pen: Pen, first: int, *, start_s: float, end_s: float) -> None:
        colours, geometry, count = pen.colours, self._geometry, self._count
        rows = list(geometry.rows.values())
        said = {
            weight: count.closest_s[weight] * geometry.px_per_s >= pen.px(room)
            for weight, room in _ROOM.items()
        }
        inks = {Weight.PART: colours.line, Weight.BEAT: colours.rule, Weight.BAR: colours.ink}
        for tick in count.between(start_s, end_s):
            x, is_part = geometry.x(tick.time_s) - first, tick.weight is Weight.PART
            if said[tick.weight]:
                colour = colours.quiet if is_part else colours.ink
                at = (x, pen.px(_COUNT_BASE))
                pen.text(tick.words, COUNT, at, colour=colour, bold=not is_part, align=0.5)
            if tick.weight is Weight.BAR and said[Weight.BAR]:
                at = (x, pen.px(_BAR_BASE))
                pen.text(str(tick.bar + 1), SMALL, at, colour=colours.quiet, align=0.5)
            above = pen.px(HEAD) - pen.px(TICK)
            for row in rows:
                pen.upright(x, above, row.top, colour=inks[tick.weight], width=1)
                above = row.bottom
        end = geometry.x(count.end_s) - first
        if -PIECE < end < 2 * PIECE:
            pen.upright(end, rows[0].top, rows[-1].bottom, colour=colours.rule, width=1)
            pen.upright(end + pen.px(5), rows[0].top, rows[-1].bottom, colour=colours.rule, width=3)

    def _paint_target(self, pen: Pen, first: int, target: int) -> None:
        colours, targets = pen.colours, self._answers.targets
        box = self.box(target).move(-first, 0)
        dashed = bool(targets.optional[target])
        event = self._answers.of_target.get(target)
        edge = colours.rule
        if event is not None and event.verdict in _GONE:
            edge = colours.off
            pen.hatched(box, edge, dashed)
        elif self._answers.is_ahead(target):
            edge = colours.ahead_edge
            pen.box(box, fill=colours.ahead, edge=edge, dashed=dashed)
        else:
            pen.box(box, fill=colours.answered, edge=edge, dashed=dashed)
        self._paint_roll(pen, box, target, edge=edge)
        missing = event is not None and event.ornament is Ornament.GRACE_MISSING
        for grace in range(int(targets.graces[target])):
            x, tall = box.left - pen.px(4) * (grace + 1), box.height / 4
            if missing:  # a gap where the stroke should be
                pen.upright(
                    x, box.centery - tall, box.centery - tall / 3, colour=colours.off, width=1.6
                )
                pen.upright(
                    x, box.centery + tall / 3, box.centery + tall, colour=colours.off, width=1.6
                )
            else:
                pen.upright(x, box.centery - tall, box.centery + tall, colour=edge, width=1.6)
        stroke = targets.places[targets.place[target]].stroke
        if stroke.hand is not None:
            foot = box.centerx, self._geometry.rows[stroke.voice].bottom
            draw_hand(pen, stroke.hand, foot, left_handed=self._answers.rules.left_handed)
        if stroke.is_open:
            radius = pen.px(4)
            circle = marks.ring(radius, width=pen.px(1.6), colour=edge, inside=None)
            pen.mark(circle, (box.centerx, box.top - radius - pen.px(2)))

    def _paint_roll(
        self, pen: Pen, box: pygame.Rect, target: int, *, edge: tuple[int, int, int]
    ) -> None:
        """How long a roll lasts: a bar at the foot of its row, up to its end, with a tick for each
        stroke of a counted one.
        """
        targets = self._answers.targets
        if targets.rolls[target] < 0:
            return
        px_per_s = self._geometry.px_per_s
        end = box.centerx + round(float(targets.roll_s[target]) * px_per_s)
        foot = self._geometry.rows[VOICES[targets.voice[target]].name].bottom - pen.px(ROLL)
        pen.level_line(foot, box.centerx, end, colour=edge, width=ROLL)
        if targets.rolls[target]:
            for after_s in targets.bounces_s(target).tolist():
                x = box.centerx + round(after_s * px_per_s)
                pen.upright(x, foot - pen.px(4 * ROLL), foot, colour=edge, width=1.2)

    def _paint_hit(self, pen: Pen, first: int, played: Played, *, event: VerdictEvent) -> None:
        colours, radius = pen.colours, self.radius
        x, y = self.heard_at(played, event)
        at, width = (x - first, y), pen.px(1.8)
        if event.grace:
            self._paint_grace(pen, at, event)
            return
        as_written = event.hi_hat in _AS_WRITTEN
        if not as_written:
            self._paint_hi_hat(pen, at, event)
        if event.verdict is Verdict.ON_TIME and event.loudness in _RIGHT and as_written:
            pen.mark(marks.dot(radius, colours.ink), at)
            return
        if event.target is not None:
            pen.link(
                at, nearest(self.box(event.target).move(-first, 0), at), colours.off, width=1.4
            )
        if event.verdict in (Verdict.EXTRA, Verdict.WRONG_DRUM):
            self._paint_cross(pen, at, played.voice)
        else:
            pen.mark(marks.ring(radius, width=width, colour=colours.off, inside=colours.row), at)

    def _paint_cross(self, pen: Pen, at: tuple[int, int], voice: str) -> None:
        """A hit too much; with the name of a voice that has no row, beside it."""
        colours, reach = pen.colours, pen.px(CROSS)
        row = self._geometry.rows[self._answers.row_of(voice)]
        room = (row.bottom - row.top) / 2
        y = min(max(at[1], row.top + min(reach, room)), row.bottom - min(reach, room))
        pen.mark(marks.cross(reach, pen.px(2.6), colours.off), (at[0], y))
        if voice != row.voice:
            base = y + pen.capital(BODY) / 2
            name, right = BY_NAME[voice].label, at[0] + reach + pen.px(4)
            pen.text(name, BODY, (right, base), colour=colours.off)

    def _paint_grace(self, pen: Pen, at: tuple[int, int], event: VerdictEvent) -> None:
        """A grace stroke: a small dot, or a small ring where its flam or drag is not right."""
        colours, radius = pen.colours, max(1, round(self.radius * 0.7))
        main = None if event.target is None else self._answers.of_target.get(event.target)
        if main is None or main.ornament in _GRACED:
            pen.mark(marks.dot(radius, colours.ink), at)
        else:
            pen.mark(
                marks.ring(radius, width=pen.px(1.4), colour=colours.off, inside=colours.row), at
            )

    def _paint_hi_hat(self, pen: Pen, at: tuple[int, int], event: VerdictEvent) -> None:
        """Above the hit what was played: a circle for open, a plus for closed, as is written.

        The circle above a target's box asks for open; a box without one asks for closed.
        """
        colours, arm, width = pen.colours, pen.px(3.5), 1.6
        middle = at[0], at[1] - self.radius - arm - pen.px(2)
        if event.hi_hat is HiHat.NOT_CLOSED:
            pen.mark(marks.ring(arm, width=pen.px(width), colour=colours.off, inside=None), middle)
            return
        pen.upright(
            middle[0], middle[1] - arm, middle[1] + arm + 1, colour=colours.off, width=width
        )
        half = pen.px(width) / 2
        pen.level_line(
            middle[1] - half, middle[0] - arm, middle[0] + arm + 1, colour=colours.off, width=width
        )
