"""Small things that pages are made of: the head of a page, dots, buttons, a table."""

from collections.abc import Sequence
from dataclasses import dataclass

import pygame

from playalong.screen import marks
from playalong.screen.keys import Click, Key, Press
from playalong.screen.page import Outcome
from playalong.screen.pen import Pen
from playalong.screen.theme import BODY, LABEL, SMALL, TITLE

#: Margins of a page, and the height of its head, in units.
MARGIN, HEAD = 36, 62

_HEAD_BASE = 44

#: More repetitions than this are told in figures, not in dots.
_MOST_DOTS = 10

#: The least size of type in a table, in units.
_LEAST = 11


def head(
    pen: Pen,
    title: str,
    subtitle: str,
    tempo: str,
    clean: tuple[int, int] | None,
    called: str = "",
) -> None:
    """The line at the top of a page: title, subtitle, what is called, clean repetitions, tempo."""
    width, base = pen.surface.get_width(), pen.px(_HEAD_BASE)
    right: float = width - pen.px(MARGIN)
    if tempo:
        right = pen.text(tempo, TITLE, (right, base), bold=True, align=1.0).left - pen.px(22)
    if clean is not None:
        right = dots(pen, (right, base), *clean) - pen.px(22)
    if called:
        right = pen.text(called, TITLE, (right, base), bold=True, align=1.0).left - pen.px(22)
    title = pen.cut(title, TITLE, (right - pen.px(MARGIN)) * 0.7, bold=True)
    left = pen.text(title, TITLE, (pen.px(MARGIN), base), bold=True).right + pen.px(18)
    pen.text(pen.cut(subtitle, BODY, right - left), BODY, (left, base), pen.colours.quiet)


def dots(pen: Pen, at: tuple[float, float], done: int, asked: int) -> float:
    """Clean repetitions: a dot for each that is asked, solid when done; returns the left edge.

    ``at`` is the right end of the baseline.
    """
    right, base = at
    if asked > _MOST_DOTS:
        words = f"clean {done} of {asked}"
        return pen.text(words, BODY, at, pen.colours.quiet, align=1.0).left
    radius, step, ink = pen.px(6), pen.px(19), pen.colours.ink
    y = base - pen.capital(BODY) / 2
    for place in range(asked):
        x = right - radius - (asked - 1 - place) * step
        is_done = place < done
        mark = marks.dot(radius, ink) if is_done else marks.ring(radius, pen.px(1.8), ink, None)
        pen.mark(mark, (x, y))
    left = right - asked * step - pen.px(4)
    return pen.text("clean", BODY, (left, base), pen.colours.quiet, align=1.0).left


@dataclass(frozen=True, slots=True)
class Button:
    """Something to choose: by its ``keys`` or by a click. ``cap`` is what the key is called."""

    keys: tuple[Press, ...]
    cap: str
    words: str
    outcome: Outcome


#: What every page can be left by.
LEAVE = Button((Key.ESCAPE, Key.CLOSE), "Esc", "leave", Outcome.LEAVE)


#: What a lesson can be asked for while it goes on.
LESSON = (
    Button(("p", "P"), "P", "the plan", Outcome.PLAN),
    Button(("h", "H"), "H", "hear it", Outcome.HEAR),
    Button(("b", "B"), "B", "back", Outcome.BACK),
    Button(("e", "E"), "E", "easier", Outcome.EASIER),
    Button(("s", "S"), "S", "skip", Outcome.SKIP),
    LEAVE,
)


class Buttons:
    """Buttons in a row."""

    def __init__(self, buttons: Sequence[Button]) -> None:
        self._buttons = tuple(buttons)
        self._areas: list[tuple[pygame.Rect, Outcome]] = []

    def handle(self, press: Press) -> Outcome | None:
        """The outcome of the button that ``press`` chooses, if any."""
        if isinstance(press, Click):
            hit = (told for area, told in self._areas if area.collidepoint(press.x, press.y))
            return next(hit, None)
        return next((one.outcome for one in self._buttons if press in one.keys), None)

    def draw(self, pen: Pen, right: float, base: float) -> float:
        """Draw them up to ``right`` on the baseline ``base``; returns the left edge, in pixels."""
        self._areas.clear()
        pad, left = pen.px(7), right
        for button in reversed(self._buttons):
            words = pen.text(button.words, BODY, (left, base), align=1.0)
            at = (words.left - pen.px(8) - pad, base)
            cap = pen.text(button.cap, SMALL, at, pen.colours.quiet, align=1.0)
            edge = cap.inflate(2 * pad, pen.px(2))
            pygame.draw.rect(
                pen.surface, pen.colours.rule, edge, pen.px(1), border_radius=pen.px(4)
            )
            self._areas.append((edge.union(words), button.outcome))
            left = edge.left - pen.px(26)
        return left


def table(pen: Pen, rect: pygame.Rect, rows: Sequence[tuple[str, str]]) -> None:
    """A table of (what, figure) in as many columns as ``rect`` asks for.

    The type is as large as fits; what still does not fit is cut.
    """
    beside, gap, needed = pen.px(16), pen.px(24), rect.width + 1.0
    for size in range(LABEL, _LEAST - 1, -1):
        if needed <= rect.width:
            break
        kind, line = size, pen.px(size * 1.45)
        per_column = max(1, rect.height // line)
        columns = [rows[at : at + per_column] for at in range(0, len(rows), per_column)]
        whats = [max(pen.width(what, size) for what, _ in column) for column in columns]
        figures = [max(pen.width(figure, size) for _, figure in column) for column in columns]
        needed = sum(whats) + sum(figures) + (beside + gap) * len(columns)
    share = (rect.width - needed) / max(1, len(columns))
    left: float = rect.left
    for column, what_width, figure_width in zip(columns, whats, figures, strict=True):
        at, room = left + what_width + beside, figure_width + min(0, share)
        for place, (what, figure) in enumerate(column):
            base = rect.top + place * line + pen.px(kind)
            pen.text(what, kind, (left, base), pen.colours.quiet)
            pen.text(pen.cut(figure, kind, room), kind, (at, base))
        left = at + figure_width + gap + share
