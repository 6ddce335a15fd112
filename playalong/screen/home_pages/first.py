"""The first page: go on where it was left off, or go into another room."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pygame

from playalong.grading.grade import PlaceGrade
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Bar
from playalong.pattern.voices import BY_NAME
from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.rows import clicked_row
from playalong.screen.base.theme import BODY, LABEL, SMALL, TITLE, Theme
from playalong.screen.base.widgets import (
    HEAD,
    MARGIN,
    NO_PADS,
    Button,
    Buttons,
    draw_pad,
    foot,
    head,
)
from playalong.screen.sheet import bar_picture

#: In units: the height of a card and of the week, the least of the panel and what its words take,
#: and gaps.
_CARD, _WEEK, _PANEL_LEAST, _PANEL_WORDS, _GAP = 132, 96, 150, 116, 18

#: In units: inside a card, and between cards; where there are more than so many, they stand closer.
_CARD_INSIDE, _BETWEEN, _CLOSER, _FEW = 6, 18, 7, 7

#: In units: inside the panel, the width of the main action, and its height.
_INSIDE, _MAIN_WIDE, _MAIN_HIGH = 26, 214, 104

#: A picture is left out where there is less room for it than this part of what it should have.
_LEAST_PART = 0.6

END = Button((Key.ESCAPE, Key.CLOSE), "Esc", "end", outcome=Outcome.LEAVE)
_CHOOSE = Button((Key.RIGHT, Key.DOWN), "→", "next", outcome=Outcome.NEXT)
_CHOOSE_BACK = Button((Key.LEFT, Key.UP), "←", "before", outcome=Outcome.BACK)

#: What the pads of other pages ask for opens the cards here, from the first card on.
_BY_PAD = (Outcome.FASTER, Outcome.SLOWER, Outcome.BACK, Outcome.NEXT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A room: its name, a word on how things stand there, and the key that opens it."""

    outcome: Outcome
    title: str
    words: str
    key: str


@dataclass(frozen=True, kw_only=True)
class GoingOn:
    """What is gone on with: its name, why, the bar that waits and its strokes' grades."""

    title: str
    words: str
    bars: Sequence[Bar]
    voices: Sequence[str]
    places: Sequence[PlaceGrade]
    rules: Rules = field(default_factory=Rules)


@dataclass(frozen=True, slots=True)
class Day:
    """A day of the week: its short name, minutes of playing, and whether it has come."""

    name: str
    minutes: float
    is_past: bool


@dataclass(kw_only=True)
class FirstPage:
    """What can be done now. ``chosen`` is 0 for going on, then the cards.

    ``pads`` and ``call`` as ``Buttons`` has them; ``notices`` are told at the foot.
    """

    theme: Theme
    title: str
    subtitle: str
    going_on: GoingOn
    cards: Sequence[Card]
    week: Sequence[Day] = ()
    notices: Sequence[str] = ()
    caution: str = ""
    pads: Mapping[Outcome, str] = field(default_factory=lambda: NO_PADS)
    call: str = ""
    chosen: int = 0

    def __post_init__(self) -> None:
        start = Button((Key.ENTER,), "Enter", "start", outcome=Outcome.START)
        self._main = Buttons([start], self.pads, self.call)
        ends = {Outcome.LEAVE: self.pads[Outcome.LEAVE]} if Outcome.LEAVE in self.pads else NO_PADS
        self._foot = Buttons([_CHOOSE_BACK, _CHOOSE, END], ends)
        self._areas: list[pygame.Rect] = []

    def handle(self, press: Press) -> Outcome | None:
        """GO_ON, the outcome of a card, or LEAVE."""
        if isinstance(press, Click):
            return self._clicked(press)
        if press is Outcome.OPEN_FILE:
            return Outcome.OPEN_FILE
        if isinstance(press, Outcome) and press in _BY_PAD:
            place = _BY_PAD.index(press)
            return self.cards[place].outcome if place < len(self.cards) else None
        if isinstance(press, str) and not isinstance(press, Outcome):
            by_key = {card.key.lower(): card.outcome for card in self.cards}
            return by_key.get(press.lower())
        outcome = self._main.handle(press) or self._foot.handle(press)
        if outcome in (Outcome.NEXT, Outcome.BACK):
            step = 1 if outcome is Outcome.NEXT else -1
            self.chosen = (self.chosen + step) % (len(self.cards) + 1)
            return None
        if outcome is Outcome.START:
            return Outcome.GO_ON if self.chosen == 0 else self.cards[self.chosen - 1].outcome
        return outcome

    def offers(self, outcome: Outcome) -> bool:
        """Whether a stroke can ask for this."""
        if outcome in _BY_PAD:
            return _BY_PAD.index(outcome) < len(self.cards)
        return outcome in (Outcome.START, Outcome.LEAVE)

    def _clicked(self, click: Click) -> Outcome | None:
        number = clicked_row(click, self._areas)
        if number is None:
            return self._foot.handle(click)
        return Outcome.GO_ON if number == 0 else self.cards[number - 1].outcome

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        head(pen, self.title, self.subtitle, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top = pen.px(HEAD)
        bottom = foot(pen, self._foot, [*self.notices, self.caution]) - pen.px(_GAP)
        gap, card, week = pen.px(_GAP), pen.px(_CARD), pen.px(_WEEK)
        room = bottom - top - gap - card
        most = pen.px(max(_PANEL_LEAST, _PANEL_WORDS + self._wanted))
        has_week = bool(self.week) and room - week - gap >= most
        panel = min(room, most)
        self._areas = [area(left=left, top=top, right=right, bottom=top + panel)]
        self._draw_panel(pen, self._areas[0])
        self._draw_cards(
            pen,
            area(left=left, top=top + panel + gap, right=right, bottom=top + panel + gap + card),
        )
        if has_week:
            at = top + panel + gap + card + gap
            self._draw_week(
                pen, area(left=left, top=at, right=right, bottom=min(at + week, bottom))
            )

    @property
    def _wanted(self) -> int:
        """How high the picture of the bar should be, in units."""
        going = self.going_on
        hands = any(stroke.hand for bar in going.bars for stroke in bar.strokes)
        return bar_picture.wanted(len(going.voices), hands) if going.bars else 0

    def _draw_panel(self, pen: Pen, rect: pygame.Rect) -> None:
        colours, going, inside = pen.colours, self.going_on, pen.px(_INSIDE)
        pygame.draw.rect(pen.surface, colours.row, rect, border_radius=pen.px(8))
        if self.chosen == 0:
            edge = pen.px(2)
            pygame.draw.rect(pen.surface, colours.ahead_edge, rect, edge, border_radius=pen.px(8))
        block = pygame.Rect(0, 0, pen.px(_MAIN_WIDE), pen.px(_MAIN_HIGH))
        block.midright = (rect.right - inside, rect.centery)
        self._main.draw_main(pen, block)
        left, right = rect.left + inside, block.left - inside
        size = pen.fitted(going.title, (TITLE, SMALL), right - left, bold=True)
        base = rect.top + pen.px(14) + pen.capital(TITLE)
        lines = pen.wrapped(going.title, size, right - left, bold=True)[:2]
        for line in lines:
            pen.text(line, size, (left, base), bold=True)
            base += pen.px(size * 1.3)
        base += pen.px(BODY * 1.4) - pen.px(size * 1.3) + pen.px(6)
        for line in pen.wrapped(going.words, BODY, right - left)[:2]:
            pen.text(line, BODY, (left, base), colour=colours.quiet)
            base += pen.px(BODY * 1.35)
        picture = area(
            left=left, top=base - pen.px(6), right=right, bottom=rect.bottom - pen.px(14)
        )
        if going.bars and picture.height >= _LEAST_PART * pen.px(self._wanted):
            bars = bar_picture.graded_bars(going.bars, going.places)
            shown = bars[: bar_picture.fitting(pen, picture, bars)]
            bar_picture.draw(
                pen, picture, shown, voices=going.voices, rules=going.rules, ahead=True
            )

    def _draw_cards(self, pen: Pen, rect: pygame.Rect) -> None:
        colours = pen.colours
        gap = pen.px(_BETWEEN if len(self.cards) <= _FEW else _CLOSER)
        wide = (rect.width - gap * (len(self.cards) - 1)) / max(1, len(self.cards))
        titles = [card.title for card in self.cards]
        room_in = wide - 2 * pen.px(_CARD_INSIDE)
        # All in one size: that of the longest.
        fitted = [pen.fitted(title, (LABEL + 4, SMALL), room_in, bold=True) for title in titles]
        size = min(fitted, default=SMALL)
        for number, card in enumerate(self.cards):
            left = rect.left + number * (wide + gap)
            room = area(left=left, top=rect.top, right=left + wide, bottom=rect.bottom)
            self._areas.append(room)
            edge, width = colours.rule, 1.4
            if number + 1 == self.chosen:
                pygame.draw.rect(pen.surface, colours.band, room, border_radius=pen.px(8))
                edge, width = colours.ahead_edge, 2.4
            pygame.draw.rect(pen.surface, edge, room, pen.px(width), border_radius=pen.px(8))
            inside = pen.px(_CARD_INSIDE)
            at, inner = room.left + inside, room.width - 2 * inside
            base = room.top + pen.px(34)
            pen.text(card.title, size, (at, base), bold=True)
            words = pen.fitted(card.words, (BODY, SMALL), inner)
            for row, line in enumerate(pen.wrapped(card.words, words, inner)[:2]):
                y = base + pen.px(26) + row * pen.px(SMALL * 1.25)
                pen.text(line, words, (at, y), colour=colours.quiet)
            base = room.bottom - pen.px(14)
            pad = self.pads.get(_BY_PAD[number]) if number < len(_BY_PAD) else None
            label = BY_NAME[pad].label if pad is not None else ""
            if label and pen.width(f"{label}{card.key}", SMALL) + pen.px(37) <= inner:
                draw_pad(pen, label, (at, base))
            self._draw_key(pen, card.key, (room.right - inside, base))

    def _draw_key(self, pen: Pen, key: str, at: tuple[float, float]) -> None:
        """The cap of a key, up to its right end."""
        inside = pen.px(8)
        words = pen.text(key, SMALL, (at[0] - inside, at[1]), colour=pen.colours.quiet, align=1.0)
        edge = words.inflate(2 * inside, pen.px(2))
        pygame.draw.rect(pen.surface, pen.colours.rule, edge, pen.px(1), border_radius=pen.px(4))

    def _draw_week(self, pen: Pen, rect: pygame.Rect) -> None:
        """Minutes of each day: the higher the line stands, the longer."""
        colours = pen.colours
        base = rect.top + pen.px(LABEL)
        pen.text("This week", LABEL, (rect.left, base), bold=True)
        foot_y = rect.bottom - pen.px(6)
        line = foot_y - pen.px(SMALL * 1.5)
        top = base + pen.px(10)
        wide, gap = min(pen.px(120), rect.width / 8), pen.px(18)
        longest = max(20.0, *(day.minutes for day in self.week))
        for number, day in enumerate(self.week):
            left = rect.left + number * (wide + gap)
            room = area(left=left, top=top, right=left + wide, bottom=line)
            middle = room.centerx
            pen.level_line(line, room.left, room.right, colour=colours.rule, width=1)
            pen.text(day.name, SMALL, (middle, foot_y), colour=colours.quiet, align=0.5)
            if day.minutes:
                words = f"{max(1, round(day.minutes))} min"
                most = room.height - pen.px(SMALL * 1.2)
                tall = max(pen.px(3), round(most * day.minutes / longest))
                bar = area(
                    left=middle - pen.px(9), top=line - tall, right=middle + pen.px(9), bottom=line
                )
                pen.fill(bar, colours.ink)
                pen.text(
                    words, SMALL, (middle, bar.top - pen.px(5)), colour=colours.quiet, align=0.5
                )
            elif day.is_past:
                pen.text("rest", SMALL, (middle, line - pen.px(6)), colour=colours.quiet, align=0.5)
