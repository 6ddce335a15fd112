"""The page before the first run: what will be played, on what, and how loud."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import pygame

from playalong.grading.grade import PlaceGrade
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Bar
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, LABEL, Theme
from playalong.screen.base.widgets import (
    FASTER,
    HEAD,
    HEAR,
    LEAVE,
    LEVEL_HIGH,
    LEVEL_WIDE,
    MARGIN,
    SLOWER,
    START,
    TO_LEFT,
    TO_RIGHT,
    ButtonPage,
    Buttons,
    Level,
    foot,
    head,
    table,
)
from playalong.screen.sheet import bar_picture

#: What can be asked for before a run.
READY = (START, SLOWER, FASTER, TO_RIGHT, TO_LEFT, HEAR, LEAVE)

#: In units: the line of the variations, the facts under the picture, and between the two.
_CHOICE, _FACTS, _GAP = 34, 78, 14

#: Between the names of variations.
_BETWEEN = 22


@dataclass
class ReadyPage(ButtonPage):
    """What is to be played. Everything may be set anew between frames.

    ``choices`` are the ways in which the pattern can be played, the one numbered ``choice`` is
    chosen; ``bars`` are as written that way, ``voices`` their rows. ``facts`` are (what, in
    words): port, latency and the like. ``notes`` and ``caution`` are told at the foot.
    """

    theme: Theme
    title: str
    tempo_bpm: float
    run_bars: int
    bars: Sequence[Bar]
    voices: Sequence[str]
    facts: Sequence[tuple[str, str]] = ()
    choices: Sequence[str] = ()
    choice: int = 0
    rules: Rules = field(default_factory=Rules)
    notes: Sequence[str] = ()
    caution: str = ""
    level: Level = field(default_factory=Level, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons(READY), repr=False)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        bars = "1 bar" if self.run_bars == 1 else f"{self.run_bars} bars"
        head(pen, self.title, bars, f"{self.tempo_bpm:g} bpm", None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, [*self.notes, self.caution]) - pen.px(_GAP)
        top = pen.px(HEAD)
        if len(self.choices) > 1:
            self._draw_choices(pen, left, right, top + pen.px(LABEL))
            top += pen.px(_CHOICE)
        facts = bottom - pen.px(_FACTS)
        picture = area(left, top, right, facts - pen.px(_GAP))
        self._draw_bars(pen, picture)
        level = right - pen.px(LEVEL_WIDE)
        beside = right if self.level.db is None else level - pen.px(2 * _GAP)
        table(pen, area(left, facts, beside, bottom), self.facts)
        self.level.draw(pen, (level, min(facts, bottom - pen.px(LEVEL_HIGH))))

    def _draw_choices(self, pen: Pen, left: float, right: float, base: float) -> None:
        """As many of the names as fit, the chosen one among them, with a line under it."""
        widths = [pen.width(name, BODY, bold=True) + pen.px(_BETWEEN) for name in self.choices]
        first = self.choice
        room = right - left - 2 * pen.px(_BETWEEN)
        while first > 0 and sum(widths[first - 1 : self.choice + 1]) <= room:
            first -= 1
        x = left
        if first:
            x = pen.text("…", BODY, (x, base), pen.colours.quiet).right + pen.px(8)
        for number, name in enumerate(self.choices[first:], first):
            if number > self.choice and x + widths[number] > right - pen.px(_BETWEEN):
                pen.text("…", BODY, (x, base), pen.colours.quiet)
                break
            chosen = number == self.choice
            colour = pen.colours.ink if chosen else pen.colours.quiet
            name = pen.cut(name, BODY, room, bold=chosen)
            stands = pen.text(name, BODY, (x, base), colour, bold=chosen)
            if chosen:
                pen.level_line(base + pen.px(5), stands.left, stands.right, pen.colours.ink, 2)
            x = stands.right + pen.px(_BETWEEN)

    def _draw_bars(self, pen: Pen, rect: pygame.Rect) -> None:
        """The first bars as written: on the sheet they will come as boxes of this colour."""
        colours = pen.colours
        theme = replace(self.theme, colours=replace(colours, answered=colours.ahead))
        ahead = Pen(pen.surface, theme, pen.unit)
        bars = bar_picture.graded_bars(
            self.bars,
            [
                _unplayed(number, place, bar)
                for number, bar in enumerate(self.bars)
                for place in range(len(bar.strokes))
            ],
        )
        shown = bars[: bar_picture.fitting(ahead, rect, bars)]
        if len(shown) < len(bars):
            words = f"the first {len(shown)} of {len(bars)} bars"
            if len(shown) == 1:
                words = f"the first of {len(bars)} bars"
            pen.text(words, BODY, (rect.right, rect.bottom), colours.quiet, align=1.0)
            rect = area(rect.left, rect.top, rect.right, rect.bottom - pen.px(BODY * 1.5))
        bar_picture.draw(ahead, rect, shown, self.voices, self.rules)


def _unplayed(number: int, place: int, bar: Bar) -> PlaceGrade:
    """The grade of a stroke that nobody has played yet."""
    stroke = bar.strokes[place]
    return PlaceGrade(
        bar=number,
        count=bar.meter.count(stroke.at),
        voice=stroke.voice,
        dynamic=stroke.dynamic,
        targets=0,
        clean=0,
        missed=0,
        wrong_drum=0,
        early=0,
        late=0,
        too_soft=0,
        too_loud=0,
        wrong_hi_hat=0,
        wrong_ornament=0,
        mean_ms=None,
        mean_db=None,
    )
