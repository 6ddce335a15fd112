"""Simulated classes of 30: the order of skills is that of the scores, the common fault is found.

The skills of a class lie evenly between a beginner's and a professional's; three quarters of it
have one fault in common. Spearman's rank correlation of skill and score, by scipy.
"""

from collections.abc import Iterator

from tests.helpers.classes import PlayedClass, played_class
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 20, 2

SIZE = 30

LEAST = 0.9


def _class(seed: int) -> PlayedClass:
    return played_class(seed=seed, size=SIZE)


def tables(options: Options) -> Iterator[Table]:
    """A row for each class."""
    table = Table(
        f"classes of {SIZE}", ("class", "rank correlation", "common fault", "players with it")
    )
    seeds = range(options.seed, options.seed + options.count)
    for seed, found in zip(seeds, options.map(_class, seeds), strict=True):
        fault = found.common
        told = "none" if fault is None else f"item {fault.item + 1} {fault.code} {fault.voice}"
        place = "" if fault is None or not fault.places else f" on {fault.places[0][1]}"
        holds = found.rank_correlation >= LEAST and found.is_found
        table.row(seed, found.rank_correlation, told + place, found.players_with_it, holds=holds)
    yield table
