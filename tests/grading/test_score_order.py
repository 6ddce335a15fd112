"""The order of scores that a teacher would sign: one professional's take, fault after fault.

Means over five seeds and two grooves, at the default level; ``tests.long order`` prints them.
"""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from tests.helpers.fault_order import (
    GROOVES,
    ORDER,
    SEEDS,
    beginner_and_streams,
    plain_score,
    takes,
)
from tests.helpers.grooves import grooves


@cache
def means() -> dict[str, float]:
    """The mean score of each kind of take."""
    found: dict[str, list[float]] = {what: [] for what in ORDER}
    for name in GROOVES:
        for seed in range(SEEDS):
            for what, (_, targets, hits) in takes(name, seed).items():
                found[what].append(plain_score(targets, hits))
    return {what: float(np.mean(scores)) for what, scores in found.items()}


@pytest.mark.parametrize(("better", "worse"), list(pairwise(ORDER)))
def test_each_fault_scores_less_than_the_one_before(better, worse):
    assert means()[better] > means()[worse]


def test_a_faultless_take_is_100():
    assert means()["faultless"] == 100.0


def test_ghost_notes_as_loud_as_back_beats_cost_a_quarter():
    cost = means()["the professional as he is"] - means()["ghost notes as loud as back-beats"]
    assert cost >= 25.0


@pytest.mark.parametrize("name", sorted({*list(grooves())[::4], "kettle-lid"}))
def test_no_stream_earns_half_of_what_a_beginner_earns(name):
    """On one pad or on all of them; ``tests.long order`` does it for every pattern."""
    beginner, streams = beginner_and_streams(name, (4, 8, 16))
    best = max(streams, key=lambda what: streams[what])
    assert streams[best] < beginner / 2.0, best
