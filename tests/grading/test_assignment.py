"""Exact answers in small groups, against scipy.optimize.linear_sum_assignment."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.grading.matching.assignment import align, pair
from tests.helpers.exact_takes import law

from .making import best_assignment

Strokes = list[tuple[int, int, int]]


@st.composite
def rows_in_order(draw: st.DrawFn) -> tuple[Strokes, list[int]]:
    """Strokes whose windows never go back, and sorted hits; small numbers make many ties."""
    size = draw(st.integers(0, 7))
    number = st.integers(0, 16)
    starts = sorted(draw(st.lists(number, min_size=size, max_size=size)))
    lengths = draw(st.lists(st.integers(0, 6), min_size=size, max_size=size))
    ends = np.maximum.accumulate(np.add(starts, lengths)).tolist() if size else []
    strokes = []
    for start, end in zip(starts, ends, strict=True):
        strokes.append((draw(st.integers(start, end)), start, end))
    times = sorted(time for time, _, _ in strokes)
    strokes = [
        (min(max(time, start), end), start, end)
        for time, (_, start, end) in zip(times, strokes, strict=True)
    ]
    return strokes, sorted(draw(st.lists(number, max_size=9)))


@law(700)
@given(rows_in_order())
def test_align_is_the_optimum(case: tuple[Strokes, list[int]]) -> None:
    strokes, hits = case
    answers = align(strokes, hits)
    taken = [choice for choice in answers if choice is not None]
    assert len(answers) == len(strokes)
    assert len(set(taken)) == len(taken)
    assert taken == sorted(taken)  # it never crosses
    distance = 0
    for (time, start, end), choice in zip(strokes, answers, strict=True):
        if choice is not None:
            assert start <= hits[choice] <= end
            distance += abs(hits[choice] - time)
    costs = [
        {j: abs(hit - time) for j, hit in enumerate(hits) if start <= hit <= end}
        for time, start, end in strokes
    ]
    assert (len(taken), distance) == best_assignment(costs, len(hits))


@law(700)
@given(st.lists(st.dictionaries(st.integers(0, 6), st.integers(0, 9), max_size=7), max_size=8))
def test_pair_is_the_optimum(costs: list[dict[int, int]]) -> None:
    answers = pair(costs)
    taken = [column for column in answers if column is not None]
    assert len(answers) == len(costs)
    assert len(set(taken)) == len(taken)
    distance = sum(
        row[column] for row, column in zip(costs, answers, strict=True) if column is not None
    )
    assert (len(taken), distance) == best_assignment(costs, 7)


def test_pair_crosses_where_only_that_gives_two() -> None:
    # The first row reaches both columns, the second only the first row's nearest.
    assert pair([{0: 1, 1: 9}, {0: 5}]) == [1, 0]


def test_more_pairs_come_before_less_distance() -> None:
    assert align([(0, -100, 10), (10, -10, 100)], [10, 100]) == [0, 1]
    assert pair([{0: 0, 1: 90}, {0: 80}]) == [1, 0]


@pytest.mark.parametrize(
    ("strokes", "hits", "expected"),
    [
        ([], [], []),
        ([], [3], []),
        ([(3, 0, 6)], [], [None]),
        ([(3, 0, 6)], [7], [None]),
        ([(3, 0, 6)], [6], [0]),
        ([(3, 0, 6)], [1, 5], [0]),  # equally far: the earlier one
        ([(3, 0, 6)], [3, 3], [0]),
    ],
)
def test_align_at_its_edges(strokes: Strokes, hits: list[int], expected: list[int | None]) -> None:
    assert align(strokes, hits) == expected


def test_pair_of_nothing() -> None:
    assert pair([]) == []
    assert pair([{}, {}]) == [None, None]
