"""The order of scores that a teacher would sign: one professional's take, fault after fault.

Means over five seeds and two grooves, at the default level; ``tests.long order`` prints them.
"""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from tests.support.fault_order import GROOVES, ORDER, PADS, SEEDS, stream, takes
from tests.support.faults import Scene
from tests.support.played import Played
from tests.support.told import graded


@cache
def means() -> dict[str, float]:
    """The mean score of each kind of take."""
    found: dict[str, list[float]] = {what: [] for what in ORDER}
    for name in GROOVES:
        for seed in range(SEEDS):
            for what, (pattern, targets, hits) in takes(name, seed).items():
                found[what].append(graded(pattern, targets, hits).score.total)
    return {what: float(np.mean(scores)) for what, scores in found.items()}


@pytest.mark.parametrize(("better", "worse"), list(pairwise(ORDER)))
def test_each_fault_scores_less_than_the_one_before(better, worse):
    assert means()[better] > means()[worse]


def test_a_faultless_take_is_100():
    assert means()["faultless"] == 100.0


def test_ghost_notes_as_loud_as_back_beats_cost_a_quarter():
    cost = means()["the professional as he is"] - means()["ghost notes as loud as back-beats"]
    assert cost >= 25.0


@pytest.mark.parametrize("name", GROOVES)
def test_no_stream_earns_half_of_what_a_beginner_earns(name):
    pattern, targets, _ = takes(name, 0)["faultless"]
    scene = Scene(
        pattern=pattern,
        played=Played.of(targets, takes(name, 0)["one note"][2]),
        chance=np.random.default_rng(1),
    )
    for parts in (4, 8, 12, 16, 24, 32):
        for pads in (*((pad,) for pad in PADS), PADS):
            hits = stream(parts, pads)(scene)
            assert graded(pattern, targets, hits).score.total < means()["beginner"] / 2.0
