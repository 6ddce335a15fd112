"""The delay between sound and hit: known delays are found, with the uncertainty that is claimed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.pattern.voices import Limb
from playalong.profile.latency import (
    CLICK_ON_KIT,
    ENOUGH,
    LEAST_MS,
    MOST_MS,
    PLAYED_ALONG,
    SURE_TIMES,
    TOGETHER,
    TYPED,
    WIDEST_MS,
    Latency,
    measured,
    plus_minus_ms,
    typed,
)
from playalong.simulation.human_timing import shared
from playalong.simulation.skills import SKILLS

BEATS = 24
SEEDS = 300


def clicks(bpm: float = 90.0, beats: int = BEATS) -> np.ndarray:
    return 10.0 + np.arange(beats) * 60.0 / bpm


def played(
    seed: int,
    delay_ms: float,
    sd_ms: float,
    *,
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


@given(st.lists(st.floats(-400.0, 400.0), min_size=1, max_size=60))
def test_the_interval_is_that_of_its_formula(errors_ms):
    """Spread by numpy.percentile, which is exact here; a wider spread is less sure."""
    values = np.array(errors_ms)
    spread = (np.percentile(values, 84.0) - np.percentile(values, 16.0)) / 2.0
    expected = SURE_TIMES * spread * (TOGETHER / len(values)) ** 0.5
    assert plus_minus_ms(values) == pytest.approx(expected, abs=1e-9)
    assert plus_minus_ms(3.0 * values + 7.0) == pytest.approx(3.0 * expected, abs=1e-6)


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
        found = measured(
            clicks(), played(seed, delay_ms, sd_ms, strays=strays, misses=misses, doubled=doubled)
        )
        off_ms = abs(float(np.median(found.errors_ms)) - delay_ms)
        within += off_ms <= plus_minus_ms(found.errors_ms)
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
def test_stray_hits_move_the_figure_by_no_more_than_a_few_answers_could(
    seed, delay_ms, sd_ms, strays
):
    """A stray hit takes at most one answer, and moves the median past one value."""
    alone = measured(clicks(), played(seed, delay_ms, sd_ms))
    among = measured(clicks(), played(seed, delay_ms, sd_ms, strays=strays))
    ordered = np.sort(alone.errors_ms)
    low, high = ordered[BEATS // 2 - 1 - strays], ordered[BEATS // 2 + strays]
    assert low - 1e-6 <= np.median(among.errors_ms) <= high + 1e-6


def rounds_of(seed: int, spread_ms: float, rounds: int) -> tuple[np.ndarray, np.ndarray]:
    """Clicks and hits of a professional's snare hand, as wide as asked, 30 ms late in the middle;
    a minute lies between two rounds."""
    chance = np.random.default_rng(seed)
    skill = SKILLS["professional"]
    own_ms = skill.error_ms[Limb.SNARE_HAND][1]
    factor = spread_ms / np.hypot(skill.shared_ms, own_ms)
    click_s = np.concatenate([clicks() + 60.0 * number for number in range(rounds)])
    waves = [shared(np.arange(BEATS, dtype=np.float64), chance) for _ in range(rounds)]
    errors_ms = skill.shared_ms * np.concatenate(waves)
    errors_ms += own_ms * chance.standard_normal(len(click_s))
    return click_s, click_s + (30.0 + factor * errors_ms) / 1000.0


def test_people_are_given_a_figure_after_two_rounds_that_holds_their_middle():
    """Players fitted to drummers, spread 15 to 25 ms (``tests.long kit`` has more of them): 95 %
    are given a figure, 94 % of the intervals hold the middle; 300 players, three standard errors
    for chance."""
    given_one, holds = 0, []
    for seed in range(SEEDS):
        spread_ms = 15.0 + 10.0 * seed / SEEDS
        click_s, hit_s = rounds_of(seed, spread_ms, 2)
        told = measured(click_s[:BEATS], hit_s[:BEATS])
        assert told.wants_more is (told.latency is None)
        if told.latency is None:
            told = measured(click_s, hit_s)
        if told.latency is not None:
            given_one += 1
            holds.append(abs(told.latency.ms - 30.0) <= (told.latency.plus_minus_ms or 0.0))
    assert given_one >= (0.95 - 0.035) * SEEDS
    assert np.mean(holds) >= 0.94 - 0.04


def test_two_rounds_are_surer_than_one():
    """Four rounds are twice as sure as one: the mean of 40 players."""
    sure = {BEATS: 0.0, 4 * BEATS: 0.0}
    for seed in range(40):
        click_s, hit_s = rounds_of(seed, 24.0, 4)
        for n in sure:
            sure[n] += plus_minus_ms(measured(click_s[:n], hit_s[:n]).errors_ms)
    assert sure[4 * BEATS] == pytest.approx(sure[BEATS] / 2.0, rel=0.15)


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
    hit_s = played(seed, 20.0, 30.0, strays=strays, misses=misses, doubled=0.4)
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
    assert f"{count} of {BEATS} clicks" in told.words
    assert measured(clicks(), clicks()[:ENOUGH] + 0.02).latency is not None


def test_an_uncertain_figure_is_told_and_not_given():
    errors_ms = np.tile([-40.0, 40.0], BEATS // 2) + np.arange(BEATS)
    told = measured(clicks(), clicks() + errors_ms / 1000.0)
    assert told.latency is None
    assert told.wants_more
    assert plus_minus_ms(errors_ms) > WIDEST_MS
    assert f"give or take {plus_minus_ms(errors_ms):.0f} ms" in told.words
    assert "Play another round, and both count together" in told.words


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
