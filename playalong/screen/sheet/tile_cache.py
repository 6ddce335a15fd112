"""A long strip of paper, painted in pieces, of which a part is shown.

The sheet changes only where a word is said, but scrolls in every frame. So it is painted once in
pieces of equal width, and a frame copies the pieces that show. What stands on the paper from the
beginning is kept beneath each piece, so that a change paints only what is upon it.
"""

from collections.abc import Callable
from dataclasses import dataclass

import pygame

#: The width of a piece in pixels.
PIECE = 128

#: Paints on the piece whose first pixel along the strip is given.
Painter = Callable[[pygame.Surface, int], None]


@dataclass(slots=True, kw_only=True)
class _Piece:
    """A piece as it is, and the paper beneath; it ``is_old`` where it has changed since."""

    paper: pygame.Surface
    whole: pygame.Surface
    is_old: bool = True


class Strip:
    """The pieces that show, ``height`` pixels high: ``prepare`` paints what never changes, and
    ``paint`` what lies upon that.
    """

    def __init__(self, height: int, prepare: Painter, paint: Painter) -> None:
        self._height, self._prepare, self._paint = height, prepare, paint
        self._pieces: dict[int, _Piece] = {}
        self._spare: list[_Piece] = []

    def touch(self, first: int, last: int) -> None:
        """What lies from pixel ``first`` to ``last`` has changed."""
        for number in range(first // PIECE, last // PIECE + 1):
            if number in self._pieces:
                self._pieces[number].is_old = True

    def show(self, surface: pygame.Surface, rect: pygame.Rect, left: int) -> None:
        """Copy the strip from pixel ``left`` on into ``rect`` of ``surface``."""
        first, last = left // PIECE, (left + rect.width - 1) // PIECE
        for number in [number for number in self._pieces if not first <= number <= last]:
            self._spare.append(self._pieces.pop(number))
        clip = surface.get_clip()
        surface.set_clip(rect)
        for number in range(first, last + 1):
            piece = self._pieces.get(number) or self._prepared(number, surface)
            if piece.is_old:
                piece.whole.blit(piece.paper, (0, 0))
                self._paint(piece.whole, number * PIECE)
                piece.is_old = False
            surface.blit(piece.whole, (rect.left + number * PIECE - left, rect.top))
        surface.set_clip(clip)

    def _prepared(self, number: int, like: pygame.Surface) -> _Piece:
        if self._spare:
            piece = self._spare.pop()
            piece.is_old = True
        else:
            size, depth = (PIECE, self._height), like.get_bitsize()
            piece = _Piece(
                paper=pygame.Surface(size, depth=depth), whole=pygame.Surface(size, depth=depth)
            )
        self._prepare(piece.paper, number * PIECE)
        self._pieces[number] = piece
        return piece
