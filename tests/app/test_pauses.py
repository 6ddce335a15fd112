"""A cable that is pulled and put back: the run waits, goes on, and blames nobody."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.play import play_session
from playalong.app.run.clock import SteppedClock
from playalong.app.run.context import GONE, RunContext
from playalong.app.run.frame_loop import ANEW_S
from playalong.app.run.run import BACK, Run
from playalong.app.run.task import Task
from playalong.grading.grade_run import judged_hits
from playalong.grading.matching.pauses import EndedPause, LastPause, OpenPause, Pauses
from playalong.grading.text import as_json
from playalong.grading.verdicts import Rules
from playalong.midi.port import Arrival
from playalong.pattern.reader import read as read_pattern
from playalong.records.takes import read as read_take
from playalong.screen.base.window import Window
from playalong.screen.pages.run import RunPage
from playalong.simulation.player import perform
from tests.helpers.stage import context_on, unseen_window
from tests.helpers.steady_player import STEADY

PATTERN = """
title = "A Test"
meter = "4/4"
tempo = 120
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "--g- X--g -g-- X---"
kick   = "x--x ---x --x- ----"
"""

BARS = 6


class Pulled:
    """A port on which a player follows the run that is shown, out of it from time to time.

    The player plays the run's targets as their time comes, whatever the pauses: what is asked
    at a second of the run is struck when the run is there.
    """

    name = "a kit"

    def __init__(self, clock: SteppedClock, outs: list[tuple[float, float]]) -> None:
        self._clock, self._outs = clock, outs
        self._messages: list[tuple[float, bytes]] = []
        self._open = True
        self.run: Run | None = None
        self.sent = 0
        self._told_s = -1e9

    def plays(self, run: Run, task: Task) -> None:
        """Play along with ``run``."""
        self.run = run
        performance = perform(task.targets(), STEADY, 3)
        self._messages = [m for m in performance.messages if m[1][0] & 0xF0 == 0x90]

    def _plugged(self) -> bool:
        return not any(begin <= self._clock.now() < end for begin, end in self._outs)

    def poll(self) -> list[Arrival]:
        now_s = self._clock.now()
        if self.run is None or not self._plugged() or not self._open:
            self._open = self._open and self._plugged()
            self._told_s = self.run.time.run_s(now_s) if self.run else self._told_s
            return []
        run_s = self.run.time.run_s(now_s)
        due = [row for row in self._messages if self._told_s < row[0] <= run_s]
        self._told_s = run_s
        self.sent += len(due)
        shift = now_s - run_s
        return [Arrival(stamp_s=at_s + shift, arrival_s=now_s, data=data) for at_s, data in due]

    def is_there(self) -> bool:
        self._open = self._open and self._plugged()
        return self._open

    def reopen(self) -> bool:
        self._open = self._plugged()
        return self._open

    def close(self) -> None:
        pass


@pytest.fixture(scope="module")
def window():
    with unseen_window((480, 270)) as made:
        yield made


def run_with(window: Window, outs: list[tuple[float, float]], bars: int = BARS):
    context = context_on(window, frame_s=0.02, listen_s=0.02, patience_s=30.0)
    task = Task(
        pattern=read_pattern(PATTERN, "a-test"),
        tempo_bpm=120.0,
        bars=bars,
        variations=(),
        rules=Rules(),
    )
    port = Pulled(context.clock, outs)
    run = Run(task, context, lambda _: port)
    port.plays(run, task)
    return context, task, port, run


def test_the_run_waits_and_goes_on_at_the_bar_line(window, tmp_path):
    """Out in the second bar for five seconds."""
    context, task, port, run = run_with(window, [(6.0, 11.0)])
    seen: list[tuple[str, ...]] = []
    told = RunContext(**{**context.__dict__, "seen": lambda _: seen.append(run.page.paused)})
    run._context = told
    ended = run.play()
    assert ended.lost_port is None
    assert GONE in seen
    assert run.page.paused == ()
    assert BACK in run.page.notices
    kept = play_session.save_run(task, ended, tmp_path)
    take = read_take(kept.path)
    assert len(take.note) == port.sent
    counts = kept.graded.grade.counts
    assert counts.missed == counts.extra == 0
    a_bar = 8 + 5 + 4  # strokes of the text above
    assert 0 < a_bar * BARS - counts.targets <= a_bar
    (pause,) = Pauses.from_plain(take.info["pauses"]).each
    assert pause.bar_s in (2.0 * np.arange(BARS)).tolist()
    assert abs(kept.graded.grade.steadiness.drift_percent) < 0.5
    again = grade_take(task.pattern, take, Options())
    assert as_json(again.grade) == as_json(kept.graded.grade)


def test_while_the_kit_is_waited_for_the_page_is_drawn_twice_a_second(window, monkeypatch):
    """Nothing on it changes until something comes."""
    context, _, _, run = run_with(window, [(6.0, 11.0)])
    drawn_s: list[float] = []
    draw = RunPage.draw

    def noted(page: RunPage, surface, now_s: float) -> None:
        drawn_s.append(context.clock.now())
        draw(page, surface, now_s)

    monkeypatch.setattr(RunPage, "draw", noted)
    run.play()
    waiting = [at_s for at_s in drawn_s if 8.0 <= at_s < 10.5]
    assert len(waiting) == 2.5 / ANEW_S
    assert sum(at_s < 5.0 for at_s in drawn_s) >= 5.0 / context.frame_s - 1


@pytest.mark.parametrize("bars", [1, BARS])
def test_a_last_bar_that_is_broken_off_is_played_once_more(window, tmp_path, bars):
    """Its first strokes stay in the take, and are not judged."""
    lead_s, bar_s = 1.0 + 2.0, 2.0
    out_s = lead_s + bar_s * (bars - 1) + 1.1
    _, task, port, run = run_with(window, [(out_s, out_s + 3.0)], bars)
    ended = run.play()
    assert ended.lost_port is None
    kept = play_session.save_run(task, ended, tmp_path)
    take = read_take(kept.path)
    assert len(take.note) == port.sent > len(ended.hits)
    counts = kept.graded.grade.counts
    a_bar = 8 + 5 + 4  # strokes of the text above
    assert counts.targets == a_bar * bars
    assert counts.missed == counts.extra == 0
    again = grade_take(task.pattern, take, Options())
    assert as_json(again.grade) == as_json(kept.graded.grade)


def test_after_the_last_stroke_the_run_is_over(window):
    """Nothing is left to be played: the kit is not waited for."""
    out_s = 1.0 + 2.0 + 2.0 * BARS + 0.05
    _, _, port, run = run_with(window, [(out_s, out_s + 3.0)])
    ended = run.play()
    assert ended.lost_port == port.name
    assert len(ended.hits) == port.sent


def test_it_is_said_within_a_second(window):
    context, _, _, run = run_with(window, [(6.0, 11.0)])
    said: list[float] = []

    def seen(_: float) -> None:
        if run.page.paused and not said:
            said.append(context.clock.now())

    run._context = RunContext(**{**context.__dict__, "seen": seen})
    run.play()
    assert 6.0 <= said[0] < 7.0


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(0.1, 14.0), st.floats(0.1, 4.0)), min_size=1, max_size=3))
def test_pulled_at_any_moment_no_hit_is_lost_and_none_is_blamed(window, outs):
    times, at_s = [], 1.0
    for after_s, out_s in outs:
        times.append((at_s + after_s, at_s + after_s + out_s))
        at_s = times[-1][1] + 3.0
    _, task, port, run = run_with(window, times)
    ended = run.play()
    take = ended.recording.take()
    assert len(take.note) == port.sent
    graded = grade_take(task.pattern, take, Options())
    counts = graded.grade.counts
    assert counts.extra == 0
    assert counts.missed == 0
    assert len(judged_hits(graded.run)) == len(ended.hits)


def test_times_in_a_pause_are_of_no_run():
    ended = EndedPause(from_s=3.0, stopped_s=3.0, until_s=9.0, on_s=3.9, bar_s=4.0)
    pauses = Pauses((ended,))
    assert pauses.run_s(2.9) == 2.9
    assert pauses.run_s(3.0) is None
    assert pauses.run_s(8.9) is None
    assert pauses.run_s(9.1) == pytest.approx(4.0)
    assert Pauses.from_plain([[1.0]]) == Pauses()
    assert Pauses.from_plain("nonsense") == Pauses()


@pytest.mark.parametrize(
    ("pause", "row"),
    [
        (
            EndedPause(from_s=5.0, stopped_s=3.0, until_s=9.0, on_s=3.9, bar_s=4.0),
            [5.0, 3.0, 9.0, 3.9, 4.0],
        ),
        (OpenPause(from_s=5.0, stopped_s=3.0, bar_s=4.0), [5.0, 3.0, None, None, 4.0]),
        (LastPause(from_s=5.0, stopped_s=3.0), [5.0, 3.0, None, None, None]),
    ],
)
def test_a_take_says_how_a_pause_stands(pause, row):
    """The rows are those that earlier versions wrote: five figures, null for what never came."""
    assert Pauses((pause,)).as_plain() == [row]
    assert Pauses.from_plain([row]) == Pauses((pause,))
