"""The look: every colour number, every size of type, and how both follow the window.

Lengths are given in units; a unit is the 720th part of the window's height (less in a narrow
window, more where a larger sheet is chosen). So what can be read from two metres on one screen
can be read on another of the same height.
"""

from dataclasses import dataclass
from pathlib import Path

from playalong.screen.base.fonts import Colour, Letters

#: Sizes of type in units.
SMALL, BODY, LABEL, COUNT, ADVICE, TITLE, SCORE = 13, 15, 17, 20, 23, 25, 80

#: The window, in pixels, in which a unit is a pixel, and the growth of the larger sheet.
_WIDTH, _HEIGHT = 1180, 720
_LARGER = 1.25


@dataclass(frozen=True, slots=True)
class Colours:
    """The colours of a sheet, each (red, green, blue), 0 to 255.

    ``off`` is the one colour for what is off; everything else is paper, ink, or between them.
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
    paper=(247, 243, 234),
    row=(241, 236, 225),
    line=(226, 219, 204),
    rule=(150, 143, 130),
    quiet=(112, 105, 93),
    ink=(34, 37, 43),
    off=(192, 58, 22),
    ahead=(201, 211, 222),
    ahead_edge=(92, 112, 132),
    answered=(234, 231, 223),
    band=(232, 227, 216),
)

DARK = Colours(
    paper=(27, 26, 24),
    row=(36, 35, 32),
    line=(56, 53, 48),
    rule=(112, 106, 96),
    quiet=(168, 160, 147),
    ink=(240, 234, 222),
    off=(255, 124, 78),
    ahead=(58, 72, 88),
    ahead_edge=(134, 156, 180),
    answered=(48, 46, 42),
    band=(50, 48, 44),
)


@dataclass(frozen=True)
class Theme:
    """Colours, letters, and the size of the sheet."""

    colours: Colours
    letters: Letters
    large: bool = False

    @classmethod
    def load(cls, fonts: Path, dark: bool = False, large: bool = False) -> "Theme":
        """The light or the dark sheet, with the letters in the folder ``fonts``."""
        letters = Letters(fonts / "DejaVuSans.ttf", fonts / "DejaVuSans-Bold.ttf")
        return cls(DARK if dark else LIGHT, letters, large)

    def unit(self, size: tuple[int, int]) -> float:
        """The length of a unit in pixels in a window of ``size`` (width, height) pixels."""
        larger = _LARGER if self.large else 1.0
        return min(size[0] / _WIDTH, size[1] / _HEIGHT) * larger
