"""Loudness bands from the player's own strokes: ghost notes, normal strokes, accents.

The border between two neighbouring dynamics of a voice lies half-way, in velocity, between what
most of the softer strokes stay under (their 90th percentile) and what most of the louder ones
exceed (their 10th percentile). Where the two overlap, the pad cannot tell them apart and the
border is in the middle of the overlap.

How well two dynamics can be told from one another is measured three ways: the share of strokes on
the wrong side of their border; the share of pairs in which the stroke meant to be softer is not
(Mann and Whitney's U over n m, Annals of Mathematical Statistics 18(1), 1947), which needs no
border; and how far the medians of their levels lie apart in dB.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import DEFAULT_BANDS, Band, Bands, level_db
from playalong.pattern.model import Dynamic

#: The next softer and the next louder dynamic.
_NEIGHBOURS = {
    Dynamic.GHOST: {Dynamic.NORMAL},
    Dynamic.NORMAL: {Dynamic.GHOST, Dynamic.ACCENT},
    Dynamic.ACCENT: {Dynamic.NORMAL},
}

SOURCE = "the player's own strokes"

Strokes = Mapping[str, Mapping[Dynamic, Sequence[float]]]

#: Two dynamics are clearly apart where at most this share of pairs is the other way round, and
#: their medians lie at least so far apart (our own choice). People who strike a pad eight times
#: scatter by 3 to 6 dB (Groove MIDI Dataset, Gillick et al., ICML 2019: strokes at one place), and
#: neighbouring dynamics of theirs lie 9 to 15 dB apart: of such pairs an eighth is confused.
MOST_CONFUSED = 0.25
LEAST_DB = 3.0


@dataclass(frozen=True, slots=True)
class Apart:
    """How well two neighbouring dynamics can be told from one another.

    ``wrong_side``: share of all strokes beyond the border (0 to 1), one on it counting half;
    ``confused``: share of pairs of a softer and a louder stroke that are the other way round (0 to
    1), a tie counting half; ``gap_db``: the louder median level less the softer one.
    """

    wrong_side: float
    confused: float
    gap_db: float

    @property
    def is_clear(self) -> bool:
        """Whether grading may rely on the border."""
        return self.confused <= MOST_CONFUSED and self.gap_db >= LEAST_DB


def border_of(softer: Sequence[float], louder: Sequence[float]) -> float:
    """The velocity between two neighbouring dynamics, from velocities (1 to 127) of both."""
    return float(np.percentile(softer, 90) + np.percentile(louder, 10)) / 2.0


def apart(softer: Sequence[float], louder: Sequence[float]) -> Apart:
    """How well two dynamics are apart, from velocities (1 to 127), at least one of each."""
    soft, loud = np.asarray(softer, np.float64), np.asarray(louder, np.float64)
    border = border_of(softer, louder)
    wrong = _share_above(soft - border) * len(soft) + _share_above(border - loud) * len(loud)
    return Apart(
        wrong_side=wrong / (len(soft) + len(loud)),
        confused=_share_above(soft[:, None] - loud),
        gap_db=float(np.median(level_db(loud)) - np.median(level_db(soft))),
    )


def bands_of(strokes: Strokes) -> Bands:
    """The bands of every voice in ``strokes``: (voice, dynamic) to velocities, 1 to 127.

    A voice may leave dynamics out; its bands then reach to those that are there, and a dynamic has
    one only where the next softer and the next louder one are there: how loud a normal stroke may
    be is not known before there were accents.
    """
    found: dict[tuple[str, Dynamic], Band] = {}
    for voice, groups in strokes.items():
        there = [dynamic for dynamic in Dynamic if len(groups.get(dynamic, ()))]
        if not there:
            continue
        # In order even where the strokes are not, so that no band is turned inside out.
        borders = sorted(border_of(groups[soft], groups[loud]) for soft, loud in pairwise(there))
        for dynamic, (low, high) in zip(there, pairwise([1.0, *borders, 127.0]), strict=True):
            if _NEIGHBOURS[dynamic].issubset(there):
                found[voice, dynamic] = Band(low, high)
    return Bands(DEFAULT_BANDS.default, found, SOURCE)


def _share_above(differences: NDArray[np.float64]) -> float:
    """The share of differences that are above 0, one of 0 counting half."""
    return float(np.mean((np.sign(differences) + 1.0) / 2.0))
