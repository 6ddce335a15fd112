"""Loudness bands from the player's own strokes: some soft, some ordinary, some strong ones.

The border between two neighbouring dynamics of a voice lies half-way, in velocity, between what
most of the softer strokes stay under (their 90th percentile) and what most of the louder ones
exceed (their 10th percentile). Where the two overlap, the pad cannot tell them apart and the
border is in the middle of the overlap.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np

from playalong.grading.loudness import DEFAULT_BANDS, Band, Bands
from playalong.pattern.model import Dynamic

SOURCE = "the player's own strokes"

Strokes = Mapping[str, Mapping[Dynamic, Sequence[float]]]


def bands_of(strokes: Strokes) -> Bands:
    """The bands of every voice in ``strokes``: (voice, dynamic) to velocities, 1 to 127.

    A voice may leave dynamics out; its bands then reach to those that are there.
    """
    found: dict[tuple[str, Dynamic], Band] = {}
    for voice, groups in strokes.items():
        there = [dynamic for dynamic in Dynamic if len(groups.get(dynamic, ()))]
        borders = [
            float(np.percentile(groups[soft], 90) + np.percentile(groups[loud], 10)) / 2.0
            for soft, loud in pairwise(there)
        ]
        for dynamic, (low, high) in zip(there, pairwise([1.0, *borders, 127.0]), strict=True):
            found[voice, dynamic] = Band(low, high)
    return Bands(DEFAULT_BANDS.default, found, SOURCE)
