"""From the driver's stamps to the program's clock: laws of the filter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.kit.stamps import JUMP_S, WINDOW_S, StampFilter

OFTEN = settings(max_examples=100, deadline=None)

#: Seconds from one message to the next, and the delay of each on its way to us.
WAYS = st.lists(st.tuples(st.floats(0.0, 3.0), st.floats(0.0005, 0.4)), min_size=1, max_size=60)
STARTS = st.floats(-1e5, 1e5)


def sent_and_told(ways, start_s, rate=1.0):
    """When each message was sent, and what the filter says; its stamps begin anywhere.

    ``rate`` is how fast the driver's clock runs. Messages come in the order they were sent.
    """
    sent = np.cumsum([gap for gap, _ in ways])
    arrived = np.maximum.accumulate(sent + np.array([delay for _, delay in ways]))
    stamps = start_s + sent * rate
    stamp_filter = StampFilter()
    told = [stamp_filter.time_s(*row) for row in zip(stamps, arrived, strict=True)]
    return sent, arrived, np.array(told)


@OFTEN
@given(WAYS, STARTS)
def test_times_never_go_back(ways, start_s):
    _, _, told = sent_and_told(ways, start_s)
    assert (np.diff(told) >= 0.0).all()


@OFTEN
@given(WAYS, STARTS)
def test_no_time_is_before_the_message_was_sent_or_after_it_came(ways, start_s):
    sent, arrived, told = sent_and_told(ways, start_s)
    assert (told >= sent - 1e-9).all()
    assert (told <= arrived + 1e-9).all()


@OFTEN
@given(WAYS, STARTS)
def test_the_error_is_at_most_the_least_delay_that_was_seen(ways, start_s):
    sent, arrived, told = sent_and_told(ways, start_s)
    for row in range(len(ways)):
        seen = (arrived <= arrived[row]) & (arrived >= arrived[row] - WINDOW_S)
        seen[row + 1 :] = False
        least = (arrived - sent)[seen].min()
        # A time held back for the order's sake is that of the message before.
        assert told[row] <= max(sent[row] + least, told[row - 1] if row else 0.0) + 1e-9


@OFTEN
@given(WAYS, STARTS, st.floats(-1e-4, 1e-4))
def test_the_error_with_a_drifting_clock_grows_by_what_it_drifts_in_the_window(
    ways, start_s, drift
):
    sent, arrived, told = sent_and_told(ways, start_s, 1.0 + drift)
    allowance = abs(drift) * (WINDOW_S + 0.4) + 1e-9
    assert (told >= sent - allowance).all()
    assert (told <= arrived + allowance).all()


@pytest.mark.parametrize("drift", [-1e-4, 1e-4])
def test_a_drift_of_100_ppm_is_followed_for_ten_minutes(drift):
    """Ten strokes a second; unfollowed, the clocks would be 60 ms apart at the end."""
    chance = np.random.default_rng(5)
    least_s = 0.002
    delays = least_s + chance.exponential(0.004, 6000)
    delays[::10] = least_s  # one message in ten is not kept waiting
    ways = [(0.1, delay) for delay in delays]
    sent, _, told = sent_and_told(ways, 777.0, 1.0 + drift)
    assert np.abs(told - sent - least_s)[10:].max() <= 0.0011


@pytest.mark.parametrize("jump_s", [-5000.0, -1.5, 1.5, 5000.0])
def test_a_jump_of_the_stamps_is_survived(jump_s):
    assert abs(jump_s) > JUMP_S
    stamp_filter = StampFilter()
    least_s = 0.003
    for beat in range(200):
        sent_s = beat * 0.25
        stamp_s = sent_s + (jump_s if beat >= 100 else 0.0)
        told = stamp_filter.time_s(stamp_s, sent_s + least_s + 0.01 * (beat % 3))
        # Just after the jump the least delay is not known yet.
        settled = beat % 100 >= 3 or beat % 3 == 0
        assert told - sent_s == pytest.approx(least_s, abs=1e-9 if settled else 0.021)


def test_a_delay_that_is_forgotten_no_longer_counts():
    """The least delay holds for as long as the window, and not for ever."""
    stamp_filter = StampFilter()
    assert stamp_filter.time_s(0.0, 0.001) == pytest.approx(0.001)
    assert stamp_filter.time_s(5.0, 5.010) == pytest.approx(5.001)
    later = WINDOW_S + 5.1
    assert stamp_filter.time_s(later, later + 0.010) == pytest.approx(later + 0.010)
