"""How wide words are on paper, and how they are broken into lines."""

from bisect import bisect
from collections.abc import Iterator
from functools import lru_cache

from anyascii import anyascii
from matplotlib import font_manager
from matplotlib.ft2font import FT2Font

#: Millimetres of a point.
POINT = 25.4 / 72.0

FAMILY = "DejaVu Sans"


@lru_cache(maxsize=2)
def _face(bold: bool) -> FT2Font:
    weight = "bold" if bold else "normal"
    found = font_manager.findfont(font_manager.FontProperties(family=FAMILY, weight=weight))
    return font_manager.get_font(found)


@lru_cache(maxsize=1)
def _known() -> frozenset[int]:
    """The letters that the face has."""
    return frozenset(_face(False).get_charmap())


@lru_cache(maxsize=1024)
def legible(text: str) -> str:
    """``text`` with what the face has no letters for spelled in Latin ones."""
    known = _known()
    return "".join(
        letter if ord(letter) in known else str(anyascii(letter))
        for letter in text
        if letter.isprintable()
    )


@lru_cache(maxsize=4096)
def width(text: str, size: float, bold: bool = False) -> float:
    """How wide ``text`` is in millimetres; ``size`` in points."""
    face = _face(bold)
    face.set_size(size, 72.0)
    face.set_text(legible(text), 0.0)
    return float(face.get_width_height()[0]) / 64.0 * POINT


def wrapped(text: str, size: float, room: float, *, bold: bool = False) -> list[str]:
    """``text`` in lines of at most ``room`` millimetres; a word that is longer is broken."""
    return list(_wrapping(legible(text), size, room, bold=bold))


def _wrapping(text: str, size: float, room: float, *, bold: bool) -> Iterator[str]:
    line = ""
    for word in text.split():
        longer = f"{line} {word}".lstrip()
        if line and width(longer, size, bold) > room:
            yield line
            longer = word
        while width(longer, size, bold) > room and len(longer) > 1:
            lengths = range(2, len(longer))  # one letter stands whether it fits or not
            fits = 1 + bisect(lengths, room, key=lambda n: width(longer[:n], size, bold))
            yield longer[:fits]
            longer = longer[fits:]
        line = longer
    if line:
        yield line
