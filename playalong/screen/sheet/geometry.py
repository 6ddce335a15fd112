"""Where things lie on the sheet: time from left to right, voices in rows, loudness as height.

Along the time axis a pixel has a number, 0 at the start of bar 1; the sheet scrolls by showing
other numbers. Down the sheet, 0 is its upper edge.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10

import pygame

from playalong.grading.loudness import Band, level_db
from playalong.pattern.model import Hand
from playalong.screen.base.pen import Pen, area

#: The velocity at the bottom of a row: softer hits lie there too.
SOFTEST = 8.0
_SOFTEST_DB = level_db(SOFTEST)

#: How much of the sheet a row takes. A voice that is not here takes 1.
_WEIGHTS = {"snare": 1.8, "kick": 1.8, "hi-hat": 1.4, "ride": 1.4}

#: Room between rows in units, more of it where the hands stand under the strokes, and the least
#: height of a box: 10 minutes of arc at two metres (see ``base.theme``).
GAP, HANDS, LEAST_BOX = 10, 17, 24

#: How thick the bar is that shows how long a roll lasts, in units.
ROLL = 3

#: The radius of a dot or ring, and half the height of a cross, in units.
DOT, CROSS = 6, 12

#: Where the sheet stands still: what is seen before a page of it, and how wide that is, in parts
#: of the width.
_STILL_LEAD, _STILL_PAGE = 0.1, 0.7

#: The size of the letters for the hands, in units.
HAND_LETTER = 17


def height(level: float) -> float:
    """The height of a level in dB inside a row: 0 at the bottom, 1 at velocity 127.

    Squared, because the bands of strong strokes are narrow in dB: an accent's box stays large
    enough for the marks of its hits.
    """
    return min(1.0, max(0.0, 1.0 - level / _SOFTEST_DB)) ** 2


def height_of(velocity: float) -> float:
    """The height of a velocity (1 to 127) inside a row."""
    # The curve of ``level_db``; through numpy it would take too long for every hit.
    return height(40.0 * log10(velocity / 127.0))


@dataclass(frozen=True, slots=True)
class Row:
    """The row of one voice, from pixel ``top`` down to pixel ``bottom``."""

    voice: str
    top: int
    bottom: int

    def y(self, height: float) -> int:
        """The pixel at ``height`` (0 to 1) inside the row."""
        return round(self.bottom - height * (self.bottom - self.top))

    def span(self, band: Band, least: int = 4) -> tuple[int, int]:
        """The upper and lower pixel of a band of velocities, ``least`` pixels high where the row
        has them.
        """
        top, bottom = self.y(height_of(band.high)), self.y(height_of(band.low))
        tall = min(least, self.bottom - self.top)
        if bottom - top >= tall:
            return top, bottom
        middle = (top + bottom - tall) // 2  # it grows to both sides, and stays in its row
        top = min(max(self.top, middle), self.bottom - tall)
        return top, top + tall


def rows(
    voices: Sequence[str],
    top: float,
    bottom: float,
    *,
    gap: float,
    even: bool = False,
    least: float = 0.0,
) -> dict[str, Row]:
    """A row for each voice between two pixels, with ``gap`` pixels between rows.

    Where there are so many rows that little would be left of them, the gaps are smaller. All rows
    are of one height where they are to be ``even``, or where one would have less than ``least``.
    """
    gap = min(gap, (bottom - top) / (2 * len(voices)))
    weights = [1.0 if even else _WEIGHTS.get(voice, 1.0) for voice in voices]
    per_weight = (bottom - top - gap * (len(voices) - 1)) / sum(weights)
    if per_weight * min(weights) < least:
        weights = [1.0] * len(voices)
        per_weight = (bottom - top - gap * (len(voices) - 1)) / len(voices)
    found, y = {}, top
    for voice, weight in zip(voices, weights, strict=True):
        found[voice] = Row(voice, round(y), round(y + weight * per_weight))
        y += weight * per_weight + gap
    return found


def draw_hand(pen: Pen, hand: Hand, at: tuple[float, float], *, left_handed: bool) -> None:
    """Write which hand plays under the foot of a row, ``at`` in pixels."""
    letter, tall = hand.of(left_handed), pen.capital(HAND_LETTER)
    wide, top = pen.width(letter, HAND_LETTER) + pen.px(4), at[1] + pen.px(3)
    # The line of the count would go through it.
    pen.fill(
        area(left=at[0] - wide / 2, top=top, right=at[0] + wide / 2, bottom=top + tall),
        pen.colours.paper,
    )
    pen.text(letter, HAND_LETTER, (at[0], top + tall), align=0.5)


@dataclass(frozen=True, kw_only=True)
class Geometry:
    """The sheet for one run and one size of window.

    ``origin_s`` is the time of pixel 0; ``now`` how many pixels the now-line lies from the left
    edge of what is shown.
    """

    now: int
    px_per_s: float
    origin_s: float
    rows: dict[str, Row]

    def x(self, time_s: float) -> int:
        """The pixel of a time in seconds."""
        return round((time_s - self.origin_s) * self.px_per_s)

    def time_s(self, x: int) -> float:
        """The time of a pixel in seconds."""
        return self.origin_s + x / self.px_per_s

    def left(self, now_s: float) -> int:
        """The pixel at the left edge of the sheet at ``now_s``."""
        return self.x(now_s) - self.now

    def still_left(self, now_s: float, width: int) -> int:
        """The same where the sheet stands still and the now-line moves over it, page by page.

        A page of the paper is so wide that a little of it is seen before and after.
        """
        lead, page = round(_STILL_LEAD * width), round(_STILL_PAGE * width)
        return (self.x(now_s) // page) * page - lead

    def box(self, time_s: float, tolerance_s: float, span: tuple[int, int]) -> pygame.Rect:
        """The box of a target: as wide as its tolerance, from ``span``'s upper to lower pixel.

        Its first and last columns are the pixels of hits that are just on time.
        """
        left, right = self.x(time_s - tolerance_s), self.x(time_s + tolerance_s)
        return pygame.Rect(left, span[0], right - left + 1, span[1] - span[0] + 1)


def nearest(box: pygame.Rect, at: tuple[int, int]) -> tuple[int, int]:
    """The pixel of ``box`` that is nearest to ``at``."""
    x = min(max(at[0], box.left), box.right - 1)
    y = min(max(at[1], box.top), box.bottom - 1)
    return x, y
