"""The look: every colour number, every size of type, and how both follow the window.

Lengths are given in units; a unit is a pixel in a window of 1280 x 720, and every window has at
least so many units across and down (less where larger writing is chosen). So a page that finds
its place there finds it anywhere, and what can be read from two metres on one screen can be read
on another of the same size.

Sizes follow from reading at two metres on a 14-inch screen of 16:9 (310 mm wide): there a unit is
0.242 mm, 24 units are 10 minutes of arc, and 12 units are 5, the size of a letter that good eyes
just read (ISO 8596). A capital letter is 0.73 of its size of type.
"""

from dataclasses import dataclass
from pathlib import Path

from playalong.screen.base.fonts import Colour, Letters

#: Sizes of type in units, from the least there is to the largest.
SMALL, BODY, LABEL, TITLE, COUNT, ADVICE, SCORE = 17, 20, 22, 30, 33, 33, 120

#: The window, in pixels, in which a unit is a pixel, and the growth of larger writing.
_WIDTH, _HEIGHT = 1280, 720
_LARGER = 1.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Colours:
    """The colours of a sheet, each (red, green, blue), 0 to 255.

    ``off`` is the one colour for what is off; everything else is paper, ink, or between them.
    ``line`` only parts things; whatever must be seen is drawn in ``rule`` or stronger.
    """

    paper: Colour
    row: Colour
    line: Colour
    rule: Colour
    quiet: Colour
    ink: Colour
    off: Colour
    ahead: Colour
    ahead_edge: Colour
    answered: Colour
    band: Colour


LIGHT = Colours(
    paper=(246, 241, 233),
    row=(239, 235, 224),
    line=(222, 215, 200),
    rule=(122, 115, 102),
    quiet=(100, 94, 83),
    ink=(33, 36, 42),
    off=(178, 50, 20),
    ahead=(201, 211, 224),
    ahead_edge=(72, 100, 138),
    answered=(232, 228, 218),
    band=(228, 222, 209),
)

DARK = Colours(
    paper=(27, 26, 24),
    row=(36, 35, 32),
    line=(60, 57, 51),
    rule=(132, 125, 113),
    quiet=(178, 170, 157),
    ink=(240, 234, 222),
    off=(255, 130, 88),
    ahead=(58, 72, 88),
    ahead_edge=(140, 164, 190),
    answered=(48, 46, 42),
    band=(54, 51, 46),
)

STRONG_LIGHT = Colours(
    paper=(255, 255, 255),
    row=(255, 255, 255),
    line=(160, 160, 160),
    rule=(60, 60, 60),
    quiet=(40, 40, 40),
    ink=(0, 0, 0),
    off=(176, 0, 0),
    ahead=(176, 208, 255),
    ahead_edge=(0, 40, 120),
    answered=(255, 255, 255),
    band=(224, 224, 224),
)

STRONG_DARK = Colours(
    paper=(0, 0, 0),
    row=(0, 0, 0),
    line=(110, 110, 110),
    rule=(200, 200, 200),
    quiet=(225, 225, 225),
    ink=(255, 255, 255),
    off=(255, 150, 90),
    ahead=(0, 60, 140),
    ahead_edge=(150, 200, 255),
    answered=(0, 0, 0),
    band=(52, 52, 52),
)

#: The colours by (dark, strong).
PALETTES = {
    (False, False): LIGHT,
    (True, False): DARK,
    (False, True): STRONG_LIGHT,
    (True, True): STRONG_DARK,
}


@dataclass(frozen=True, kw_only=True)
class Theme:
    """Colours, letters, and the size of the sheet; with ``still`` nothing moves that need not."""

    colours: Colours
    letters: Letters
    large: bool = False
    still: bool = False

    @classmethod
    def load(
        cls,
        fonts: Path,
        dark: bool = False,
        large: bool = False,
        *,
        strong: bool = False,
        still: bool = False,
    ) -> "Theme":
        """The light or the dark sheet, with the letters in the folder ``fonts``."""
        letters = Letters(fonts / "DejaVuSans.ttf", fonts / "DejaVuSans-Bold.ttf")
        return cls(colours=PALETTES[dark, strong], letters=letters, large=large, still=still)

    def unit(self, size: tuple[int, int]) -> float:
        """The length of a unit in pixels in a window of ``size`` (width, height) pixels."""
        larger = _LARGER if self.large else 1.0
        return min(size[0] / _WIDTH, size[1] / _HEIGHT) * larger
