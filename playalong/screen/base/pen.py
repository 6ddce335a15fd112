"""The pen: draws text, lines and marks on a surface, in units and in the colours of a theme."""

import pygame

from playalong.screen.base import marks
from playalong.screen.base.fonts import CAPITAL, Colour
from playalong.screen.base.theme import Colours, Theme

Point = tuple[float, float]


class Pen:
    """Draws on ``surface``; ``unit`` is in pixels, by default what suits a window of its size."""

    def __init__(self, surface: pygame.Surface, theme: Theme, unit: float | None = None) -> None:
        self.surface = surface
        self.theme = theme
        self.unit = theme.unit(surface.get_size()) if unit is None else unit

    @property
    def colours(self) -> Colours:
        """The colours of the theme."""
        return self.theme.colours

    def px(self, units: float) -> int:
        """A length in whole pixels, at least one."""
        return max(1, round(units * self.unit))

    def width(self, words: str, size: float, bold: bool = False) -> int:
        """How wide ``words`` are, in pixels; ``size`` of type in units."""
        return self.theme.letters.width(words, self.px(size), bold)

    def capital(self, size: float) -> float:
        """The height of a capital letter in pixels; ``size`` of type in units."""
        return CAPITAL * self.px(size)

    def text(
        self,
        words: str,
        size: float,
        at: Point,
        *,
        colour: Colour | None = None,
        bold: bool = False,
        align: float = 0.0,
    ) -> pygame.Rect:
        """Write ``words`` and return where they stand.

        ``at`` is a point of the baseline in pixels: its left end where ``align`` is 0, its
        middle at 0.5, its right end at 1.
        """
        letters, height = self.theme.letters, self.px(size)
        written = letters.rendered(words, height, bold, colour=colour or self.colours.ink)
        left = round(at[0] - align * written.get_width())
        stands = written.get_rect(left=left, top=round(at[1]) - letters.ascent(height, bold))
        self.surface.blit(written, stands)
        return stands

    def fitted(
        self, words: str, sizes: tuple[float, float], width: float, *, bold: bool = False
    ) -> float:
        """The largest size of type, from the first of ``sizes`` down to the second, in which
        ``words`` take at most ``width`` pixels; the second where none does.
        """
        largest, least = sizes
        needed = self.width(words, largest, bold)
        if needed <= width:
            return largest
        size = max(least, largest * width / needed)
        while size > least and self.width(words, size, bold) > width:
            size -= 0.5
        return max(least, size)

    def cut(self, words: str, size: float, width: float, *, bold: bool = False) -> str:
        """``words``, or as many of their letters as fit in ``width`` pixels, and an ellipsis."""
        return self.theme.letters.cut(words, self.px(size), bold, width=width)

    def wrapped(self, words: str, size: float, width: float, *, bold: bool = False) -> list[str]:
        """``words`` in lines of at most ``width`` pixels."""
        return list(self.theme.letters.lines(words, self.px(size), bold, width=width))

    def fill(self, box: pygame.Rect, colour: Colour) -> None:
        """A box of one colour."""
        # The library's own fill moves a box that begins left of the surface.
        self.surface.fill(colour, box.clip(self.surface.get_rect()))

    def level_line(
        self, y: float, left: float, right: float, *, colour: Colour, width: float
    ) -> None:
        """A horizontal line; ``width`` in units, the rest in pixels."""
        self.fill(pygame.Rect(round(left), round(y), round(right - left), self.px(width)), colour)

    def upright(self, x: float, top: float, bottom: float, *, colour: Colour, width: float) -> None:
        """A vertical line with its middle at ``x``; ``width`` in units, the rest in pixels."""
        wide = self.px(width)
        self.fill(pygame.Rect(round(x) - wide // 2, round(top), wide, round(bottom - top)), colour)

    def stroke(self, points: list[Point], colour: Colour, width: float) -> None:
        """A smooth line through ``points``; ``width`` in units."""
        if len(points) < 2:
            return
        for shift in range(self.px(width)):
            moved = [(x, y + shift) for x, y in points]
            pygame.draw.aalines(self.surface, colour, False, moved)

    def link(self, start: Point, end: Point, colour: Colour, *, width: float) -> None:
        """A straight line; ``width`` in units."""
        (x, y), (to_x, to_y), wide = start, end, self.px(width)
        if x == to_x or y == to_y:
            pygame.draw.line(self.surface, colour, start, end, wide)
            return
        # A slanting line is smooth only one pixel wide: so several, side by side.
        steep = abs(to_y - y) > abs(to_x - x)
        for shift in range(wide):
            by = (shift, 0) if steep else (0, shift)
            moved = (x + by[0], y + by[1]), (to_x + by[0], to_y + by[1])
            pygame.draw.aaline(self.surface, colour, *moved)

    def box(self, box: pygame.Rect, fill: Colour, edge: Colour, *, dashed: bool = False) -> None:
        """A filled box with a thin outline inside its edges."""
        width, dash = self._outline(dashed)
        self.surface.blit(marks.box(box.size, fill=fill, edge=edge, width=width, dash=dash), box)

    def hatched(self, box: pygame.Rect, edge: Colour, dashed: bool = False) -> None:
        """A box of slanting lines with a thin outline."""
        width, dash = self._outline(dashed)
        hatched = marks.hatched(
            box.size, self.px(4), self.colours.row, edge=edge, width=width, dash=dash
        )
        self.surface.blit(hatched, box)

    def _outline(self, dashed: bool) -> tuple[int, int]:
        return self.px(0.9), self.px(3) if dashed else 0

    def mark(self, mark: pygame.Surface, at: Point) -> None:
        """A mark with its middle at ``at``, in pixels."""
        half = mark.get_width() // 2
        self.surface.blit(mark, (round(at[0]) - half, round(at[1]) - half))


def area(*, left: float, top: float, right: float, bottom: float) -> pygame.Rect:
    """The rectangle between these edges, in pixels, each edge rounded by itself."""
    x, y = round(left), round(top)
    return pygame.Rect(x, y, round(right) - x, round(bottom) - y)


def around(hole: pygame.Rect, whole: pygame.Rect) -> list[pygame.Rect]:
    """``whole`` without ``hole``: what is above, to the left and right, below."""
    hole = hole.clip(whole)
    return [
        area(left=whole.left, top=whole.top, right=whole.right, bottom=hole.top),
        area(left=whole.left, top=hole.top, right=hole.left, bottom=hole.bottom),
        area(left=hole.right, top=hole.top, right=whole.right, bottom=hole.bottom),
        area(left=whole.left, top=hole.bottom, right=whole.right, bottom=whole.bottom),
    ]
