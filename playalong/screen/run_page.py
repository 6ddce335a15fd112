"""The page of a run: the sheet that scrolls, the gauges, the count-in."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import pygame

from playalong.grading.gauges import GhostGauge, SteadinessGauge, TimingGauge
from playalong.screen import gauges
from playalong.screen.chart import Sheet
from playalong.screen.keys import Press
from playalong.screen.page import Outcome
from playalong.screen.pen import Pen, area
from playalong.screen.theme import ADVICE, BODY, Theme
from playalong.screen.widgets import HEAD, LEAVE, MARGIN, Buttons, head

#: Heights from the bottom in units: the upper edge of the gauges and of the last line, and the
#: baseline of that line.
_GAUGES, _FOOT, _FOOT_BASE = 172, 44, 18

#: Right margin of the sheet, in units: it reaches further than the text.
_SHEET_RIGHT = 30

#: The largest type of the count-in, in units.
_COUNT_IN = 110

#: What the slip of paper under the count-in leaves free to its left and right, in units.
_SLIP = 18


@dataclass(frozen=True, slots=True)
class CountIn:
    """What is counted before bar 1: the time in seconds and the word of each beat, in order."""

    times_s: tuple[float, ...] = ()
    words: tuple[str, ...] = ()


@dataclass
class RunPage:
    """A run as it goes on. Everything may be set anew between frames.

    ``clean`` gives clean repetitions (done, asked). ``notices`` are told at the bottom. ``said``
    stands on the sheet ahead of the now-line, its first line in bold; ``called`` at the top is
    what the next bar is to be played with. ``buttons`` are those at the bottom.
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
    buttons: Buttons = field(default_factory=lambda: Buttons([LEAVE]), repr=False)

    def handle(self, press: Press) -> Outcome | None:
        """LEAVE ends the run."""
        return self.buttons.handle(press)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page as it is at ``now_s``, in seconds of the run."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        called = f"Next bar: {self.called}" if self.called else ""
        head(pen, self.title, self.subtitle, f"{self.tempo_bpm:g} bpm", self.clean, called)
        width, height = surface.get_size()
        left, right = pen.px(MARGIN), width - pen.px(MARGIN)
        below, foot = height - pen.px(_GAUGES), height - pen.px(_FOOT)
        sheet = area(left, pen.px(HEAD), width - pen.px(_SHEET_RIGHT), below - pen.px(10))
        past = self.sheet.draw(pen, sheet, now_s)
        pen.level_line(below - pen.px(1), left, right, pen.colours.line, 1)
        gauges.draw(
            pen,
            area(left, below, right, foot),
            self.timing,
            self.ghosts,
            self.steadiness,
            self.sheet.has_ghosts,
        )
        base = height - pen.px(_FOOT_BASE)
        end = self.buttons.draw(pen, right, base)
        words = pen.cut("  ·  ".join(self.notices), BODY, end - left)
        pen.text(words, BODY, (left, base))
        if now_s < self.sheet.targets.start_s:
            draw_count_in(pen, past, self.count_in, now_s)
        ahead = area(past.right, past.top, sheet.right, past.bottom)
        draw_said(pen, ahead, self.said)


def draw_said(pen: Pen, rect: pygame.Rect, said: Sequence[str]) -> None:
    """Words on a slip of paper, wrapped; the first of ``said`` in bold."""
    if not said:
        return
    slip = rect.inflate(-2 * pen.px(_SLIP), 0)
    room, step = slip.width - 2 * pen.px(_SLIP), pen.px(ADVICE * 1.4)
    lines = [
        (line, number == 0)
        for number, words in enumerate(said)
        if words
        for line in pen.wrapped(words, ADVICE, room, bold=number == 0)
    ]
    slip.height = min(rect.height, step * len(lines) + 2 * pen.px(_SLIP))
    slip.centery = rect.centery
    pen.box(slip, pen.colours.paper, pen.colours.line)
    base = slip.top + pen.px(_SLIP) + pen.px(ADVICE)
    for number, (line, bold) in enumerate(lines):
        pen.text(line, ADVICE, (slip.left + pen.px(_SLIP), base + number * step), bold=bold)


def draw_count_in(pen: Pen, rect: pygame.Rect, count_in: CountIn, now_s: float) -> None:
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
    slip = area(rect.left, top, rect.right, top + line * len(bars))
    pen.box(slip, pen.colours.paper, pen.colours.line)
    now = sum(time_s <= now_s for time_s in count_in.times_s) - 1
    for row, bar in enumerate(bars):
        base = top + (row + 0.5) * line + pen.capital(size) / 2
        for place, beat in enumerate(bar):
            colour = pen.colours.ink if beat == now else pen.colours.rule
            at = (rect.left + (place + 0.5) * cell, base)
            pen.text(words[beat], size, at, colour, bold=beat == now, align=0.5)
