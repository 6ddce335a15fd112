"""The order of scores: one professional's take with one fault after the other in it.

Two grooves of 16 bars, five seeds (or more), the default level: the mean score falls from each to
the next, and ghost notes as loud as back-beats cost at least 25 points. With every pattern: streams
on one pad or on all earn less than half of what the beginner earns.
"""

from collections.abc import Iterator

import numpy as np

from tests.helpers.fault_order import GROOVES, ORDER, SEEDS, beginner_and_streams, takes
from tests.helpers.grooves import grooves
from tests.helpers.told import codes, graded
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = SEEDS, 2


def scores(item: tuple[str, int]) -> dict[str, tuple[float, str]]:
    """The score of every take of one groove and seed, and what is said first."""
    found = {}
    for what, (pattern, targets, hits) in takes(*item).items():
        grade = graded(pattern, targets, hits)
        found[what] = grade.score.total, codes(grade)[0]
    return found


def streams(name: str) -> tuple[str, float, str, float]:
    """A pattern, what a beginner earns with it, and the best of all streams."""
    beginner, earned = beginner_and_streams(name, (1, 2, 4, 8, 12, 16, 24, 32))
    best = max(earned, key=lambda what: earned[what])
    return name, beginner, best, earned[best]


def tables(options: Options) -> Iterator[Table]:
    """The order, and the bounds."""
    items = [(name, seed) for name in GROOVES for seed in range(options.count)]
    found = list(options.map(scores, items))
    table = Table(
        "the order of scores", ("take", "mean", *GROOVES, "lowest", "highest", "said first")
    )
    means = {what: float(np.mean([one[what][0] for one in found])) for what in found[0]}
    before = None
    for what in ORDER:
        own = [one[what][0] for one in found]
        by_groove = [
            float(
                np.mean(
                    [
                        one[what][0]
                        for one, item in zip(found, items, strict=True)
                        if item[0] == name
                    ]
                )
            )
            for name in GROOVES
        ]
        said = sorted({one[what][1] for one in found})
        holds = None if before is None else means[what] < before
        table.row(what, means[what], *by_groove, min(own), max(own), " ".join(said), holds=holds)
        before = means[what]
    yield table
    bounds = Table("bounds", ("what", "must", "is"))
    bounds.row("faultless", "100", means["faultless"], holds=means["faultless"] == 100.0)
    cost = means["the professional as he is"] - means["ghost notes as loud as back-beats"]
    bounds.row("ghost notes as loud as back-beats cost", ">= 25", cost, holds=cost >= 25.0)
    yield bounds
    every = Table("streams, pattern by pattern", ("pattern", "beginner", "best stream", "earns"))
    for name, beginner, best, earned in options.map(streams, list(grooves())):
        every.row(name, beginner, best, earned, holds=earned < beginner / 2.0)
    yield every
