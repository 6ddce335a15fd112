"""The order of scores: one professional's take with one fault after the other in it.

Two grooves of 16 bars, five seeds (or more), the default level: the mean score falls from each to
the next. Besides: streams on one pad or on all earn less than half of what the beginner earns, and
ghost notes as loud as back-beats cost at least 25 points.
"""

from collections.abc import Iterator

import numpy as np

from tests.long.frame import Options, Table
from tests.support.fault_order import GROOVES, ORDER, PADS, SEEDS, stream, takes
from tests.support.faults import Scene
from tests.support.played import Played
from tests.support.told import codes, graded

FULL_COUNT, SAMPLE_COUNT = SEEDS, 2


def scores(item: tuple[str, int]) -> dict[str, tuple[float, str]]:
    """The score of every take of one groove and seed, and what is said first."""
    found = {}
    for what, (pattern, targets, hits) in takes(*item).items():
        grade = graded(pattern, targets, hits)
        found[what] = grade.score.total, codes(grade)[0]
    pattern, targets, _ = takes(*item)["faultless"]
    empty = Played.of(targets, takes(*item)["one note"][2])
    for pad in PADS:
        for parts in (4, 8, 16):
            scene = Scene(pattern=pattern, played=empty, chance=np.random.default_rng(1))
            grade = graded(pattern, targets, stream(parts, (pad,))(scene))
            found[f"{pad}, {parts}"] = grade.score.total, codes(grade)[0]
    return found


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
    half = means["beginner"] / 2.0
    streams = {what: mean for what, mean in means.items() if what not in ORDER}
    streams |= {what: means[what] for what in ("eighths on all pads", "sixteenths on all pads")}
    worst = max(streams, key=lambda what: streams[what])
    bounds.row(
        f"the best stream ({worst})", f"< {half:.3g}", streams[worst], holds=streams[worst] < half
    )
    yield bounds
