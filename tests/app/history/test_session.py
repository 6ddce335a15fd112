"""Looking back in the window: every page is reached by keys, and what is asked for is done."""

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from playalong.app import broken_off
from playalong.app.history import session
from playalong.app.play.play_session import save_run
from playalong.app.run.context import RunContext
from playalong.app.run.run import Run
from playalong.app.run.task import Task
from playalong.app.user_folders import UserFolders
from playalong.grading.verdicts import Rules
from playalong.profile.profile import Profile
from playalong.records.pattern_files import library
from playalong.records.store import runs
from playalong.screen.base.keys import Click, Key, Press
from playalong.screen.base.page import Page
from playalong.screen.history_pages.bar_by_bar import BarByBarPage
from playalong.screen.history_pages.choices import ChoicesPage
from playalong.screen.history_pages.comparison import ComparisonPage
from playalong.screen.history_pages.look_back import LookBackPage
from playalong.screen.pages.result import ResultPage
from playalong.screen.pages.run import RunPage
from playalong.screen.pages.wait import WaitPage
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import SKILLS
from tests.helpers.stage import Hands, context_on, unseen_window

PATTERN = library().get("late-bus-home")


@pytest.fixture
def home(tmp_path: Path) -> UserFolders:
    return UserFolders(config=tmp_path / "config", data=tmp_path / "data")


@pytest.fixture
def context(home: UserFolders) -> Iterator[RunContext]:
    profile = Profile(kit="Practice Kit", player="Ines")
    with unseen_window() as window:
        yield context_on(window, frame_s=0.1, profile=profile, memory=home.memory)


def played(context: RunContext, skill: str = "intermediate", bars: int = 1) -> Run:
    task = Task(pattern=PATTERN, tempo_bpm=100.0, bars=bars, variations=(), rules=Rules())
    performance = perform(task.targets(), SKILLS[skill], 3)
    clock = context.clock
    return Run(task, context, lambda start_s: SimulatedPort(performance, start_s, clock.now))


@pytest.fixture
def two_runs(context: RunContext, home: UserFolders) -> None:
    for skill in ("beginner", "professional"):
        run = played(context, skill)
        save_run(run._task, run.play(), home.data / "takes", memory=context.memory)


def pressing(context: RunContext, *keys: Press | None) -> tuple[RunContext, list[Page]]:
    """Whoever presses one key on each page that is shown, and then leaves all; and the pages."""
    seen: list[Page] = []
    left = list(keys)

    def script(page: Page, now_s: float) -> Press | None:
        seen.append(page)
        if isinstance(page, RunPage | WaitPage):
            return None  # it is listened to, or waited for
        return left.pop(0) if left else Key.ESCAPE

    return replace(context, window=Hands(context.window, script)), seen


def kinds(seen: list[Page]) -> list[type]:
    return [type(page) for page in seen]


def test_a_run_is_opened_again_bar_by_bar_heard_and_compared(two_runs, context, home):
    keys = ["w", Key.DOWN, Key.ENTER, Key.ENTER, Key.RIGHT, Key.ENTER, None, Key.ESCAPE, "c"]
    hands, seen = pressing(context, *keys, Key.ESCAPE, "l")
    session.look_back(hands, home, "Ines")
    order = [kind for at, kind in enumerate(kinds(seen)) if at == 0 or kinds(seen)[at - 1] != kind]
    assert order == [
        LookBackPage,
        ResultPage,
        BarByBarPage,
        RunPage,
        BarByBarPage,
        ResultPage,
        ComparisonPage,
        ResultPage,
        RunPage,
        ResultPage,
        LookBackPage,
    ]


def test_a_run_is_chosen_with_the_mouse(two_runs, context, home):
    """One click chooses it, and one more opens it."""
    seen: list[Page] = []

    def script(page: Page, now_s: float) -> Press | None:
        seen.append(page)
        if isinstance(page, LookBackPage) and ResultPage not in kinds(seen):
            line, _ = page._lines[1]
            return Click(*line.center)
        return Key.ESCAPE

    session.look_back(replace(context, window=Hands(context.window, script)), home, "Ines")
    assert kinds(seen) == [LookBackPage, LookBackPage, ResultPage, LookBackPage]
    assert seen[0].chosen == 1


def test_a_pattern_and_a_run_can_be_asked_for_at_once(two_runs, context, home):
    hands, seen = pressing(context)
    session.look_back(hands, home, "Ines", number=1)
    assert kinds(seen) == [ResultPage]
    hands, seen = pressing(context, "p", "p")
    session.look_back(hands, home, "Ines", pattern="late-bus-home")
    assert kinds(seen) == [LookBackPage] * 3


def test_a_players_data_is_exported_and_erased(two_runs, context, home, tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    hands, seen = pressing(context, "d", "e", "x", Key.ESCAPE, "x", "y", Key.ESCAPE)
    session.look_back(hands, home, "Ines")
    assert [kind for kind in kinds(seen) if kind is not WaitPage] == [
        LookBackPage,
        *[ChoicesPage] * 6,
    ]
    (folder,) = tmp_path.glob("playalong-Ines-*")
    assert (folder / "runs.csv").exists()
    assert home.players() == []
    assert not list((home.data / "takes").glob("*"))


@pytest.mark.parametrize(("key", "kept"), [(Key.ENTER, True), ("k", True), ("x", False)])
def test_a_run_that_was_broken_off_is_offered(context, home, monkeypatch, key, kept):
    run = played(context)
    run.play()
    run._log.close()  # the portions are on the disk, and the program is gone
    monkeypatch.setattr(time, "time", lambda: 4e9)
    hands, seen = pressing(context, Key.ESCAPE)
    broken_off.offer(hands, home.memory)
    assert kinds(seen) == [ChoicesPage]
    assert len(home.memory.broken_off()) == 1, "decided later"
    hands, _ = pressing(context, key)
    broken_off.offer(hands, home.memory)
    assert home.memory.broken_off() == []
    database = home.memory.opened()
    rows = database.rows("SELECT state, score IS NOT NULL FROM run")
    assert rows == ([("kept", key is Key.ENTER)] if kept else [])
    takes = list((home.data / "takes").glob("*.mid"))
    assert len(takes) == kept
    assert [runs.take_of(database, 1)] == ([takes[0].read_bytes()] if kept else [None])
    database.close()
