"""From the driver's stamps to the program's clock: laws of the filter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.midi_io.timestamps import CERTAIN, EARLY_S, FASTEST, LONG_S, LOST_S, StampFilter

OFTEN = settings(max_examples=100, deadline=None)

#: Seconds from one message to the next, and the delay of each on its way to us.
WAYS = st.lists(st.tuples(st.floats(0.0, 3.0), st.floats(0.0005, 0.4)), min_size=1, max_size=60)
STARTS = st.floats(-1e5, 1e5)
#: What a float of 1e5 seconds leaves of a microsecond, in sums and differences.
EXACT_S = 1e-9


def sent_and_told(ways, start_s, rate=1.0, *, jitter=0.0):
    """When each message was sent, when it came, and what the filter says.

    Stamps begin anywhere; ``rate`` is how fast the driver's clock runs, ``jitter`` what its
    stamps are off, in seconds. Messages come in the order they were sent.
    """
    sent = np.cumsum([gap for gap, _ in ways])
    arrived = np.maximum.accumulate(sent + np.array([delay for _, delay in ways]))
    stamps = start_s + sent * rate + jitter
    stamp_filter = StampFilter()
    told = [stamp_filter.time_s(*row) for row in zip(stamps, arrived, strict=True)]
    return sent, arrived, np.array(told)


@OFTEN
@given(WAYS, STARTS, st.lists(st.floats(-1e5, 1e5), min_size=60, max_size=60))
def test_times_never_go_back_nor_beyond_the_arrival_whatever_the_stamps(ways, start_s, wild):
    arrived = np.cumsum([gap for gap, _ in ways])
    stamp_filter = StampFilter()
    stamps = np.array(wild[: len(ways)])
    told = [stamp_filter.time_s(*row) for row in zip(stamps, arrived, strict=True)]
    assert (np.diff(told) >= 0.0).all()
    assert (told <= arrived).all()


@OFTEN
@given(WAYS, STARTS)
def test_no_time_is_before_the_message_was_sent_or_after_it_came(ways, start_s):
    sent, arrived, told = sent_and_told(ways, start_s)
    assert (told >= sent - EXACT_S).all()
    assert (told <= arrived + EXACT_S).all()


@OFTEN
@given(WAYS, STARTS, st.integers(0, 2**32))
def test_with_stamps_that_jitter_no_time_is_sooner_than_by_the_jitter(ways, start_s, seed):
    most_s = 0.001
    jitter = np.random.default_rng(seed).uniform(-most_s, most_s, len(ways))
    sent, _, told = sent_and_told(ways, start_s, jitter=jitter)
    assert (told >= sent - 2 * most_s - EXACT_S).all()


@OFTEN
@given(WAYS, STARTS, st.floats(-1e-4, 1e-4))
def test_with_a_clock_that_drifts_no_time_is_sooner_than_by_what_it_drifts_in_the_long_run(
    ways, start_s, drift
):
    sent, arrived, told = sent_and_told(ways, start_s, 1.0 + drift)
    assert (told >= sent - abs(drift) * (LONG_S + 1.0) - EXACT_S).all()
    assert (told <= arrived + EXACT_S).all()


@OFTEN
@given(st.lists(st.floats(0.0005, EARLY_S), min_size=1, max_size=60), STARTS)
def test_the_error_is_at_most_the_least_delay_of_the_last_seconds(delays, start_s):
    """Two strokes a second; what is late by more than ``EARLY_S`` may be put in doubt first."""
    ways = [(0.5, delay) for delay in delays]
    sent, arrived, told = sent_and_told(ways, start_s)
    for row in range(len(ways)):
        lately = (arrived >= arrived[row] - 9.0) & (np.arange(len(ways)) <= row)
        least = (arrived - sent)[lately].min()
        assert told[row] <= sent[row] + least + FASTEST * 10.0 + EXACT_S


@pytest.mark.parametrize("drift", [-1e-4, 1e-4])
def test_a_drift_of_100_ppm_is_followed_for_an_hour(drift):
    """Ten strokes a second, most kept waiting; unfollowed, the clocks end 360 ms apart.

    Before the drift is known the error is at most what the clocks drift apart in ten seconds.
    """
    chance = np.random.default_rng(5)
    least_s = 0.002
    delays = least_s + chance.exponential(0.004, 36_000)
    delays[::10] = least_s  # one message in ten is not kept waiting
    ways = [(0.1, delay) for delay in delays]
    sent, _, told = sent_and_told(ways, 777.0, 1.0 + drift)
    error_s = np.abs(told - sent - least_s)
    assert error_s[10:600].max() <= 0.0011
    assert error_s[600:].max() <= 0.0002


@pytest.mark.parametrize("wild_s", [-4e9 / 1000, -5.0, -0.7, 0.05, 0.7, 5.0, 5000.0])
def test_a_single_wild_stamp_harms_nothing_after_it(wild_s):
    least_s = 0.003

    def told(wild: bool) -> list[float]:
        stamp_filter, found = StampFilter(), []
        for beat in range(100):
            sent_s = beat * 0.25
            stamp_s = sent_s + (wild_s if wild and beat == 50 else 0.0)
            found.append(stamp_filter.time_s(stamp_s, sent_s + least_s + 0.01 * (beat % 3)))
        return found

    ordinary, with_wild = told(wild=False), told(wild=True)
    assert with_wild[:50] == ordinary[:50]
    assert with_wild[51:] == ordinary[51:]
    # The message itself is at worst as late as it came, or as early as such a stamp is believed.
    assert 12.5 - LOST_S <= with_wild[50] <= 12.5 + least_s + 0.02


@pytest.mark.parametrize("jump_s", [-4e9 / 1000, -1.5, -0.3, 0.03, 1.5, 5000.0])
def test_a_jump_for_good_is_followed_after_a_few_messages(jump_s):
    stamp_filter = StampFilter()
    least_s = 0.003
    for beat in range(200):
        sent_s = beat * 0.25
        stamp_s = sent_s + (jump_s if beat >= 100 else 0.0)
        told = stamp_filter.time_s(stamp_s, sent_s + least_s + 0.01 * (beat % 3))
        if 1 <= beat < 100 or beat >= 100 + CERTAIN - 1:
            assert told - sent_s == pytest.approx(least_s, abs=EXACT_S)


@pytest.mark.parametrize("held_s", [0.9, 2.0])
def test_messages_that_were_kept_waiting_together_are_no_jump(held_s):
    """A window that stands still: its messages come at once, all of them late."""
    stamp_filter = StampFilter()
    for beat in range(20):
        stamp_filter.time_s(beat * 0.1, beat * 0.1 + 0.001)
    back_s = 2.0 + held_s
    for beat in range(20, 20 + round(held_s * 10)):
        told = stamp_filter.time_s(beat * 0.1, back_s)
        # Nobody can tell whether a message was held up for longer than LOST_S.
        own_s = beat * 0.1 + 0.001 if held_s < LOST_S else back_s
        assert told == pytest.approx(own_s)
    assert stamp_filter.time_s(back_s + 0.1, back_s + 0.2) == pytest.approx(back_s + 0.101)


def test_a_port_that_was_opened_again_starts_afresh():
    """Its stamps may lie so near to the old ones that no jump is seen."""
    stamp_filter = StampFilter()
    for beat in range(20):
        stamp_filter.time_s(beat * 0.1, beat * 0.1 + 0.005)
    assert stamp_filter.time_s(2.0 - 0.1, 2.0 + 0.005) == pytest.approx(1.905)  # 100 ms too soon
    assert stamp_filter.time_s(2.1 - 0.1, 2.1 + 0.005, stream=1) == pytest.approx(2.105)
    assert stamp_filter.time_s(2.2 - 0.1, 2.2 + 0.015, stream=1) == pytest.approx(2.205)


def test_a_delay_that_is_forgotten_no_longer_counts():
    stamp_filter = StampFilter()
    assert stamp_filter.time_s(0.0, 0.001) == pytest.approx(0.001)
    assert stamp_filter.time_s(5.0, 5.010) == pytest.approx(5.001)
    later = 5.010 + LONG_S
    assert stamp_filter.time_s(later, later + 0.010) == pytest.approx(later + 0.010)
