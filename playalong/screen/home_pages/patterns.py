"""The page on which a pattern is chosen: a list that is searched by typing, and the one chosen."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.grading.verdicts import Rules
from playalong.pattern.model import Bar
from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    HEAD,
    MARGIN,
    Button,
    ButtonPage,
    Buttons,
    Level,
    foot,
    head,
)
from playalong.screen.pages.ready import unplayed
from playalong.screen.sheet import bar_picture

CHOOSE = Button((Key.ENTER,), "Enter", "choose", outcome=Outcome.START)
UP = Button((Key.UP,), "↑", "up", outcome=Outcome.BACK)
DOWN = Button((Key.DOWN,), "↓", "down", outcome=Outcome.NEXT)
HEAR_IT = Button((Key.RIGHT,), "→", "hear it", outcome=Outcome.HEAR)
#: On the pad that makes things less elsewhere: fewer patterns.
FEWER = Button((Key.LEFT,), "←", "which ones?", outcome=Outcome.SLOWER)
LEAVE = Button((Key.ESCAPE, Key.CLOSE), "Esc", "back", outcome=Outcome.LEAVE)

#: What can be done with what is found.
FOUND = (CHOOSE, UP, DOWN, FEWER, HEAR_IT, LEAVE)

#: In units: a line of the list, the search, inside a line's ends; the list's part of the width.
_LINE, _SEARCH, _INSIDE, _LIST = 34, 44, 10, 0.47

#: In units: the room for the figures at the end of a line, and for the least picture.
_FIGURES, _PICTURE = 62, 130

#: In units: what the count takes of the picture, and the least from row to row.
_COUNT, _ROW = 38, 26


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternLine:
    """A pattern as the list shows it: ``difficulty`` from 0 to 100, the best score or None.

    ``about`` says what it trains, ``figures`` are its tempo, meter and the like in words.
    """

    name: str
    title: str
    about: str
    difficulty: float
    best: float | None
    figures: str
    bars: Sequence[Bar]
    voices: Sequence[str]


def found(lines: Sequence[PatternLine], words: str) -> list[PatternLine]:
    """The lines that have all of ``words`` in their title or in what they train."""
    terms = words.lower().split()
    return [
        line
        for line in lines
        if all(term in f"{line.title} {line.about} {line.figures}".lower() for term in terms)
    ]


@dataclass(kw_only=True)
class PatternsPage(ButtonPage):
    """Patterns, the easiest first. ``typed`` is what is searched for; ``of`` is how many there are
    in all, and ``wanted`` says in words which of them are listed, "" for all.

    ``notices`` are told at the foot; ``level`` is that of the sound in which one is heard.
    """

    theme: Theme
    lines: Sequence[PatternLine]
    of: int = 0
    wanted: str = ""
    typed: str = ""
    chosen: int = 0
    notices: Sequence[str] = ()
    level: Level = field(default_factory=Level, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons(FOUND), repr=False)
    _areas: list[tuple[pygame.Rect, int]] = field(default_factory=list, repr=False)

    @property
    def shown(self) -> list[PatternLine]:
        """Those that the search leaves."""
        return found(self.lines, self.typed)

    @property
    def line(self) -> PatternLine | None:
        """The one that is chosen, None where the search leaves none."""
        shown = self.shown
        return shown[min(self.chosen, len(shown) - 1)] if shown else None

    def handle(self, press: Press) -> Outcome | None:
        """START for the chosen one, HEAR, SLOWER to say which are listed, or LEAVE; letters are
        searched for.
        """
        if isinstance(press, Click):
            return self._clicked(press)
        if press is Key.BACKSPACE:
            self.typed = self.typed[:-1]
            self.chosen = 0
            return None
        letter = " " if press is Key.SPACE else press
        if isinstance(letter, str) and not isinstance(letter, Outcome):
            if len(self.typed) < _LONGEST:
                self.typed = f"{self.typed}{letter}"
                self.chosen = 0
            return None
        outcome = self.buttons.handle(press)
        if outcome in (Outcome.NEXT, Outcome.BACK):
            step = 1 if outcome is Outcome.NEXT else -1
            self.chosen = (self.chosen + step) % max(1, len(self.shown))
            return None
        return None if outcome in _OF_ONE and self.line is None else outcome

    def _clicked(self, click: Click) -> Outcome | None:
        for room, number in self._areas:
            if room.collidepoint(click.x, click.y):
                again = number == self.chosen
                self.chosen = number
                return Outcome.START if again else None
        return self.buttons.handle(click)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        shown = self.shown
        every = max(self.of, len(self.lines))
        counted = str(every) if len(shown) == every else f"{len(shown)} of {every}"
        which = f": {self.wanted}" if self.wanted else ""
        head(pen, "Patterns", f"{counted}, the easiest first{which}", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top, bottom = pen.px(HEAD - 6), foot(pen, self.buttons, self.notices) - pen.px(12)
        middle = left + round((right - left) * _LIST)
        self._draw_search(
            pen, area(left=left, top=top, right=middle, bottom=top + pen.px(_SEARCH - 6))
        )
        self._draw_list(
            pen, area(left=left, top=top + pen.px(_SEARCH), right=middle, bottom=bottom), shown
        )
        beside = area(left=middle + pen.px(40), top=top, right=right, bottom=bottom)
        if self.line is None:
            words = "No pattern has these words. Take some back."
            for number, line in enumerate(pen.wrapped(words, BODY, beside.width)):
                at = (beside.left, beside.top + pen.px(BODY * 1.4) * (number + 1))
                pen.text(line, BODY, at)
            return
        self._draw_chosen(pen, beside, self.line)

    def _draw_search(self, pen: Pen, rect: pygame.Rect) -> None:
        colours = pen.colours
        pen.box(rect, colours.row, colours.rule)
        at = (rect.left + pen.px(12), rect.centery + pen.capital(BODY) / 2)
        if not self.typed:
            pen.text("type to search", BODY, at, colour=colours.quiet)
            return
        typed = self.typed
        while typed and pen.width(typed, BODY, bold=True) > rect.width - pen.px(36):
            typed = typed[1:]
        end = pen.text(typed, BODY, at, bold=True).right
        pen.upright(
            end + pen.px(4),
            rect.top + pen.px(8),
            rect.bottom - pen.px(8),
            colour=colours.ink,
            width=2,
        )

    def _draw_list(self, pen: Pen, rect: pygame.Rect, shown: Sequence[PatternLine]) -> None:
        colours, step, inside = pen.colours, pen.px(_LINE), pen.px(_INSIDE)
        base = rect.top + pen.px(SMALL)
        best, hard = rect.right - inside, rect.right - inside - pen.px(_FIGURES)
        pen.text("best", SMALL, (best, base), colour=colours.quiet, align=1.0)
        pen.text("difficulty", SMALL, (hard, base), colour=colours.quiet, align=1.0)
        pen.level_line(base + pen.px(6), rect.left, rect.right, colour=colours.line, width=1)
        top = base + pen.px(10)
        room = max(1, (rect.bottom - top) // step)
        first = min(max(0, self.chosen - room // 2), max(0, len(shown) - room))
        self._areas = []
        for number in range(first, min(len(shown), first + room)):
            line, y = shown[number], top + (number - first) * step
            row = area(left=rect.left, top=y, right=rect.right, bottom=y + step - pen.px(2))
            self._areas.append((row, number))
            now = number == self.chosen
            if now:
                pen.fill(row, colours.band)
            foot_y = row.centery + pen.capital(BODY) / 2
            end = hard - pen.width("100", BODY) - pen.px(16)
            title_room = end - row.left - inside
            size = pen.fitted(line.title, (BODY, SMALL), title_room, bold=now)
            title = pen.cut(line.title, size, title_room, bold=now)
            pen.text(title, size, (row.left + inside, foot_y), bold=now)
            figure = f"{line.difficulty:.0f}"
            pen.text(figure, BODY, (hard, foot_y), colour=colours.quiet, align=1.0)
            score = "–" if line.best is None else f"{line.best:.0f}"
            pen.text(score, BODY, (best, foot_y), align=1.0)

    def _draw_chosen(self, pen: Pen, rect: pygame.Rect, line: PatternLine) -> None:
        colours = pen.colours
        size = pen.fitted(line.title, (ADVICE, LABEL), rect.width, bold=True)
        base = rect.top + pen.px(8) + pen.capital(size)
        for words in pen.wrapped(line.title, size, rect.width, bold=True)[:2]:
            pen.text(words, size, (rect.left, base), bold=True)
            base += pen.px(size * 1.3)
        base += pen.px(BODY * 1.5) - pen.px(size * 1.3) + pen.px(2)
        for words in pen.wrapped(line.about, BODY, rect.width):
            pen.text(words, BODY, (rect.left, base))
            base += pen.px(BODY * 1.4)
        for words in pen.wrapped(line.figures, SMALL, rect.width):
            pen.text(words, SMALL, (rect.left, base), colour=colours.quiet)
            base += pen.px(SMALL * 1.5)
        picture = area(left=rect.left, top=base, right=rect.right, bottom=rect.bottom)
        bar = line.bars[:1]
        if picture.height < pen.px(_PICTURE) or not bar:
            return
        picture.height = min(picture.height, pen.px(60 + 60 * len(line.voices)))
        unplayed_places = [unplayed(0, place, bar[0]) for place in range(len(bar[0].strokes))]
        graded = bar_picture.graded_bars(bar, unplayed_places)
        voices = _most_played(line, int((picture.height / pen.unit - _COUNT) // _ROW))
        bar_picture.draw(pen, picture, graded, voices=voices, rules=_RULES, ahead=True)


def _most_played(line: PatternLine, rows: int) -> Sequence[str]:
    """As many of a pattern's voices as find room, those that the first bar has most strokes of."""
    played = Counter(stroke.voice for stroke in line.bars[0].strokes)
    most = sorted(line.voices, key=lambda voice: -played[voice])[: max(1, rows)]
    return [voice for voice in line.voices if voice in most]


#: What is asked of the one that is chosen.
_OF_ONE = (Outcome.START, Outcome.HEAR)

#: So much can be searched for.
_LONGEST = 40

_RULES = Rules()
