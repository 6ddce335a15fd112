"""How a simulated person's errors hang together: against the formula, and against drummers."""

import numpy as np
import pytest

from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.simulation.human_timing import (
    SLOW_BEATS,
    SLOW_SHARE,
    WAVE_BEATS,
    shared,
    tempo_factor,
)
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS

PROFESSIONAL = SKILLS["professional"]
GROOVE = read(
    'title = "T"\nmeter = "4/4"\ntempo = 100\n[[bar]]\nhi-hat = "xx xx xx xx"\n'
    'snare = "-- x- -- x-"\nkick = "xx -- xx --"\n',
    "t",
)


def correlation(gap: float) -> float:
    """Of two strokes so many beats apart: Matérn of order 3/2 and exponential (Rasmussen and
    Williams, Gaussian Processes for Machine Learning, 2006, chapter 4)."""
    fast = (1.0 + gap / WAVE_BEATS) * np.exp(-gap / WAVE_BEATS)
    return float((1.0 - SLOW_SHARE) * fast + SLOW_SHARE * np.exp(-gap / SLOW_BEATS))


def test_the_shared_error_has_the_correlation_that_the_formula_says():
    """Uneven gaps; 20,000 people, so that a standard error is 0.007."""
    beats = np.array([0.0, 0.25, 0.5, 1.5, 2.0, 4.0, 4.0, 9.0, 30.0])
    chance = np.random.default_rng(1)
    errors = np.array([shared(beats, chance) for _ in range(20_000)])
    expected = [[correlation(abs(a - b)) for b in beats] for a in beats]
    np.testing.assert_allclose(np.cov(errors.T), expected, atol=0.04)
    np.testing.assert_array_equal(errors[:, 5], errors[:, 6])


def test_strokes_at_one_instant_share_most_of_their_error():
    """Groove MIDI Dataset (Gillick et al., ICML 2019), medians of the takes and 5th to 95th
    percentile: kick against hand 5 ms ahead, spread 15 ms (10 to 29); the error of one instant
    to the next correlates by 0.4 (-0.2 to 0.7), here without the habits of single places."""
    targets = lay_out(GROOVE, 100.0, 64)
    names = np.array(targets.names)
    spreads, leads, next_ones = [], [], []
    for seed in range(24):
        error_ms = perform(targets, PROFESSIONAL, seed).truth.error_ms
        hands = dict(
            zip(targets.written[names == "hi-hat"], error_ms[names == "hi-hat"], strict=True)
        )
        feet = dict(zip(targets.written[names == "kick"], error_ms[names == "kick"], strict=True))
        apart = np.array([feet[at] - hands[at] for at in feet])
        leads.append(apart.mean())
        spreads.append(apart.std())
        lead = np.array(list(hands.values()))
        next_ones.append(np.corrcoef(lead[1:], lead[:-1])[0, 1])
    assert np.median(leads) == pytest.approx(-4.0, abs=1.5)
    assert np.median(spreads) == pytest.approx(15.0, abs=3.0)
    assert all(10.0 < spread < 29.0 for spread in spreads)
    assert 0.4 < np.median(next_ones) < 0.7


def test_the_professional_is_as_wide_as_professionals_are():
    """The same source, each stroke less the mean of its place: 17 ms (12.7 to 23.5)."""
    targets = lay_out(GROOVE, 100.0, 40)
    spreads = []
    for seed in range(60):
        truth = perform(targets, PROFESSIONAL, seed).truth
        spreads.append(truth.error_ms.std())
        assert truth.missed == truth.wrong_drum == ()
    assert np.median(spreads) == pytest.approx(17.0, abs=1.0)
    low, high = np.percentile(spreads, (5.0, 95.0))
    assert 11.5 < low < 14.5
    assert 20.0 < high < 25.0


def test_slow_beats_are_wider_than_fast_ones():
    assert tempo_factor(0.6) == 1.0
    assert tempo_factor(1.2) > tempo_factor(0.8) > 1.0 > tempo_factor(0.4)
    assert tempo_factor(100.0) == pytest.approx(1.6)


def test_nobody_waits_for_nothing():
    assert shared(np.zeros(0), np.random.default_rng(1)).shape == (0,)
