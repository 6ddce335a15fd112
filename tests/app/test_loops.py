"""Bars of a recording again and again, on the stepped clock."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from playalong.app.play.loop_session import LoopSession, most_won
from playalong.app.play.pass_run import of_pass
from playalong.app.play.play_session import PlaySession, save_run
from playalong.app.recording.loading import along
from playalong.app.run.along import Along, Cut
from playalong.app.run.clock import SteppedClock
from playalong.app.run.context import RunContext
from playalong.app.run.run import RunResult
from playalong.app.run.task import Passes, Task
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit
from playalong.midi.port import Port
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.reader import read as read_pattern
from playalong.pattern.voices import Limb
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.pages.passes import PassesPage
from playalong.screen.pages.ready import ReadyPage
from playalong.screen.pages.run import RunPage
from playalong.simulation.player import SimulatedPort, perform
from playalong.sound.recordings.onsets import Onsets
from playalong.sound.timeline import RATE
from tests.helpers.stage import Hands, Keys, context_on, unseen_window
from tests.helpers.steady_player import STEADY
from tests.sound.making_music import GROOVES, Played, rendered, swaying

PATTERN = read_pattern(
    """
title = "To The Band"
meter = "4/4"
tempo = 110
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- X- -- X-"
kick   = "x- -- xx --"
""",
    "to-the-band",
)

BEATS_S = swaying(40)
TRUE = BeatMap.of(BEATS_S)
NEAR = replace(STEADY, error_ms=dict.fromkeys(Limb, (0.0, 5.0)))
FAR = replace(STEADY, error_ms=dict.fromkeys(Limb, (0.0, 60.0)))


class InMemory(Played):
    """A recording that was never a file."""

    path = Path("rainy evening.wav")
    length_s = 24.0
    notice = ""

    def overview(self, begin_s: float, end_s: float, columns: int) -> np.ndarray:
        return np.zeros((columns, 2), np.float32)


@pytest.fixture(scope="module")
def recording() -> InMemory:
    return InMemory(rendered(BEATS_S, GROOVES["straight"]).sound)


@pytest.fixture
def context() -> Iterator[RunContext]:
    clock = SteppedClock()
    with unseen_window() as window:
        yield context_on(Keys(window, clock), clock, frame_s=0.02, listen_s=0.02)


def task_of(to: Along, passes: Passes) -> Task:
    task = Task(pattern=PATTERN, tempo_bpm=110.0, bars=2, variations=(), rules=Rules())
    return replace(task, passes=passes).going_along(to)


class Heard(LoopSession):
    """One of which what it sounded until it was over is at hand."""

    sound: np.ndarray


def looped(recording, context: RunContext, passes: Passes, *, skill=NEAR, percent=100):
    """Bars 3 and 4 of it again and again; the session, and each run with when bar 1 began."""
    begun: list[float] = []

    def connect(task: Task, start_s: float) -> Port:
        begun.append(start_s)
        played = perform(task.targets(), skill, 3 + len(begun))
        return SimulatedPort(played, start_s, context.clock.now)

    to = along(recording, TRUE, Cut(first_bar=2, last_bar=3, percent=percent))
    loop = Heard(task_of(to, passes), context, connect)
    runs: list[tuple[Task, RunResult]] = []
    for run in loop.runs():
        runs.append(run)
        loop.sound = context.output.timeline.render(
            context.output.frame_at(begun[0] + 3 * PASS_S + 2.0)
        )
    return loop, runs, begun


PASS_S = TRUE.bar_start_s(4) - TRUE.bar_start_s(2)


def test_it_goes_on_until_the_player_leaves_and_every_pass_has_its_grade(recording, context):
    context.window.plan = [(1.0 + 3.0 + 4.5 * PASS_S, Key.ESCAPE)]
    loop, runs, _ = looped(recording, context, Passes())
    assert len(runs) == 1  # one sheet, one take
    assert len(loop.passes) == 4
    assert all(one.is_clean and one.score > 90 for one in loop.passes)
    # A pass is graded as a run of its own would be: all its strokes, no more.
    task, ended = runs[0]
    each = {one.run.targets.time_s.tobytes() for one in loop.passes}
    assert len(each) == 1 or np.ptp([one.run.targets.end_s for one in loop.passes]) < 1e-6
    assert [len(one.run.hits) for one in loop.passes] == [len(loop.passes[0].run.targets)] * 4
    assert ended.page.passes == loop.marks()
    # The take says where it was broken off, and no stroke after is asked.
    assert task.bars >= 2 * 4
    assert 4 * PASS_S < ended.recording.info["until_s"] < 5 * PASS_S


def test_its_sound_joins_and_ends_where_it_is_asked_to(recording, context):
    loop, runs, begun = looped(recording, context, Passes(most=3))
    assert len(loop.passes) == 3
    sound = loop.sound
    heard_s, _ = Onsets.of(Played(sound)).peaks
    targets = runs[0][1].targets
    strong_s = targets.time_s[np.isin(targets.names, ("kick", "snare"))] + begun[0]
    assert max(np.abs(heard_s - at_s).min() for at_s in strong_s.tolist()) < 0.010
    assert np.abs(sound[round((begun[0] + 3 * PASS_S + 0.5) * RATE) :]).max() == 0.0


def test_each_pass_is_counted_in_if_that_is_wanted(recording, context):
    loop, runs, begun = looped(recording, context, Passes(most=3, counted=True))
    assert len(runs) == len(loop.passes) == 3
    # The count of a bar lies between, in the time that goes on.
    bar_s = float(np.diff(begun)[0]) - PASS_S
    assert bar_s == pytest.approx(4 * 60.0 / 110.0, rel=0.06)
    assert np.diff(begun) == pytest.approx([PASS_S + bar_s] * 2)


@pytest.mark.parametrize("counted", [False, True])
def test_it_goes_faster_by_itself_after_clean_passes(recording, context, counted):
    passes = Passes(most=5, counted=counted, faster_after=2)
    loop, runs, begun = looped(recording, context, passes, percent=70)
    percents = [one.percent for one in loop.passes]
    assert percents[:2] == [70, 70]
    assert percents == sorted(percents)
    # The pass that was under way is played to its end.
    assert percents[2:] == ([75, 75, 80] if counted else [70, 75, 75])
    for (_, ended), next_s in zip(runs, begun[1:], strict=False):
        assert next_s >= ended.next_s - 1e-9


def test_it_goes_no_faster_where_nothing_is_clean(recording, context):
    loop, _, _ = looped(recording, context, Passes(most=4, faster_after=1), skill=FAR)
    assert [(one.percent, one.is_clean) for one in loop.passes] == [(100, False)] * 4


def test_a_take_has_its_passes_graded_anew_alike(recording, context, tmp_path):
    loop, runs, _ = looped(recording, context, Passes(most=3, faster_after=1), percent=80)
    assert [one.percent for one in loop.passes] == [80, 80, 85]
    for task, ended in runs:
        graded = save_run(task, ended, tmp_path).graded
        assert graded.grade.counts.matched == graded.grade.counts.targets
        assert (
            graded.run.targets.bars
            == ended.recording.take().info["until_s"] / (task.length_s() / task.bars)
            if "until_s" in ended.recording.info
            else True
        )
    assert most_won([graded.grade])[0] == graded.grade.advice


def test_strokes_about_the_seam_belong_to_the_nearer_pass(recording):
    targets = replace(
        task_of(along(recording, TRUE, Cut(first_bar=2, last_bar=3, rounds=3)), Passes()), bars=6
    ).targets()
    line_s = float(targets.bar_starts_s[2])
    hits = [
        Hit(time_s=line_s + by_s, voice="hi-hat", velocity=80.0) for by_s in (-0.2, -0.05, 0.05)
    ]
    parts = [of_pass(targets, hits, number, bars=2) for number in range(3)]
    assert [len(own) for _, own in parts] == [1, 2, 0]
    assert parts[1][1].time_s == pytest.approx([-0.05, 0.05])
    assert [part.start_s for part, _ in parts] == [0.0, 0.0, 0.0]


class Sits(Hands):
    """A window that somebody looks at."""

    offscreen = False


def test_a_sitting_chooses_bars_plays_them_and_ends_on_one_page(recording, tmp_path):
    clock, seen = SteppedClock(), list[object]()
    keys = iter([*[Key.DOWN] * 2, Key.RIGHT, *[Key.UP], Key.RIGHT, Key.ENTER])

    def script(page, now_s):
        if not seen or seen[-1] is not page:
            seen.append(page)
        if isinstance(page, ReadyPage):
            return next(keys)
        if isinstance(page, RunPage):
            return Key.ESCAPE if now_s > 2.5 * PASS_S else None
        return Key.ESCAPE if isinstance(page, PassesPage) else None

    class Kit(SimulatedPort):
        def __init__(self) -> None:
            self.name = "a kit"

        def poll(self):
            return []

    with unseen_window() as window:
        sitting = context_on(Sits(window, script), clock, frame_s=0.02, listen_s=0.02)
        to = along(recording, TRUE, Cut(first_bar=2, last_bar=3))
        session = PlaySession(task_of(to, Passes()), sitting, Kit(), folder=tmp_path)
        saved = list(session.runs())
    assert len(saved) == 1
    ready = [page for page in seen if isinstance(page, ReadyPage)]
    assert [page.recording.bars for page in ready][-1] == (3, 4)
    last = seen[-1]
    assert isinstance(last, PassesPage)
    assert last.bars == "bars 4 to 5"
    assert len(last.passes) == 2
    assert last.offers(Outcome.AGAIN)


TWO_BARS = read_pattern(
    """
title = "Three Doors"
meter = "4/4"
tempo = 120
[[bar]]
hi-hat = "xx xx xx xx"
kick   = "x- -- xx --"
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- X- -- X-"
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- X- -- XX"
""",
    "three-doors",
)


def test_bars_of_a_pattern_are_played_again_and_again_and_go_faster(context, tmp_path):
    """Without a recording; per cent are those of the tempo that was asked for."""
    begun: list[float] = []

    def connect(task: Task, start_s: float) -> Port:
        begun.append(start_s)
        return SimulatedPort(
            perform(task.targets(), NEAR, 7 + len(begun)), start_s, context.clock.now
        )

    task = Task(pattern=PATTERN, tempo_bpm=110.0, bars=2, variations=(), rules=Rules())
    loop = LoopSession(replace(task, passes=Passes(most=5, faster_after=2)), context, connect)
    runs = list(loop.runs())
    assert [one.percent for one in loop.passes] == [100, 100, 100, 105, 105]
    assert [part.tempo_bpm for part, _ in runs] == [110.0, 115.5]
    assert all(one.is_clean for one in loop.passes)
    for part, ended in runs:
        saved = save_run(part, ended, tmp_path)
        assert saved.graded.grade.score.total > 90


def test_a_part_of_a_pattern_is_chosen_on_the_page_and_looped(tmp_path):
    """Bars 2 to 3 of three, again and again, by the keys that strokes stand for."""
    clock, seen = SteppedClock(), list[object]()
    keys = iter(
        [
            *[Key.DOWN] * 2,
            Key.RIGHT,  # these bars: again and again
            Key.UP,  # what was bars is now the last bar
            Key.UP,
            Key.RIGHT,  # from bar 2
            Key.ENTER,
        ]
    )

    def script(page, now_s):
        if not seen or seen[-1] is not page:
            seen.append(page)
        if isinstance(page, ReadyPage):
            return next(keys)
        if isinstance(page, RunPage):
            return Key.ESCAPE if now_s > 9.0 else None
        return Key.ESCAPE if isinstance(page, PassesPage) else None

    with unseen_window() as window:
        sitting = context_on(Sits(window, script), clock, frame_s=0.02, listen_s=0.02)
        task = Task(pattern=TWO_BARS, tempo_bpm=120.0, bars=3, variations=(), rules=Rules())
        kit = SimulatedPort(perform(task.targets(), NEAR, 1), 1e9, clock.now)
        session = PlaySession(task, sitting, kit, folder=tmp_path)
        (saved,) = session.runs()
    ready = [page for page in seen if isinstance(page, ReadyPage)]
    assert [len(page.bars) for page in ready][-1] == 2
    last = seen[-1]
    assert isinstance(last, PassesPage)
    assert last.bars == "bars 2 to 3"
    assert len(last.passes) == 2
    said = saved.graded.expected.said
    assert [part["bar"] for part in said.excerpt["parts"]] == [2, 3]
