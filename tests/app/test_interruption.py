"""The states of a run whose kit is gone and back, and its time line meanwhile."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.app.run.interruption import Interruption, State
from playalong.grading.matching.pauses import EndedPause, LastPause, OpenPause
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out

#: Four bars of quarter notes at 120 bpm: a bar lasts two seconds.
PATTERN = read(
    """
title = "A Test"
meter = "4/4"
tempo = 120
[[bar]]
snare = "x--- x--- x--- x---"
""",
    "a-test",
)
ASKED = lay_out(PATTERN, 120.0, 4)

#: Second 0 of the run, on the clock; the capture window; and how long a kit is waited for.
START_S, CAPTURE_S, PATIENCE_S = 10.0, 0.1, 60.0


def begun(waits: bool = True) -> Interruption:
    return Interruption(ASKED, START_S, capture_s=CAPTURE_S, waits=waits, patience_s=PATIENCE_S)


def gone(run_s: float, waits: bool = True, last_hit_s: float | None = None) -> Interruption:
    """One whose kit was there last at a time of the run, and was missed 50 ms later."""
    made = begun(waits)
    made.gone(START_S + run_s + 0.05, START_S + run_s, last_hit_s)
    return made


def test_it_plays_on_the_clock():
    made = begun()
    assert made.state is State.PLAYING
    assert made.run_s(START_S + 3.25) == 3.25
    assert made.broken_off(START_S + 3.25) == 3.25
    assert made.broken_off(START_S - 1.0) == 0.0


@pytest.mark.parametrize(
    ("run_s", "bar_s"),
    [(-1.5, 0.0), (0.7, 2.0), (1.85, 2.0), (1.95, 4.0), (3.0, 4.0), (5.0, 6.0)],
)
def test_it_waits_for_the_bar_line_ahead(run_s, bar_s):
    """A bar line nearer than the capture window is too near: its first stroke may be missed."""
    made = gone(run_s)
    assert made.state is State.WAITING
    assert made.bar_s == bar_s
    assert made.run_s(START_S + 500.0) == made.stopped_s == pytest.approx(run_s)
    (pause,) = made.pauses.each
    assert isinstance(pause, OpenPause)
    assert pause.bar_s == bar_s


def test_the_last_bar_is_played_once_more():
    made = gone(7.2)
    assert (made.state, made.bar_s) == (State.WAITING, 6.0)
    assert made.stopped_s == pytest.approx(6.0 - CAPTURE_S)


def test_a_hit_after_the_kit_was_there_last_belongs_to_the_run():
    """It came before the cable was pulled, and after the port was last looked after."""
    made = gone(1.0, last_hit_s=1.03)
    assert made.stopped_s > 1.03
    (pause,) = made.pauses.each
    assert made.pauses.run_s(1.03) == 1.03
    assert made.pauses.run_s(pause.from_s) is None


@pytest.mark.parametrize(("run_s", "waits"), [(7.6, True), (8.3, True), (1.0, False)])
def test_where_nothing_is_left_or_nobody_is_to_wait_it_is_lost(run_s, waits):
    made = gone(run_s, waits)
    assert made.state is State.LOST
    assert isinstance(made.pauses.each[-1], LastPause)
    assert made.broken_off(START_S + 99.0) == pytest.approx(run_s)


def test_it_goes_on_where_it_is_told_to():
    made = gone(1.0)
    made.back(START_S + 21.5)
    assert made.state is State.PLAYING
    assert made.run_s(START_S + 21.5) == pytest.approx(2.0)
    (pause,) = made.pauses.each
    assert isinstance(pause, EndedPause)
    # Second 0 of the take stays where it was: hits before the bar line count by the window.
    assert pause.until_s == pytest.approx(21.5 - CAPTURE_S)
    assert made.pauses.run_s(21.5) == pytest.approx(2.0)
    assert made.pauses.run_s(21.0) is None


def test_nobody_waits_for_ever():
    made = gone(1.0)
    since_s = START_S + 1.05
    made.time_passed(since_s + PATIENCE_S - 0.01)
    assert made.state is State.WAITING
    made.time_passed(since_s + PATIENCE_S)
    assert made.state is State.LOST
    (pause,) = made.pauses.each
    assert pause == LastPause(from_s=pause.from_s, stopped_s=made.stopped_s)


def test_broken_off_while_it_waits_it_ends_where_it_stopped():
    made = gone(3.0)
    assert made.broken_off(START_S + 30.0) == pytest.approx(3.0)
    assert made.state is State.LOST


def test_what_does_not_fit_the_state_changes_nothing():
    """Back without having gone, gone twice, and back once it is lost."""
    made = begun()
    made.back(START_S + 5.0)
    assert (made.state, made.start_s, made.pauses.each) == (State.PLAYING, START_S, ())
    with pytest.raises(ValueError, match="does not wait"):
        _ = made.bar_s
    made = gone(1.0)
    pauses = made.pauses
    made.gone(START_S + 3.0, START_S + 2.9, None)
    assert made.pauses == pauses
    lost = gone(1.0, waits=False)
    lost.back(START_S + 9.0)
    assert lost.state is State.LOST


@given(st.lists(st.tuples(st.floats(0.0, 3.0), st.floats(0.5, 20.0)), max_size=5))
def test_its_time_never_goes_back_but_to_the_last_bar(outs):
    """Whatever goes and comes: bar lines are on the clock where it was told, pauses in order."""
    made, clock_s = begun(), START_S
    for plays_s, away_s in outs:
        clock_s += plays_s
        before_s = made.run_s(clock_s)
        made.gone(clock_s, clock_s, None)
        if made.state is State.LOST:
            break
        assert made.run_s(clock_s) <= before_s + 1e-9
        bar_s = made.bar_s
        assert bar_s in ASKED.bar_starts_s
        clock_s += away_s
        made.back(clock_s + 2.0)
        assert made.run_s(clock_s + 2.0) == pytest.approx(bar_s)
        assert made.run_s(clock_s) == pytest.approx(bar_s - 2.0)
    each = made.pauses.each
    assert all(isinstance(pause, EndedPause) for pause in each[:-1])
    ends_s = [pause.until_s for pause in each if isinstance(pause, EndedPause)]
    assert ends_s == sorted(ends_s)
