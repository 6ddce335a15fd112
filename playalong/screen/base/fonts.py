"""Letters: two fonts, in any size; each rendered, cut or wrapped text kept for the next frame."""

from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pygame

from playalong.screen.base.scripts import names_for, runs, visual

Colour = tuple[int, int, int]

#: How many rendered texts, measured widths, cut and wrapped texts are kept, of each.
_CACHE_SIZE = 2048

#: The height of a capital letter, in parts of the size of type (measured from the font's "H").
CAPITAL = 0.73

#: The size at which a face is probed for a letter.
_PROBE_SIZE = 16


class Letters:
    """A plain and a bold font, and the system's own for what they do not have."""

    def __init__(self, plain: Path, bold: Path) -> None:
        pygame.font.init()
        #: Faces by number: (plain, bold); the first is the shipped one.
        self._faces: list[tuple[Path, Path]] = [(plain, bold)]
        self._font = lru_cache(maxsize=64)(self._open)
        self._face_of = lru_cache(maxsize=4096)(self._find_face)
        self.rendered = lru_cache(maxsize=_CACHE_SIZE)(self._render)
        self.width = lru_cache(maxsize=_CACHE_SIZE)(self._measure)
        self.cut = lru_cache(maxsize=_CACHE_SIZE)(self._cut)
        self.lines = lru_cache(maxsize=_CACHE_SIZE)(self._wrap)

    def ascent(self, size: int, bold: bool) -> int:
        """The pixels from the top of a rendered text to its baseline; ``size`` in pixels."""
        return self._font(size, bold).get_ascent()

    def _open(self, size: int, bold: bool, face: int = 0) -> pygame.font.Font:
        return pygame.font.Font(self._faces[face][bold], size)

    def _find_face(self, letter: str) -> int | None:
        """The number of a face that has ``letter``, None where there is none."""
        for face in range(len(self._faces)):
            if has(self._font(_PROBE_SIZE, False, face), letter):
                return face
        for name in names_for(letter):
            plain = pygame.font.match_font(name)
            if not plain:
                continue
            bold = pygame.font.match_font(name, bold=True) or plain
            self._faces.append((Path(plain), Path(bold)))
            if has(self._font(_PROBE_SIZE, False, len(self._faces) - 1), letter):
                return len(self._faces) - 1
            self._faces.pop()
            self._font.cache_clear()
        return None

    def _measure(self, words: str, size: int, bold: bool) -> int:
        """The width of ``words`` in pixels, whatever they hold."""
        words = _drawable(words)
        if words.isascii():
            return self._font(size, bold).size(words)[0]
        return sum(
            self._font(size, bold, face).size(text)[0]
            for face, text in runs(visual(words), self._face_of)
        )

    def _render(self, words: str, size: int, bold: bool, *, colour: Colour) -> pygame.Surface:
        """``words`` on nothing, whatever they hold."""
        words = _drawable(words)
        if words.isascii():
            return self._font(size, bold).render(words, True, colour)
        if not self.width(words, size, bold):  # the library cannot draw nothing
            return pygame.Surface((0, self._font(size, bold).get_height()), pygame.SRCALPHA)
        parts = [
            (self._font(size, bold, face), text)
            for face, text in runs(visual(words), self._face_of)
        ]
        if len(parts) == 1 and parts[0][0] is self._font(size, bold):
            return parts[0][0].render(parts[0][1], True, colour)
        # The baselines of all parts lie where that of the shipped font does.
        own = self._font(size, bold)
        whole = pygame.Surface((self.width(words, size, bold), own.get_height()), pygame.SRCALPHA)
        left = 0
        for font, text in parts:
            part = font.render(text, True, colour)
            whole.blit(part, (left, own.get_ascent() - font.get_ascent()))
            left += part.get_width()
        return whole

    def _cut(self, words: str, size: int, bold: bool, *, width: float) -> str:
        """``words``, or as many of their letters as fit in ``width`` pixels, and an ellipsis."""
        if self.width(words, size, bold) <= width:
            return words
        fits = words
        while fits and self.width(fits + "…", size, bold) > width:
            fits = fits[:-1].rstrip()
        return fits + "…" if fits else ""

    def _wrap(self, words: str, size: int, bold: bool, *, width: float) -> tuple[str, ...]:
        """``words`` in lines of at most ``width`` pixels."""
        return tuple(self._wrapping(words, size, bold, width=width))

    def _wrapping(self, words: str, size: int, bold: bool, *, width: float) -> Iterator[str]:
        line = ""
        for word in words.split():
            longer = f"{line} {word}".lstrip()
            if line and self.width(longer, size, bold) > width:
                yield line
                longer = word
            while self.width(longer, size, bold) > width and len(longer) > 1:  # as of a path
                fits = longer
                while len(fits) > 1 and self.width(fits, size, bold) > width:
                    fits = fits[:-1]
                yield fits
                longer = longer[len(fits) :]
            line = longer
        yield line


def _drawable(words: str) -> str:
    """``words`` without what the library cannot take: bytes that are no text, and zeros."""
    return words.encode(errors="replace").decode().replace("\0", "?")


#: A code point that no face has a letter for (Unicode: a noncharacter).
_NO_LETTER = "\uffff"


def has(font: pygame.font.Font, letter: str) -> bool:
    """Whether the face has a letter: what it has not is drawn as it draws what nothing has."""
    if not font.size(letter)[0]:
        return True  # there is nothing to draw
    drawn, missing = (font.render(one, True, (0, 0, 0)) for one in (letter, _NO_LETTER))
    return pygame.image.tobytes(drawn, "RGBA") != pygame.image.tobytes(missing, "RGBA")
