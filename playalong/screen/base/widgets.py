"""What pages are made of: head and foot, dots, buttons, the level of the sound, a table."""

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import KW_ONLY, dataclass
from types import MappingProxyType

import pygame

from playalong.pattern.voices import BY_NAME
from playalong.screen.base import marks
from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SMALL, TITLE

#: Margins of a page, and the height of its head, in units.
MARGIN, HEAD = 44, 88

#: In units: the baselines of the title, and of a subtitle that finds no room beside it.
_HEAD_BASE, _UNDER_BASE = 54, 79

#: The title takes at most this part of the line where something stands beside it.
_TITLE = 0.72

#: More repetitions than this are told in figures, not in dots.
_MOST_DOTS = 10

#: In units: the last baseline of a page, from one line of the foot to the next, from one line of
#: buttons to the next, between buttons, inside a key's cap, and beside it.
FOOT_BASE, _FOOT_LINE, _BUTTON_LINE, _BETWEEN, _INSIDE, _BESIDE = 36, 26, 32, 22, 8, 8

#: The main action, in units: its height, what lies below its last baseline, and inside its ends.
_MAIN_HIGH, _MAIN_BELOW, _MAIN_INSIDE = 62, 14, 20

#: Notes stand beside the buttons where more than this part of the line is free.
_ENOUGH = 0.4

#: In units: how much room the level of the sound takes. The bar begins at the lowest level.
LEVEL_WIDE, LEVEL_HIGH, LEVEL_LOWEST_DB = 150, 62, -48.0

#: Where an outcome goes in a list.
_TO: dict[Outcome | None, int] = {Outcome.NEXT: 1, Outcome.BACK: -1}

_LEVEL_KEYS = {"-": -1, "−": -1, "+": 1, "=": 1}


def head(
    pen: Pen,
    title: str,
    subtitle: str,
    *,
    tempo: str,
    clean: tuple[int, int] | None,
    called: str = "",
) -> None:
    """The line at the top of a page: title, subtitle, what is called, clean repetitions, tempo.

    A long title is written smaller, then in two lines; a long subtitle stands below it.
    """
    width, base, gap = pen.surface.get_width(), pen.px(_HEAD_BASE), pen.px(22)
    left, right = pen.px(MARGIN), float(width - pen.px(MARGIN))
    if tempo:
        right = pen.text(tempo, ADVICE, (right, base), bold=True, align=1.0).left - gap
    if clean is not None:
        done, required = clean
        right = dots(pen, (right, base), done, required=required) - gap
    if called:
        size = pen.fitted(called, (ADVICE, SMALL), (right - left) * _TITLE, bold=True)
        right = pen.text(called, size, (right, base), bold=True, align=1.0).left - gap
    beside = pen.width(subtitle, SMALL) + gap if subtitle else 0
    room = right - left
    is_beside = pen.width(title, TITLE, bold=True) + beside <= room
    size = pen.fitted(title, (TITLE, SMALL), room, bold=True)
    lines = [title]
    if pen.width(title, size, bold=True) > room:
        lines = pen.wrapped(title, SMALL, room, bold=True)[:2]
    for number, line in enumerate(reversed(lines)):
        at = (left, base - number * pen.px(SMALL * 1.25))
        stands = pen.text(line, size, at, bold=True)
    if not subtitle:
        return
    if is_beside:
        at, room = (stands.right + pen.px(18), base), right - stands.right - pen.px(18)
    else:
        at, room = (left, pen.px(_UNDER_BASE)), width - pen.px(MARGIN) - left
    size = pen.fitted(subtitle, (BODY, SMALL), room)
    pen.text(pen.cut(subtitle, size, room), size, at, colour=pen.colours.quiet)


def dots(pen: Pen, at: tuple[float, float], done: int, *, required: int) -> float:
    """Clean repetitions: a dot for each that is required, solid when done; returns the left edge.

    ``at`` is the right end of the baseline.
    """
    right, base = at
    if required > _MOST_DOTS:
        words = f"clean {done} of {required}"
        return pen.text(words, BODY, at, colour=pen.colours.quiet, align=1.0).left
    radius, step, ink = pen.px(6), pen.px(19), pen.colours.ink
    y = base - pen.capital(BODY) / 2
    for place in range(required):
        x = right - radius - (required - 1 - place) * step
        is_done = place < done
        mark = (
            marks.dot(radius, ink)
            if is_done
            else marks.ring(radius, width=pen.px(1.8), colour=ink, inside=None)
        )
        pen.mark(mark, (x, y))
    left = right - required * step - pen.px(4)
    return pen.text("clean", BODY, (left, base), colour=pen.colours.quiet, align=1.0).left


@dataclass(frozen=True, slots=True)
class Button:
    """Something to choose: by its ``keys`` or by a click. ``cap`` is what the key is called."""

    keys: tuple[Press, ...]
    cap: str
    words: str
    _: KW_ONLY
    outcome: Outcome


#: What every page can be left by.
LEAVE = Button((Key.ESCAPE, Key.CLOSE), "Esc", "leave", outcome=Outcome.LEAVE)

BACK_OUT = Button((Key.ESCAPE, Key.CLOSE), "Esc", "back", outcome=Outcome.LEAVE)

#: What more pages than one offer.
START = Button((Key.ENTER,), "Enter", "start", outcome=Outcome.START)
AGAIN = Button((Key.ENTER,), "Enter", "again", outcome=Outcome.AGAIN)
GO_ON = Button((Key.ENTER, "p", "P"), "Enter", "go on", outcome=Outcome.AGAIN)
ACCEPT = Button((Key.ENTER,), "Enter", "keep it", outcome=Outcome.ACCEPT)
NEXT = Button(("n", "N"), "N", "next", outcome=Outcome.NEXT)
BACK = Button(("b", "B"), "B", "the one before", outcome=Outcome.BACK)
SLOWER = Button((Key.DOWN,), "↓", "slower", outcome=Outcome.SLOWER)
FASTER = Button((Key.UP,), "↑", "faster", outcome=Outcome.FASTER)
PRACTISE_BAR = Button((Key.ENTER,), "Enter", "practise that bar", outcome=Outcome.START)
AGAIN_BESIDE = Button(("a", "A"), "A", "again", outcome=Outcome.AGAIN)
HEAR = Button(("h", "H"), "H", "hear it", outcome=Outcome.HEAR)
LISTEN = Button(("l", "L"), "L", "listen back", outcome=Outcome.LISTEN)
MEASURE = Button(("m", "M"), "M", "measure the latency", outcome=Outcome.LATENCY)
SKIP = Button(("s", "S"), "S", "skip", outcome=Outcome.SKIP)

#: The level of the sound, which has keys of its own: it is offered where pads are.
SOUND = Button((), "", "sound", outcome=Outcome.SOUND)

#: What can be listened to after a run.
LISTENING = (
    Button(("y", "Y"), "Y", "yours", outcome=Outcome.YOURS),
    Button(("p", "P"), "P", "the pattern", outcome=Outcome.PATTERN),
    Button(("b", "B"), "B", "both", outcome=Outcome.BOTH),
    Button(("h", "H"), "H", "half speed", outcome=Outcome.HALF),
    Button((Key.ENTER,), "Enter", "from the start", outcome=Outcome.AGAIN),
)

#: The same by arrows, beside one another or one above the other.
TO_RIGHT = Button((Key.RIGHT, "n", "N"), "→", "next", outcome=Outcome.NEXT)
TO_LEFT = Button((Key.LEFT, "b", "B"), "←", "the one before", outcome=Outcome.BACK)
DOWN = Button((Key.DOWN, Key.RIGHT), "↓", "down", outcome=Outcome.NEXT)
UP = Button((Key.UP, Key.LEFT), "↑", "up", outcome=Outcome.BACK)

#: What a lesson can be asked for while it goes on.
LESSON = (
    Button(("p", "P"), "P", "the plan", outcome=Outcome.PLAN),
    HEAR,
    BACK,
    Button(("e", "E"), "E", "easier", outcome=Outcome.EASIER),
    SKIP,
    LEAVE,
)

#: No pad does what a button does.
NO_PADS: Mapping[Outcome, str] = MappingProxyType({})


class Buttons:
    """Buttons in a row, or in more where one is too short.

    ``pads`` names the voice whose pad does what a button does: it is shown beside the button's
    key, and ``call``, what is to be struck first, once at the beginning of the row. Where no pads
    are shown, a ``hint`` stands there.
    """

    def __init__(
        self,
        buttons: Sequence[Button],
        pads: Mapping[Outcome, str] = NO_PADS,
        call: str = "",
        *,
        hint: str = "",
    ) -> None:
        self._buttons, self._hint = tuple(buttons), hint
        self._areas: dict[Outcome, pygame.Rect] = {}
        self._show(pads, call)

    def show_pads(self, pads: Mapping[Outcome, str], call: str) -> None:
        """Show the pads that do the same, where none are shown yet."""
        if not self._pads:
            self._show(pads, call)

    def _show(self, pads: Mapping[Outcome, str], call: str) -> None:
        if Outcome.SOUND in pads and SOUND not in self._buttons:
            self._buttons += (SOUND,)
        self._pads = {
            button.outcome: BY_NAME[pads[button.outcome]].label
            for button in self._buttons
            if button.outcome in pads
        }
        self._call = call if self._pads else self._hint
        #: The lines of the last frame, and for what they were made.
        self._made: tuple[object, list[list[Button | None]]] = (None, [])

    @property
    def shown(self) -> tuple[object, ...]:
        """All that they show; equal where they look the same."""
        return (self._buttons, self._call, *self._pads.items())

    def handle(self, press: Press) -> Outcome | None:
        """The outcome of the button that ``press`` chooses, if any."""
        if isinstance(press, Click):
            areas = self._areas.items()
            return next(
                (outcome for outcome, area in areas if area.collidepoint(press.x, press.y)), None
            )
        return next(
            (one.outcome for one in self._buttons if press in one.keys or press == one.outcome),
            None,
        )

    def offers(self, outcome: Outcome) -> bool:
        """Whether one of the buttons has this outcome."""
        return any(button.outcome is outcome for button in self._buttons)

    @property
    def main(self) -> Button | None:
        """The one that is drawn as the page's main action: that of the Enter key, if any."""
        return next((one for one in self._buttons if Key.ENTER in one.keys), None)

    def lines(self, pen: Pen, room: float) -> int:
        """In how many lines they stand where there are ``room`` pixels from left to right."""
        return len(self._wrapped(pen, room - self._main_room(pen)))

    def tall(self, pen: Pen, room: float) -> int:
        """How far, in pixels, they reach above the baseline of their last line."""
        lines = self.lines(pen, room) * pen.px(_BUTTON_LINE)
        return max(lines, pen.px(_MAIN_HIGH - _MAIN_BELOW) if self.main else 0)

    def draw(self, pen: Pen, *, left: float, right: float, base: float) -> float:
        """Draw them between two pixels, the last line on the baseline ``base``.

        Returns the right end of the last line, in pixels.
        """
        start = left + self._draw_main(pen, left, base)
        lines = self._wrapped(pen, right - start)
        if len(lines) == 1 and self.main is not None:  # beside the middle of the main action
            base -= pen.px(_MAIN_HIGH / 2 - _MAIN_BELOW) - pen.capital(BODY) / 2
        end = start
        for above, line in enumerate(reversed(lines)):
            at, y = start, base - above * pen.px(_BUTTON_LINE)
            for item in line:
                if item is None:
                    at = pen.text(self._call, BODY, (at, y), colour=pen.colours.quiet).right
                else:
                    at = self.draw_one(pen, item, (at, y))
                end = max(end, at)
                at += pen.px(_BETWEEN)
        return end

    def draw_one(self, pen: Pen, button: Button, at: tuple[float, float]) -> float:
        """Draw one of them alone, ``at`` being its left end and baseline; returns its right end."""
        x, base = at
        edge = pygame.Rect(round(x), round(base), 0, 0)
        if button.cap:
            edge = _capped(pen, button.cap, at)
            x = edge.right + pen.px(_BESIDE)
        label = self._pads.get(button.outcome)
        if label is not None:
            x = draw_pad(pen, label, (x, base)).right + pen.px(_BESIDE)
        words = pen.text(button.words, BODY, (x, base))
        self._areas[button.outcome] = edge.union(words)
        return words.right

    def _main_hint(self) -> str:
        """How the main action is asked for: by its key, and by which strokes."""
        main = self.main
        if main is None:
            return ""
        label = self._pads.get(main.outcome)
        strokes = f"{self._call.split(',')[0]}, {label} twice" if self._call else label
        return main.cap if label is None else f"{main.cap} · {strokes}"

    def _main_wide(self, pen: Pen) -> int:
        main = self.main
        if main is None:
            return 0
        words = max(pen.width(main.words, LABEL, bold=True), pen.width(self._main_hint(), BODY))
        return words + 2 * pen.px(_MAIN_INSIDE)

    def _main_room(self, pen: Pen) -> int:
        rest = any(one is not self.main for one in self._buttons)
        wide = self._main_wide(pen)
        return wide + pen.px(_BETWEEN) if wide and rest else wide

    def _draw_main(self, pen: Pen, left: float, base: float) -> int:
        """The main action as a dark block; returns how much room it takes, in pixels."""
        if self.main is None:
            return 0
        bottom = base + pen.px(_MAIN_BELOW)
        self.draw_main(
            pen,
            area(
                left=left,
                top=bottom - pen.px(_MAIN_HIGH),
                right=left + self._main_wide(pen),
                bottom=bottom,
            ),
        )
        return self._main_room(pen)

    def draw_main(self, pen: Pen, block: pygame.Rect) -> None:
        """Draw the main action alone, as a dark block with its words and how it is asked for."""
        main, colours = self.main, pen.colours
        if main is None:
            return
        pygame.draw.rect(pen.surface, colours.ink, block, border_radius=pen.px(8))
        large = TITLE if block.height > 1.4 * pen.px(_MAIN_HIGH) else LABEL
        room = block.width - pen.px(_MAIN_INSIDE)
        words = f"{main.words[:1].upper()}{main.words[1:]}"
        size = pen.fitted(words, (large, SMALL), room, bold=True)
        hint, gap = self._main_hint(), pen.px(large * 0.45)
        lines = pen.wrapped(hint, BODY, room)
        tall = pen.capital(size) + (pen.capital(BODY) + gap) * len(lines)
        y = block.centery - tall / 2 + pen.capital(size)
        pen.text(words, size, (block.centerx, y), colour=colours.paper, bold=True, align=0.5)
        for line in lines:
            y += gap + pen.capital(BODY)
            pen.text(line, BODY, (block.centerx, y), colour=colours.paper, align=0.5)
        self._areas[main.outcome] = block

    def _wrapped(self, pen: Pen, room: float) -> list[list[Button | None]]:
        """The buttons beside the main one in as few lines as there must be, and these about
        equally long.
        """
        key = (pen.theme.letters, pen.unit, room)
        if self._made[0] != key:
            lines = self._filled(pen, room)
            narrower = (self._filled(pen, room * part / 10) for part in range(5, 10))
            if len(lines) > 1:
                lines = next((even for even in narrower if len(even) == len(lines)), lines)
            self._made = key, lines
        return self._made[1]

    def _filled(self, pen: Pen, room: float) -> list[list[Button | None]]:
        """The buttons, line after line; None stands for what is to be struck first."""
        rest = [one for one in self._buttons if one is not self.main]
        called = self._call and (not self._pads or any(one.outcome in self._pads for one in rest))
        items: list[Button | None] = [*([None] if called else []), *rest]
        lines: list[list[Button | None]] = [[]]
        taken = 0.0
        for item in items:
            width = self._width(pen, item) + pen.px(_BETWEEN)
            if lines[-1] and taken + width > room + pen.px(_BETWEEN):
                lines.append([])
                taken = 0.0
            lines[-1].append(item)
            taken += width
        return lines

    def _width(self, pen: Pen, item: Button | None) -> int:
        if item is None:
            return pen.width(self._call, BODY)
        around = 2 * pen.px(_INSIDE) + pen.px(_BESIDE)
        cap = pen.width(item.cap, BODY) + around if item.cap else 0
        width = cap + pen.width(item.words, BODY)
        label = self._pads.get(item.outcome)
        return width if label is None else width + around + pen.width(label, BODY)


class ButtonPage:
    """A page that is answered by its ``buttons`` alone."""

    buttons: Buttons

    def handle(self, press: Press) -> Outcome | None:
        """What the button is for that ``press`` chooses, if any."""
        return self.buttons.handle(press)

    def offers(self, outcome: Outcome) -> bool:
        """Whether a button has this outcome."""
        return self.buttons.offers(outcome)


class ListPage(ButtonPage, ABC):
    """A page of several things, one of which is ``chosen``: NEXT and BACK go through them."""

    chosen: int

    @property
    @abstractmethod
    def count(self) -> int:
        """How many there are."""

    def handle(self, press: Press) -> Outcome | None:
        """What the button is for that ``press`` chooses, NEXT and BACK apart."""
        outcome = super().handle(press)
        if outcome not in _TO:
            return outcome
        self.chosen = (self.chosen + _TO[outcome]) % max(1, self.count)
        return None


def _capped(pen: Pen, cap: str, at: tuple[float, float]) -> pygame.Rect:
    """The cap of a key, from its left end on; returns where it stands."""
    inside = pen.px(_INSIDE)
    written = pen.text(cap, BODY, (at[0] + inside, at[1]), colour=pen.colours.quiet)
    edge = written.inflate(2 * inside, pen.px(2))
    pygame.draw.rect(pen.surface, pen.colours.rule, edge, pen.px(1), border_radius=pen.px(4))
    return edge


def draw_pad(pen: Pen, label: str, at: tuple[float, float]) -> pygame.Rect:
    """The name of a pad, round like a drum, from its left end on; returns where it stands."""
    inside, colours = pen.px(_INSIDE), pen.colours
    size = (pen.width(label, BODY) + 2 * inside, pen.px(BODY * 1.4))
    edge = pygame.Rect((0, 0), size)
    edge.midleft = (round(at[0]), round(at[1] - pen.capital(BODY) / 2))
    pygame.draw.rect(pen.surface, colours.ahead, edge, border_radius=size[1] // 2)
    pygame.draw.rect(pen.surface, colours.ahead_edge, edge, pen.px(1), border_radius=size[1] // 2)
    pen.text(label, BODY, (edge.left + inside, at[1]))
    return edge


def foot(pen: Pen, buttons: Buttons, notices: Sequence[str] = ()) -> int:
    """The foot of a page: the main action and the other ``buttons``, and ``notices`` to the right
    of them or above.

    Returns the upper edge of what was drawn, in pixels.
    """
    width, height = pen.surface.get_size()
    left, right = pen.px(MARGIN), width - pen.px(MARGIN)
    base, room = height - pen.px(FOOT_BASE), right - left
    end = buttons.draw(pen, left=left, right=right, base=base) + pen.px(2 * _BETWEEN)
    top = base - buttons.tall(pen, room) - pen.px(6)
    texts = [words for words in notices if words]
    if not texts:
        return top
    step = pen.px(_FOOT_LINE)
    if buttons.lines(pen, room) == 1 and right - end > _ENOUGH * room:
        lines, size = _in_lines(pen, texts, right - end)
        if len(lines) * step <= base + pen.px(_MAIN_BELOW) - top:
            first = base - (len(lines) - 1) * step
            for number, line in enumerate(lines):
                at = (right, first + number * step)
                pen.text(line, size, at, colour=pen.colours.quiet, align=1.0)
            return min(top, first - step)
    lines, size = _in_lines(pen, texts, room)
    step = pen.px(_FOOT_LINE * size / BODY)
    for number, line in enumerate(reversed(lines)):
        pen.text(line, size, (left, top - pen.px(6) - number * step), colour=pen.colours.quiet)
    return top - pen.px(6) - len(lines) * step


def _in_lines(pen: Pen, notices: Sequence[str], room: float) -> tuple[list[str], float]:
    """The notices in lines, and the size of type: smaller where one needs more lines than one."""
    size = BODY if all(pen.width(words, BODY) <= room for words in notices) else SMALL
    return [line for words in notices for line in pen.wrapped(words, size, room)], size


class Level:
    """The level of the sound: a bar, and the keys that move it. ``db`` is None where unknown.

    ``parts`` are names of what can be moved beside all of it, the click for instance; ``part`` is
    which is shown, "" for all. The label chooses the next one, and so does the key ``V``.
    """

    def __init__(self, db: float | None = None, parts: Sequence[str] = ()) -> None:
        self.db, self.parts, self.part = db, tuple(parts), ""
        self._areas: tuple[tuple[pygame.Rect, int], ...] = ()
        self._label = pygame.Rect(0, 0, 0, 0)

    def steps(self, press: Press) -> int:
        """What a press asks for: 1 is a step louder, -1 a step softer, 0 nothing."""
        if self.db is None:
            return 0
        if isinstance(press, Click):
            hit = (step for area, step in self._areas if area.collidepoint(press.x, press.y))
            return next(hit, 0)
        return _LEVEL_KEYS.get(press, 0) if isinstance(press, str) else 0

    def chooses(self, press: Press) -> bool:
        """Whether a press chooses another part; it is then chosen."""
        if self.db is None or not self.parts:
            return False
        is_label = isinstance(press, Click) and self._label.collidepoint(press.x, press.y)
        if not is_label and press not in ("v", "V"):
            return False
        names = ("", *self.parts)
        self.part = names[(names.index(self.part) + 1) % len(names)]
        return True

    def draw(self, pen: Pen, at: tuple[float, float]) -> None:
        """Draw it from its upper left corner on: LEVEL_WIDE times LEVEL_HIGH units."""
        if self.db is None:
            return
        left, top = at
        colours, width = pen.colours, pen.px(LEVEL_WIDE)
        less = _capped(pen, "−", (left, top + pen.px(BODY)))
        words = decibels(self.db)
        middle = (left + width / 2, top + pen.px(BODY))
        pen.text(words, BODY, middle, colour=colours.quiet, align=0.5)
        cap = pen.width("+", BODY) + 2 * pen.px(_INSIDE)
        more = _capped(pen, "+", (left + width - cap, top + pen.px(BODY)))
        bar = area(left=left, top=top + pen.px(27), right=left + width, bottom=top + pen.px(35))
        pen.fill(bar, colours.band)
        full = min(1.0, max(0.0, 1.0 - self.db / LEVEL_LOWEST_DB))
        pen.fill(
            area(left=bar.left, top=bar.top, right=bar.left + full * bar.width, bottom=bar.bottom),
            colours.ink,
        )
        pen.level_line(bar.bottom, bar.left, bar.right, colour=colours.rule, width=1)
        base = top + pen.px(LEVEL_HIGH - 8)
        name = self.part or ("all" if self.parts else "sound")
        label = pen.text(name, BODY, (left, base), colour=colours.quiet)
        if self.parts:
            key = pen.width("V", BODY) + 2 * pen.px(_INSIDE)
            label = label.union(_capped(pen, "V", (left + width - key, base)))
        self._label = label
        self._areas = ((less, -1), (more, 1))


def decibels(db: float) -> str:
    """A level in words."""
    return f"{round(db)} dB".replace("-", "−")


def level_of(page: object) -> Level | None:
    """The level of the sound that a page shows, None where it shows none."""
    level = getattr(page, "level", None)
    return level if isinstance(level, Level) else None


def table(pen: Pen, rect: pygame.Rect, rows: Sequence[tuple[str, str]]) -> int:
    """A table of (what, figure) in as many columns as ``rect`` asks for, the most important first.

    The type is as large as fits, down to the least that can be read; rows that find no room even
    so are left out whole. Returns how many are shown.
    """
    for shown in range(len(rows), 0, -1):
        least = SMALL if shown == len(rows) else BODY
        for size in range(BODY, SMALL - 1, -1) if least == SMALL else (SMALL,):
            columns = _columns(pen, rect, rows[:shown], size=size)
            if columns is not None:
                _draw_columns(pen, rect, columns, size=size)
                return shown
    return 0


_Columns = list[tuple[Sequence[tuple[str, str]], int, int]]

#: In units: between what and its figure, and between two columns of a table.
_TABLE_BESIDE, _TABLE_GAP = 16, 30


def _columns(
    pen: Pen, rect: pygame.Rect, rows: Sequence[tuple[str, str]], *, size: int
) -> _Columns | None:
    """The rows in columns with the widths of both parts, None where they are too wide."""
    per_column = max(1, rect.height // pen.px(size * 1.45))
    found, needed = [], 0
    for at in range(0, len(rows), per_column):
        column = rows[at : at + per_column]
        what = max(pen.width(what, size) for what, _ in column)
        figure = max(pen.width(figure, size) for _, figure in column)
        found.append((column, what, figure))
        needed += what + figure + pen.px(_TABLE_BESIDE)
    needed += pen.px(_TABLE_GAP) * (len(found) - 1)
    return found if needed <= rect.width else None


def _draw_columns(pen: Pen, rect: pygame.Rect, columns: _Columns, *, size: int) -> None:
    left, line = float(rect.left), pen.px(size * 1.45)
    for column, what_width, figure_width in columns:
        at = left + what_width + pen.px(_TABLE_BESIDE)
        for place, (what, figure) in enumerate(column):
            base = rect.top + place * line + pen.px(size)
            pen.text(what, size, (left, base), colour=pen.colours.quiet)
            pen.text(figure, size, (at, base))
        left = at + figure_width + pen.px(_TABLE_GAP)
