"""What stands on a page: outlines and words, in millimetres, y down.

A ``Piece`` is a line of music, engraved or drawn on the grid: both are laid out alike.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
from matplotlib.path import Path
from numpy.typing import NDArray

#: (bar, position in it in whole notes); the end of the last bar is the start of the next.
Place = tuple[int, Fraction]


def corners(path: Path) -> NDArray[np.float64]:
    """The points of a path: shape (n, 2), x and y."""
    return np.asarray(path.vertices, dtype=float)


@dataclass(frozen=True, slots=True)
class Outline:
    """A shape in ink: filled, or a line ``width`` wide. ``is_quiet``: in grey."""

    path: Path
    width: float = 0.0
    is_quiet: bool = False

    def moved(self, x: float, y: float) -> "Outline":
        """The same, so far to the right and down."""
        path = Path(corners(self.path) + np.array([x, y]), self.path.codes)
        return Outline(path, self.width, self.is_quiet)


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Words on the baseline ``y``; ``align`` 0 begins at ``x``, 1 ends there. Size in points."""

    x: float
    y: float
    text: str
    size: float
    bold: bool = False
    is_quiet: bool = False
    align: float = 0.0

    def moved(self, x: float, y: float) -> "Words":
        """The same, so far to the right and down."""
        return replace(self, x=self.x + x, y=self.y + y)


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A line of music, from ``top`` to ``bottom`` and ``width`` wide.

    ``under`` stands below it, y counted from its lower edge, and reaches ``depth`` down. ``x_of``
    tells where places of its bars stand: where a note or a rest is, and the bar lines.
    """

    width: float
    top: float
    bottom: float
    outlines: Sequence[Outline]
    words: Sequence[Words] = ()
    under: Sequence[Words] = ()
    depth: float = 0.0
    x_of: Mapping[Place, float] = field(default_factory=dict)

    @property
    def height(self) -> float:
        """From its upper edge to the end of what stands below it."""
        return self.bottom - self.top + self.depth

    def x_at(self, place: Place, lengths: Mapping[int, Fraction]) -> float | None:
        """Where a place stands, between its neighbours where nothing is written on it.

        ``lengths`` are those of the bars; None where its bar is not in this piece.
        """
        bar, at = place
        known = sorted(
            [(of[1], x) for of, x in self.x_of.items() if of[0] == bar]
            + [(lengths[bar], x) for of, x in self.x_of.items() if of == (bar + 1, _END)]
        )
        if not known or known[0][0] > at:
            return None
        for (before, x), (after, next_x) in pairwise(known):
            if before <= at < after:
                return x + (next_x - x) * float((at - before) / (after - before))
        return known[-1][1] if known[-1][0] == at else None


#: Where the line at the end of a bar stands: a place before the first of the next.
_END = Fraction(-1)


def end_of(bar: int) -> Place:
    """The place of the line that ends a bar."""
    return bar + 1, _END


def line(points: Sequence[tuple[float, float]], width: float, *, is_quiet: bool = False) -> Outline:
    """A line through points."""
    return Outline(Path(np.array(points, dtype=float)), width, is_quiet)


def box(left: float, top: float, *, width: float, height: float) -> Path:
    """A rectangle."""
    right, bottom = left + width, top + height
    corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
    return Path(
        np.array(corners), [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY]
    )
