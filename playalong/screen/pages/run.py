"""The page of a run: the sheet that scrolls, the gauges, the count-in."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Protocol

import pygame

from playalong.grading.gauges import GhostGauge, SteadinessGauge, TimingGauge
from playalong.screen.base import marks
from playalong.screen.base.overlay import slip_of
from playalong.screen.base.pen import Pen, area, around
from playalong.screen.base.theme import BODY, Theme
from playalong.screen.base.widgets import (
    FOOT_BASE,
    HEAD,
    LEAVE,
    MARGIN,
    ButtonPage,
    Buttons,
    Level,
    head,
)
from playalong.screen.sheet import gauges
from playalong.screen.sheet.sheet import Sheet

#: Heights from the bottom in units: the upper edge of the gauges, and of a single last line.
_GAUGES, _FOOT = 250, 76

#: The least room for one gauge beside words, in units.
_ONE_GAUGE = 320

#: Where a chart takes the gauges' place, its share of the page.
_CHART = 0.56

#: Right margin of the sheet, in units: it reaches further than the text.
_SHEET_RIGHT = 30

#: In units: the baseline of what is told above the title, and the room there for the last stroke.
_NOTICE_BASE, _STRUCK = 21, 260

#: In units: the line of passes on the edge of the sheet.
_PASSES = 28

#: The largest type of the count-in, in units.
_COUNT_IN = 150

#: What the slip of paper under the count-in leaves free to its left and right, in units.
_SLIP = 18


@dataclass(frozen=True, slots=True)
class CountIn:
    """What is counted before bar 1, or before the run goes on after a pause.

    The time in seconds and the word of each beat, in order, and when the last beat ends: None
    for as long after it as it comes after the one before.
    """

    times_s: tuple[float, ...] = ()
    words: tuple[str, ...] = ()
    end_s: float | None = None

    def sounds(self, now_s: float) -> bool:
        """Whether it is being counted at ``now_s``."""
        if not self.times_s:
            return False
        end_s = 2 * self.times_s[-1] - self.times_s[-2:][0] if self.end_s is None else self.end_s
        return self.times_s[0] <= now_s < end_s


@dataclass(frozen=True, slots=True, kw_only=True)
class PassMark:
    """A pass that is over: its score of 100, whether it was clean, its speed in per cent."""

    score: int
    is_clean: bool
    percent: int


class Chart(Protocol):
    """What may stand where the gauges are."""

    @property
    def reading(self) -> str:
        """The figure at the top of the page."""
        ...

    def draw(self, pen: Pen, rect: pygame.Rect) -> None:
        """Draw it into ``rect``."""
        ...


@dataclass(kw_only=True)
class RunPage(ButtonPage):
    """A run as it goes on. Everything may be set anew between frames.

    ``clean`` gives clean repetitions (done, asked). ``notices`` are told at the bottom. ``said``
    stands on the sheet ahead of the now-line, its first line in bold; ``called`` at the top is
    what the next bar is to be played with. ``paused`` are words on a slip over the whole sheet
    while the run waits. ``passes`` are those that are over, where bars are played again and again:
    they stand on the lower edge of the sheet, the latest on the right. ``buttons`` are those at
    the bottom, ``level`` is that of the sound. A ``chart`` stands where the gauges would, and its
    reading where the tempo would.
    """

    theme: Theme
    title: str
    subtitle: str
    tempo_bpm: float
    sheet: Sheet
    timing: TimingGauge
    ghosts: GhostGauge
    steadiness: SteadinessGauge
    clean: tuple[int, int] | None = None
    notices: list[str] = field(default_factory=list)
    count_in: CountIn = field(default_factory=CountIn)
    said: tuple[str, ...] = ()
    called: str = ""
    paused: tuple[str, ...] = ()
    passes: Sequence[PassMark] | None = None
    level: Level = field(default_factory=Level, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons([LEAVE]), repr=False)
    chart: Chart | None = None
    #: What of the page does not move, and what it shows.
    _still: tuple[object, pygame.Surface] | None = field(default=None, init=False, repr=False)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page as it is at ``now_s``, in seconds of the run."""
        pen = Pen(surface, self.theme)
        width, height = surface.get_size()
        left, right = pen.px(MARGIN), width - pen.px(MARGIN)
        below = height - (pen.px(_GAUGES) if self.chart is None else round(_CHART * height))
        # Where there are more lines of buttons, the gauges make room; the sheet does not move.
        base = height - pen.px(FOOT_BASE)
        foot = min(height - pen.px(_FOOT), base - self.buttons.tall(pen, right - left))
        lower = area(left=left, top=below, right=right, bottom=foot)
        edge = 0 if self.passes is None else pen.px(_PASSES)
        sheet = area(
            left=left,
            top=pen.px(HEAD),
            right=width - pen.px(_SHEET_RIGHT),
            bottom=below - pen.px(10) - edge,
        )
        past = self.sheet.past(pen, sheet, now_s)
        begin = past.left if self.paused else past.right
        room = area(left=begin, top=past.top, right=sheet.right, bottom=past.bottom)
        beneath = lower.bottom - past.bottom if self.chart is None else 0
        slip = slip_of(pen, room, self.paused or self.said, below=beneath)
        gauged = lower
        if slip.box.bottom > lower.top:  # of the gauges those that it would cover are left out
            gauged = area(
                left=lower.left,
                top=lower.top,
                right=slip.box.left - pen.px(MARGIN),
                bottom=lower.bottom,
            )
        self._draw_still(pen, lower, sheet, base=base, gauged=gauged)
        self.sheet.draw_paper(pen, sheet, now_s)
        if self.chart is not None:
            self.chart.draw(pen, lower)
        if self.paused:
            slip.draw(pen)
            return
        if now_s < self.sheet.targets.start_s or self.count_in.sounds(now_s):
            draw_count_in(pen, past, self.count_in, now_s=now_s)
        slip.draw(pen)

    def _draw_still(
        self,
        pen: Pen,
        lower: pygame.Rect,
        sheet: pygame.Rect,
        *,
        base: float,
        gauged: pygame.Rect,
    ) -> None:
        """What does not move with the paper in ``sheet``: drawn anew only where it shows something
        else.

        ``lower`` is the room under the sheet, ``base`` the baseline of the buttons; ``gauged`` is
        what there is for the gauges: where that is not all, for one of them, or none.
        """
        reading = f"{self.tempo_bpm:g} bpm" if self.chart is None else self.chart.reading
        gauges_shown = (self.timing.shown, self.ghosts.shown, self.steadiness.shown)
        shown = (
            *(pen.surface.get_size(), pen.theme, self.title, self.subtitle, reading, self.clean),
            *(self.called, tuple(self.notices), self.buttons.shown, (*lower, *sheet, *gauged)),
            *(self.sheet.targets.voices, self.sheet.has_ghosts),
            *(self.level, self.level.db, self.level.part),
            gauges_shown if self.chart is None else None,
            None if self.passes is None else tuple(self.passes),
        )
        if self._still is not None and self._still[0] == shown:
            for part in around(self.sheet.paper(pen, sheet), pen.surface.get_rect()):
                pen.surface.blit(self._still[1], part, part)
            return
        pen.surface.fill(pen.colours.paper)
        called = f"Next bar: {self.called}" if self.called else ""
        head(pen, self.title, self.subtitle, tempo=reading, clean=self.clean, called=called)
        left, right = lower.left, lower.right
        top = lower.top - pen.px(1)
        pen.level_line(top, left, right, colour=pen.colours.line, width=1)
        if self.passes is not None:
            edge = area(
                left=left, top=top - pen.px(9 + _PASSES), right=right, bottom=top - pen.px(9)
            )
            draw_passes(pen, edge, self.passes)
        if self.chart is None and gauged != lower:
            if gauged.width >= pen.px(_ONE_GAUGE):
                gauges.draw_timing(pen, gauged, self.timing)
        elif self.chart is None:
            gauges.draw(
                pen,
                lower,
                self.timing,
                ghosts=self.ghosts,
                steadiness=self.steadiness,
                has_ghosts=self.sheet.has_ghosts,
            )
        self.sheet.draw_names(pen, sheet)
        self.buttons.draw(pen, left=left, right=right, base=base)
        self._draw_notices(pen, left, right - pen.px(_STRUCK))
        self.level.draw(pen, (left, pen.px(HEAD) - pen.px(2)))
        picture = None if self._still is None else self._still[1]
        if picture is None or picture.get_size() != pen.surface.get_size():
            picture = pen.surface.copy()
        else:  # a picture of this size is made once
            picture.blit(pen.surface, (0, 0))
        self._still = shown, picture

    def _draw_notices(self, pen: Pen, left: float, right: float) -> None:
        """What is to be told, above the title; only the last of it where it is too much."""
        notices = [words for words in self.notices if words]
        while notices:
            words = "  ·  ".join(notices)
            if pen.width(words, BODY) <= right - left or len(notices) == 1:
                words = pen.cut(words, BODY, right - left)
                pen.text(words, BODY, (left, pen.px(_NOTICE_BASE)), colour=pen.colours.quiet)
                return
            notices = notices[1:]


def draw_passes(pen: Pen, rect: pygame.Rect, passes: Sequence[PassMark]) -> None:
    """The score of each pass, with a dot that is solid where it was clean; the latest at the right.

    Those for which there is no room are left out, the oldest first.
    """
    colours, base = pen.colours, rect.bottom - pen.px(5)
    named = pen.text("passes", BODY, (rect.left, base), colour=colours.quiet)
    left, right = named.right + pen.px(16), float(rect.right)
    radius, beside, apart = pen.px(6), pen.px(7), pen.px(18)
    for number in range(len(passes), 0, -1):
        one, is_last = passes[number - 1], number == len(passes)
        words = f"{one.score}"
        if number == 1 or one.percent != passes[number - 2].percent:
            words = f"{one.percent} %: {one.score}"
        wide = pen.width(words, BODY, bold=is_last) + 2 * radius + beside
        if right - wide < left:
            return
        text = pen.text(words, BODY, (right, base), bold=is_last, align=1.0)
        mark = (
            marks.dot(radius, colours.ink)
            if one.is_clean
            else marks.ring(radius, width=pen.px(1.8), colour=colours.ink, inside=None)
        )
        pen.mark(mark, (text.left - beside - radius, base - pen.capital(BODY) / 2))
        right = text.left - 2 * radius - beside - apart


def draw_count_in(pen: Pen, rect: pygame.Rect, count_in: CountIn, *, now_s: float) -> None:
    """The count-in, large, a row for each bar; the beat that sounds now is strong."""
    words = count_in.words
    if not words:
        return
    starts = [place for place, word in enumerate(words) if word == words[0]]
    bars = [range(first, last) for first, last in pairwise([*starts, len(words)])]
    rect = rect.inflate(-2 * pen.px(_SLIP), 0)
    cell = rect.width / max(map(len, bars))
    line = min(rect.height / len(bars), _COUNT_IN * 1.3 * pen.unit)
    size = min(_COUNT_IN, cell * 0.8 / pen.unit, line * 0.8 / pen.unit)
    top = rect.centery - line * len(bars) / 2
    slip = area(left=rect.left, top=top, right=rect.right, bottom=top + line * len(bars))
    pen.box(slip, fill=pen.colours.paper, edge=pen.colours.line)
    now = sum(time_s <= now_s for time_s in count_in.times_s) - 1
    for row, bar in enumerate(bars):
        base = top + (row + 0.5) * line + pen.capital(size) / 2
        for place, beat in enumerate(bar):
            colour = pen.colours.ink if beat == now else pen.colours.rule
            at = (rect.left + (place + 0.5) * cell, base)
            pen.text(words[beat], size, at, colour=colour, bold=beat == now, align=0.5)
