"""Words on a slip of paper that lies over a page."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import pygame

from playalong.screen.base import marks
from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome, Page, looks_of
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SMALL, Theme

#: From the edge of the room to the slip, and from that to its words, in units.
MARGIN = 18

#: Where the stroke that has just come is told, in units: from the right edge, and its baseline.
_CORNER, _STRUCK_BASE = 44, 21

#: Sizes of the first words and of the others, from the largest, and from line to line in sizes.
_SIZES = (
    (ADVICE, ADVICE),
    (ADVICE, 27),
    (ADVICE, LABEL),
    (28, BODY),
    (LABEL, SMALL),
    (SMALL, SMALL),
)
_LEADING = 1.32

#: So many of these sizes are large.
_LARGE = 2

#: The part of a page's width that a slip over all of it takes.
_WIDE = 0.6


@dataclass(frozen=True, kw_only=True)
class _Over:
    """``page`` with something over it, which answers as the page does."""

    page: Page
    theme: Theme

    def handle(self, press: Press) -> Outcome | None:
        """As the page does."""
        return self.page.handle(press)

    def offers(self, outcome: Outcome) -> bool:
        """As the page does."""
        return self.page.offers(outcome)


@dataclass(frozen=True, kw_only=True)
class Covered(_Over):
    """``page`` with ``words`` over it, the first in bold; see ``page.Page``."""

    words: Sequence[str]

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page, and the words over its middle."""
        self.page.draw(surface, now_s)
        room = surface.get_rect()
        pen = Pen(surface, self.theme)
        slip_of(pen, room.inflate(-room.width * (1 - _WIDE), 0), self.words).draw(pen)


@dataclass(frozen=True, kw_only=True)
class Struck(_Over):
    """``page`` with the stroke that has just come: the pad's ``name`` and its velocity."""

    name: str
    velocity: float

    def looks(self, now_s: float) -> tuple[object, ...] | None:
        """As the page looks, and the stroke."""
        beneath = looks_of(self.page, now_s)
        return None if beneath is None else (beneath, self.theme, self.name, self.velocity)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page, and in its upper right corner, above its title, the stroke."""
        self.page.draw(surface, now_s)
        pen = Pen(surface, self.theme)
        right, base = surface.get_width() - pen.px(_CORNER), pen.px(_STRUCK_BASE)
        radius = pen.px(6)
        pen.mark(marks.dot(radius, pen.colours.ink), (right - radius, base - radius))
        words = f"{self.name} {self.velocity:.0f}"
        pen.text(
            words,
            BODY,
            (right - 2 * radius - pen.px(8), base),
            colour=pen.colours.quiet,
            align=1.0,
        )


@dataclass(frozen=True, kw_only=True)
class Slip:
    """Words as they lie on a page: ``box`` around lines of (words, size of type, in bold)."""

    box: pygame.Rect
    lines: Sequence[tuple[str, float, bool]]

    def draw(self, pen: Pen) -> None:
        """Draw it; nothing where there are no words."""
        if not self.lines:
            return
        pen.box(self.box, fill=pen.colours.paper, edge=pen.colours.line)
        base = float(self.box.top + pen.px(MARGIN))
        for line, size, bold in self.lines:
            base += pen.px(size * _LEADING)
            if base <= self.box.bottom - pen.px(4):
                at = (self.box.left + pen.px(MARGIN), base - pen.px(size * (_LEADING - 1)))
                pen.text(line, size, at, bold=bold)


def slip_of(pen: Pen, rect: pygame.Rect, said: Sequence[str], *, below: float = 0) -> Slip:
    """``said`` in the middle of ``rect``, wrapped; the first in bold.

    Where that would be small writing, the slip reaches up to ``below`` pixels lower.
    """
    return _laid(pen.theme, pen.unit, (*rect,), said=tuple(said), below=below)


@lru_cache(maxsize=64)
def _laid(
    theme: Theme,
    unit: float,
    within: tuple[int, ...],
    *,
    said: tuple[str, ...],
    below: float,
) -> Slip:
    """The same, kept for the next frame."""
    pen, rect = Pen(pygame.Surface((1, 1)), theme, unit), pygame.Rect(within)
    box = rect.inflate(-2 * pen.px(MARGIN), 0)
    if not said:
        return Slip(box=pygame.Rect(box.topleft, (box.width, 0)), lines=())
    room, least = box.width - 2 * pen.px(MARGIN), rect.height - 2 * pen.px(MARGIN)
    tries: list[tuple[tuple[int, int], float]]
    tries = [(sizes, least) for sizes in _SIZES[:_LARGE]]
    tries += [(sizes, least + below) for sizes in _SIZES]
    for (first, others), tall in tries:
        lines = [
            (line, first if number == 0 else others, number == 0)
            for number, words in enumerate(said)
            if words
            for line in pen.wrapped(words, first if number == 0 else others, room, bold=number == 0)
        ]
        height = sum(pen.px(size * _LEADING) for _, size, _ in lines)
        if height <= tall:
            break
    box.height = min(round(rect.height + below), height + 2 * pen.px(MARGIN))
    box.top = max(rect.top, rect.centery - box.height // 2)
    return Slip(box=box, lines=lines)
