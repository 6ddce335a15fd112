"""Nothing that fails beside a run costs it: drawing, sheet, gauges, judging, the grade at last."""

from collections.abc import Callable
from pathlib import Path

import pytest

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.play import play_session
from playalong.app.run.context import RunContext
from playalong.app.run.run import Run
from playalong.app.run.task import Task
from playalong.grading.verdicts import Rules
from playalong.pattern.reader import read
from playalong.records.takes import read as read_take
from playalong.simulation.player import SimulatedPort, perform
from playalong.support.errors import UserError
from tests.helpers.stage import context_on, unseen_window
from tests.helpers.steady_player import STEADY

PATTERN = read(
    'title = "T"\nmeter = "4/4"\ntempo = 120\n[[bar]]\nhi-hat = "xx xx xx xx"\n'
    'snare = "-- x- -g x-"\nkick = "x- -- x- --"\n',
    "t",
)
TASK = Task(pattern=PATTERN, tempo_bpm=120.0, bars=2, variations=(), rules=Rules())


@pytest.fixture
def context():
    with unseen_window() as window:
        yield context_on(window, frame_s=0.02)


@pytest.fixture
def mistakes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where mistakes of the program are kept."""
    monkeypatch.setattr("platformdirs.user_data_path", lambda _: tmp_path)
    return tmp_path / "mistakes"


def failing(*_: object) -> None:
    raise IndexError("deque index out of range")


def break_drawing(run: Run) -> None:
    run.page.draw = failing


def break_gauge_drawing(run: Run) -> None:
    run.page.timing = None


def break_sheet(run: Run) -> None:
    run.judging.sheet.judged = failing


def break_gauges(run: Run) -> None:
    run.judging.gauges.heard = failing


def break_judging(run: Run) -> None:
    run.judging._grader.hit = failing


def break_settling(run: Run) -> None:
    run.judging._grader.time_passed = failing


@pytest.mark.parametrize(
    ("breaks", "what"),
    [
        (break_drawing, "drawing"),
        (break_gauge_drawing, "drawing"),
        (break_sheet, "the sheet"),
        (break_gauges, "the gauges"),
        (break_judging, "judging"),
        (break_settling, "judging"),
    ],
)
def test_the_take_is_whole_and_graded_whatever_fails_beside_it(
    context: RunContext,
    tmp_path: Path,
    mistakes: Path,
    breaks: Callable[[Run], None],
    what: str,
) -> None:
    performance = perform(TASK.targets(), STEADY, 1)
    run = Run(TASK, context, lambda start_s: SimulatedPort(performance, start_s, context.clock.now))
    breaks(run)
    ended = run.play()
    assert list(ended.mishaps) == [what]
    kept = play_session.save_run(TASK, ended, tmp_path)
    assert kept.graded.grade.counts.matched == len(TASK.targets())
    again = grade_take(PATTERN, read_take(kept.path), Options())
    assert again.grade == kept.graded.grade
    (told,) = kept.trouble
    assert f"a mistake with {what}" in told
    assert "all that was played is kept" in told
    (file,) = mistakes.iterdir()
    assert "Traceback" in file.read_text()
    assert str(file) in told


def test_a_run_without_mishaps_tells_of_none(context, tmp_path, mistakes):
    performance = perform(TASK.targets(), STEADY, 1)
    ended = Run(
        TASK, context, lambda start_s: SimulatedPort(performance, start_s, context.clock.now)
    ).play()
    assert not ended.mishaps
    assert play_session.save_run(TASK, ended, tmp_path).trouble == ()
    assert not mistakes.exists()


def test_what_is_said_at_a_bar_line_may_fail(context, tmp_path, mistakes):
    performance = perform(TASK.targets(), STEADY, 1)
    run = Run(TASK, context, lambda start_s: SimulatedPort(performance, start_s, context.clock.now))
    ended = run.play(failing)
    assert list(ended.mishaps) == ["what is said at the bar line"]
    assert len(ended.hits) == len(TASK.targets())


def test_a_grade_that_fails_says_where_the_take_is(context, tmp_path, mistakes, monkeypatch):
    performance = perform(TASK.targets(), STEADY, 1)
    ended = Run(
        TASK, context, lambda start_s: SimulatedPort(performance, start_s, context.clock.now)
    ).play()
    monkeypatch.setattr(play_session, "grade_take", failing)
    with pytest.raises(UserError, match="The take is kept: ") as told:
        play_session.save_run(TASK, ended, tmp_path)
    (path,) = tmp_path.glob("*.mid")
    assert str(path) in str(told.value)
    assert "deque index out of range" in str(told.value)
