"""The delay between sound and hit: known delays are found, with the uncertainty that is claimed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, quantile_test

from playalong.profile.latency import (
    CLICK_ON_KIT,
    ENOUGH,
    LEAST_MS,
    MOST_MS,
    PLAYED_ALONG,
    TYPED,
    WIDEST_MS,
    Latency,
    measured,
    median_interval,
    typed,
)

BEATS = 16
SEEDS = 300


def clicks(bpm: float = 90.0, beats: int = BEATS) -> np.ndarray:
    return 10.0 + np.arange(beats) * 60.0 / bpm


def played(
    seed: int,
    delay_ms: float,
    sd_ms: float,
    strays: int = 0,
    misses: int = 0,
    doubled: float = 0.0,
    bpm: float = 90.0,
) -> np.ndarray:
    """Hits of a player with errors of a normal distribution, in order."""
    chance = np.random.default_rng(seed)
    click_s = clicks(bpm)
    hit_s = click_s + (delay_ms + sd_ms * chance.standard_normal(BEATS)) / 1000.0
    hit_s = np.delete(hit_s, chance.choice(BEATS, misses, replace=False))
    twice = hit_s[chance.random(len(hit_s)) < doubled] + chance.uniform(0.012, 0.035)
    stray_s = chance.uniform(click_s[0] - 0.3, click_s[-1] + 0.3, strays)
    return np.sort(np.concatenate([hit_s, twice, stray_s]))


@pytest.mark.parametrize("count", range(6, 60))
def test_the_interval_of_the_median_is_that_of_scipy(count):
    values = np.random.default_rng(count).standard_normal(count)
    expected = quantile_test(values, q=0.0, p=0.5).confidence_interval(0.95)
    assert median_interval(values) == pytest.approx((expected.low, expected.high))


@pytest.mark.parametrize("count", range(6, 200))
def test_the_interval_is_as_narrow_as_the_binomial_distribution_allows(count):
    """scipy.stats.binom: the rank fits, the next one further in would not."""
    low, high = median_interval(np.arange(1.0, count + 1.0))
    assert low + high == count + 1
    assert 2.0 * binom.cdf(low - 1, count, 0.5) <= 0.05
    assert 2.0 * binom.cdf(low, count, 0.5) > 0.05


def test_five_values_have_no_interval():
    with pytest.raises(ValueError, match="5 values"):
        median_interval(np.arange(5.0))


@pytest.mark.parametrize("how", [PLAYED_ALONG, CLICK_ON_KIT])
def test_an_exact_player_is_measured_exactly(how):
    told = measured(clicks(), clicks() + 0.042, how)
    assert told.latency is not None
    assert told.latency.ms == pytest.approx(42.0)
    assert told.latency.plus_minus_ms == pytest.approx(0.0, abs=1e-6)
    assert told.latency.how == how
    np.testing.assert_allclose(told.errors_ms, 42.0)
    np.testing.assert_array_equal(told.used, np.arange(BEATS))
    assert len(told.left_out) == 0


@pytest.mark.parametrize(
    ("delay_ms", "sd_ms", "strays", "misses", "doubled"),
    [
        (0.0, 6.0, 0, 0, 0.0),
        (-20.0, 8.0, 2, 2, 0.3),
        (35.0, 10.0, 3, 0, 1.0),
        (140.0, 12.0, 3, 3, 0.5),
        (230.0, 5.0, 1, 4, 0.0),
    ],
)
def test_the_true_delay_lies_within_the_interval_as_often_as_claimed(
    delay_ms, sd_ms, strays, misses, doubled
):
    """95 % are claimed; 90 % of 300 seeds leave four standard errors for chance."""
    within, told = 0, []
    for seed in range(SEEDS):
        found = measured(clicks(), played(seed, delay_ms, sd_ms, strays, misses, doubled))
        low, high = median_interval(found.errors_ms)
        within += low <= delay_ms <= high
        if found.latency is not None and found.latency.plus_minus_ms is not None:
            told.append(abs(found.latency.ms - delay_ms) <= found.latency.plus_minus_ms)
    assert within >= 0.9 * SEEDS
    assert len(told) > 0.8 * SEEDS
    assert np.mean(told) >= 0.9


@given(
    seed=st.integers(0, 2**32 - 1),
    delay_ms=st.floats(-30.0, 200.0),
    sd_ms=st.floats(0.0, 8.0),
    strays=st.integers(0, BEATS // 5),
)
def test_stray_hits_move_the_figure_by_less_than_its_own_interval(seed, delay_ms, sd_ms, strays):
    """A stray hit takes at most one answer: three of 16 leave the median between the 5th and the
    12th of the true errors, and the interval reaches from the 4th to the 13th."""
    alone = measured(clicks(), played(seed, delay_ms, sd_ms))
    among = measured(clicks(), played(seed, delay_ms, sd_ms, strays))
    low, high = median_interval(alone.errors_ms)
    assert low - 1e-6 <= np.median(among.errors_ms) <= high + 1e-6


@given(seed=st.integers(0, 2**32 - 1), delay_ms=st.floats(0.0, 150.0), shift_s=st.floats(-5, 500))
def test_it_is_the_delay_that_counts_and_not_the_clock(seed, delay_ms, shift_s):
    hit_s = played(seed, delay_ms, 5.0, strays=2)
    here, there = measured(clicks(), hit_s), measured(clicks() + shift_s, hit_s + shift_s)
    assert here.latency is not None
    assert there.latency is not None
    assert there.latency.ms == pytest.approx(here.latency.ms, abs=1e-6)
    np.testing.assert_array_equal(here.used, there.used)


@given(seed=st.integers(0, 2**32 - 1), strays=st.integers(0, 40), misses=st.integers(0, BEATS))
def test_every_hit_is_used_once_or_left_out(seed, strays, misses):
    hit_s = played(seed, 20.0, 30.0, strays, misses, doubled=0.4)
    told = measured(clicks(), hit_s)
    rows = np.concatenate([told.used, told.left_out])
    np.testing.assert_array_equal(np.sort(rows), np.arange(len(hit_s)))
    assert len(told.errors_ms) == len(told.used) <= BEATS
    assert told.words


def test_doubles_change_nothing():
    twice = np.sort(np.concatenate([clicks() + 0.03, clicks() + 0.055]))
    told = measured(clicks(), twice)
    assert told.latency is not None
    assert told.latency.ms == pytest.approx(30.0)
    np.testing.assert_array_equal(told.left_out, np.arange(1, 2 * BEATS, 2))


@pytest.mark.parametrize("side", [-1, 1])
def test_half_a_beat_off_is_told_and_not_measured(side):
    half_s = 60.0 / 90.0 / 2.0
    told = measured(clicks(), clicks() + side * half_s + 0.004)
    assert told.latency is None
    assert "half-way between the clicks" in told.words
    assert "up to 250 ms" in told.words  # three eighths of a beat of 667 ms


def test_twice_as_many_hits_as_clicks_are_told():
    eighths = 10.0 + np.arange(2 * BEATS) * 30.0 / 90.0
    told = measured(clicks(), eighths + 0.02)
    assert told.latency is None
    assert "between the clicks" in told.words


@pytest.mark.parametrize("count", [0, 1, ENOUGH - 1])
def test_too_few_answers_are_told(count):
    told = measured(clicks(), clicks()[:count] + 0.02)
    assert told.latency is None
    assert f"{count} of 16 clicks" in told.words
    assert measured(clicks(), clicks()[:ENOUGH] + 0.02).latency is not None


def test_an_uncertain_figure_is_told_and_not_given():
    errors_ms = np.tile([-40.0, 40.0], BEATS // 2) + np.arange(BEATS)
    told = measured(clicks(), clicks() + errors_ms / 1000.0)
    assert told.latency is None
    low, high = median_interval(errors_ms)
    assert high - low > 2 * WIDEST_MS
    assert f"from {low:.0f} to {high:.0f} ms" in told.words


def test_a_player_far_ahead_is_no_delay():
    told = measured(clicks(), clicks() - 0.12)
    assert told.latency is None
    assert "120 ms before the click" in told.words


def test_the_words_say_that_people_come_early_and_offer_the_other_ways():
    """Repp, Psychonomic Bulletin & Review 12(6), 2005: ahead of a click, musicians by less."""
    hit_s = clicks() + 0.02
    by_ear, by_kit = measured(clicks(), hit_s), measured(clicks(), hit_s, CLICK_ON_KIT)
    for told in (by_ear, by_kit):
        assert "20 ms after the click" in told.words
        assert "a little early to a click" in told.words
        assert "probably a little larger" in told.words
        assert "type in" in told.words
    assert "sent to the kit" in by_ear.words
    assert "sent to the kit" not in by_kit.words


@pytest.mark.parametrize("click_s", [[], [1.0], [1.0, 1.0], [2.0, 1.0]])
def test_what_is_no_click_is_refused(click_s):
    with pytest.raises(ValueError, match="two beats or more"):
        measured(np.array(click_s), np.array([1.0]))


@given(st.floats(LEAST_MS, MOST_MS))
def test_a_figure_that_can_be_is_taken_as_typed(ms):
    assert typed(ms) == Latency(ms, None, TYPED)


@pytest.mark.parametrize("ms", [LEAST_MS - 0.1, MOST_MS + 0.1, float("nan"), float("inf")])
def test_a_figure_that_cannot_be_is_refused_in_plain_words(ms):
    with pytest.raises(ValueError, match="from -50 to 500 ms"):
        typed(ms)
