"""Letters: two fonts, in any size, each rendered text kept for the next frame."""

from functools import lru_cache
from pathlib import Path

import pygame

Colour = tuple[int, int, int]

#: How many rendered texts and measured widths are kept.
_KEPT = 2048

#: The height of a capital letter, in parts of the size of type (measured from the font's "H").
CAPITAL = 0.73


class Letters:
    """A plain and a bold font."""

    def __init__(self, plain: Path, bold: Path) -> None:
        pygame.font.init()
        self._files = (plain, bold)
        self._font = lru_cache(maxsize=64)(self._open)
        self.rendered = lru_cache(maxsize=_KEPT)(self._render)
        self.width = lru_cache(maxsize=_KEPT)(self._measure)

    def ascent(self, size: int, bold: bool) -> int:
        """The pixels from the top of a rendered text to its baseline; ``size`` in pixels."""
        return self._font(size, bold).get_ascent()

    def _open(self, size: int, bold: bool) -> pygame.font.Font:
        return pygame.font.Font(self._files[bold], size)

    def _measure(self, words: str, size: int, bold: bool) -> int:
        """The width of ``words`` in pixels."""
        return self._font(size, bold).size(words)[0]

    def _render(self, words: str, size: int, bold: bool, colour: Colour) -> pygame.Surface:
        """``words`` on nothing."""
        return self._font(size, bold).render(words, True, colour)
