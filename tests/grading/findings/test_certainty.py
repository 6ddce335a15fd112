"""What is called certain: against scipy, and against chance whose truth is known."""

import numpy as np
import pytest
from scipy import stats

from playalong.grading.findings.certainty import LASTING, again, at_least, returns


@pytest.mark.parametrize(("n", "of", "chance"), [(0, 8, 0.1), (3, 8, 0.05), (7, 16, 0.125)])
def test_how_likely_so_many_or_more_are(n: int, of: int, chance: float) -> None:
    """``scipy.stats.binom.sf``."""
    assert at_least(n, of, chance=chance) == pytest.approx(stats.binom.sf(n - 1, of, chance))


def test_what_never_comes_and_what_always_does() -> None:
    assert at_least(1, 8, chance=0.0) == 0.0
    assert at_least(9, 8, chance=0.5) == 0.0
    assert at_least(8, 8, chance=1.0) == 1.0


def test_habits_return_as_often_as_is_promised() -> None:
    """Places that lie aside as drummers' do, seen through strokes that scatter and change from one
    half to the other: of those that are promised to return in so many of a hundred, so many do."""
    chance = np.random.default_rng(1)
    usual, spread, error = -4.0, 8.0, 5.0
    # Some lie far aside, as of Student's t with 3 degrees of freedom.
    true = usual + spread * chance.standard_t(3.0, 40_000) * 0.75
    changed = 1.25 * error
    seen, other = (true + changed * chance.standard_normal(len(true)) for _ in range(2))
    promised = np.array([returns(x, error, usual=usual, spread=spread) for x in seen.tolist()])
    back = (seen * other > 0.0) & (np.abs(other) >= LASTING * np.abs(seen))
    for low, high in ((0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.0)):
        told = (promised >= low) & (promised < high)
        assert told.sum() > 500
        assert np.mean(back[told]) == pytest.approx(np.mean(promised[told]), abs=0.06)


def test_what_one_of_many_shows_is_drawn_to_the_usual_and_what_is_far_away_less_so() -> None:
    near, _ = again(6.0, 6.0, usual=0.0, spread=8.0)
    far, _ = again(60.0, 6.0, usual=0.0, spread=8.0)
    assert 2.0 < near < 4.0
    assert far > 55.0
