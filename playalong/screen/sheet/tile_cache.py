"""A long strip of paper, painted in pieces, of which a part is shown.

The sheet changes only where a word is said, but scrolls in every frame. So it is painted once in
pieces of equal width, and a frame copies the pieces that show.
"""

from collections.abc import Callable

import pygame

#: The width of a piece in pixels.
PIECE = 128

#: Paints the piece whose first pixel along the strip is given.
Painter = Callable[[pygame.Surface, int], None]


class Strip:
    """The pieces that show, ``height`` pixels high."""

    def __init__(self, height: int, paint: Painter) -> None:
        self._height, self._paint = height, paint
        self._pieces: dict[int, pygame.Surface] = {}
        self._spare: list[pygame.Surface] = []

    def touch(self, first: int, last: int) -> None:
        """What lies from pixel ``first`` to ``last`` has changed."""
        for number in range(first // PIECE, last // PIECE + 1):
            self._drop(number)

    def show(self, surface: pygame.Surface, rect: pygame.Rect, left: int) -> None:
        """Copy the strip from pixel ``left`` on into ``rect`` of ``surface``."""
        first, last = left // PIECE, (left + rect.width - 1) // PIECE
        for number in [number for number in self._pieces if not first <= number <= last]:
            self._drop(number)
        clip = surface.get_clip()
        surface.set_clip(rect)
        for number in range(first, last + 1):
            piece = self._pieces.get(number) or self._painted(number, surface)
            surface.blit(piece, (rect.left + number * PIECE - left, rect.top))
        surface.set_clip(clip)

    def _painted(self, number: int, like: pygame.Surface) -> pygame.Surface:
        if self._spare:
            piece = self._spare.pop()
        else:
            piece = pygame.Surface((PIECE, self._height), depth=like.get_bitsize())
        self._paint(piece, number * PIECE)
        self._pieces[number] = piece
        return piece

    def _drop(self, number: int) -> None:
        piece = self._pieces.pop(number, None)
        if piece is not None:
            self._spare.append(piece)
