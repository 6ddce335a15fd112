"""Extra hits that come again at one place of the bar are found as by comparing each with each."""

import tracemalloc

import numpy as np
import pytest

from playalong.grading.findings.missing import _SAME_S, _gathered


def each_with_each(
    into_s: np.ndarray, length_s: float, bar: np.ndarray, *, least: float
) -> set[int]:
    apart_s = np.abs(into_s[:, None] - into_s[None, :])
    near = np.minimum(apart_s, length_s - apart_s) <= _SAME_S
    bars = np.array([len(set(bar[row].tolist())) for row in near])
    return set(np.flatnonzero(near[bars >= least].any(axis=0)).tolist())


@pytest.mark.parametrize("seed", range(20))
def test_as_by_comparing_each_with_each(seed: int):
    chance = np.random.default_rng(seed)
    count = int(chance.integers(3, 200))
    bar = np.sort(chance.integers(0, 20, count))
    into_s = np.where(
        chance.random(count) < 0.3,
        np.mod(chance.normal(0.0, 0.02, count), 2.0),  # about the bar line
        chance.uniform(0.0, 2.0, count),
    )
    least = float(chance.integers(3, 8))
    inside, _ = _gathered(into_s, np.full(count, 2.0), bar, least=least)
    assert set(inside.tolist()) == each_with_each(into_s, 2.0, bar, least=least)


def test_the_middle_of_a_place_at_the_bar_line_is_at_the_bar_line():
    into_s = np.array([0.01, 1.99, 0.02, 1.98, 0.0])
    inside, at_s = _gathered(into_s, np.full(5, 2.0), np.arange(5), least=3)
    assert len(inside) == 5
    assert at_s == pytest.approx(0.0, abs=1e-9)


def test_memory_grows_with_the_hits_and_not_with_their_square():
    count = 5_000
    bar = np.repeat(np.arange(count // 10), 10)
    into_s = np.tile(np.linspace(0.0, 1.9, 10), count // 10)
    tracemalloc.start()
    inside, _ = _gathered(into_s, np.full(count, 2.0), bar, least=3)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(inside) == count
    assert most < 20_000_000  # each with each, a byte for each pair: 25,000,000
