"""Frames on the clock: simulated devices whose requests come late, drift, or stop for a while."""

from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.sound.device.device_clock import WINDOW_S, DeviceClock

RATE, BLOCK, LATENCY_S = 48_000, 480, 0.01


def run(late_s: list[float], rate_there: float = RATE, start_s: float = 100.0) -> DeviceClock:
    """A device that asks for ``BLOCK`` frames at a time, each request late by that much."""
    clock = DeviceClock(RATE, LATENCY_S)
    for number, late in enumerate(late_s):
        clock.add_request(number * BLOCK, start_s + number * BLOCK / rate_there + late)
    return clock


def test_before_the_first_request_there_is_no_time():
    clock = DeviceClock(RATE, LATENCY_S)
    assert not clock.is_running
    clock.add_request(0, 5.0)
    assert clock.is_running
    assert clock.frame_at(5.0 + LATENCY_S) == 0


# Half a window of requests, none of them later than the other half.
@settings(deadline=None)
@given(st.lists(st.floats(0.0, WINDOW_S / 2), min_size=1, max_size=50), st.data())
def test_one_prompt_request_in_the_window_is_enough(late_s, data):
    late_s[data.draw(st.integers(0, len(late_s) - 1))] = 0.0
    clock = run(late_s)
    for frame in (0, 1, 48_000, 480_000):
        assert abs(clock.time_of(frame) - (100.0 + frame / RATE + LATENCY_S)) < 1e-9
        assert clock.frame_at(100.0 + frame / RATE + LATENCY_S) == frame


@settings(deadline=None)
@given(st.integers(-(10**6), 10**9), st.floats(0.0, 1e6))
def test_frame_at_and_time_of_undo_each_other(frame, at_s):
    clock = DeviceClock(RATE, LATENCY_S)
    clock.add_request(0, at_s)
    assert clock.frame_at(clock.time_of(frame)) == frame


@settings(deadline=None, max_examples=25)
@given(st.floats(-200e-6, 200e-6))
def test_a_drifting_device_is_followed_for_minutes(drift):
    """At 200 ppm three minutes make 36 ms; the window lets 0.2 ms of it stay."""
    requests = 3 * 60 * RATE // BLOCK
    clock = run([0.0] * requests, rate_there=RATE * (1 + drift))
    last = (requests - 1) * BLOCK
    truth_s = 100.0 + last / (RATE * (1 + drift)) + LATENCY_S
    assert abs(clock.time_of(last) - truth_s) <= abs(drift) * (WINDOW_S + 0.02) + 1e-9


def test_a_device_that_stood_still_is_right_again_within_the_window():
    stop_s, before, after = 0.25, 200, int(WINDOW_S * RATE / BLOCK) + 2
    clock = run([0.0] * before + [stop_s] * after)
    assert abs(clock.time_of(0) - (100.0 + stop_s + LATENCY_S)) < 1e-9


@given(st.lists(st.floats(0.0, 0.05), min_size=1, max_size=20), st.floats(0.0, 1.0))
def test_late_is_against_the_promptest_request(late_s, more_s):
    clock = run([0.0, *late_s])
    frame = len(late_s) * BLOCK
    handed_s = 100.0 + frame / RATE + late_s[-1] + more_s
    assert abs(clock.late_s(frame, handed_s) - (late_s[-1] + more_s)) < 1e-9
