"""Whole runs on the stepped clock: what is shown, kept and graded, and that nothing is lost."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.play import entry as play_entry
from playalong.app.play import play_session
from playalong.app.run.context import RunContext
from playalong.app.run.run import Run
from playalong.app.run.task import Task
from playalong.commands.main import main
from playalong.grading.grade_run import judged_hits
from playalong.grading.text import as_json
from playalong.grading.verdicts import Rules
from playalong.pattern.reader import read as read_pattern
from playalong.records.takes import read as read_take
from playalong.screen.base.keys import Key
from playalong.simulation.player import Performance, SimulatedPort, perform
from playalong.simulation.skills import SKILLS, Skill
from tests.helpers.stage import Keys, context_on, unseen_window
from tests.helpers.steady_player import STEADY

TEXT = """
title = "A Test"
meter = "4/4"
tempo = 100
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "--g- X--g -g-- X---"
kick   = "x--x ---x --x- ----"
[variation.push]
kick = "---- ---- ---- ---x"
"""


@pytest.fixture
def task() -> Task:
    return Task(
        pattern=read_pattern(TEXT, "a-test"),
        tempo_bpm=100.0,
        bars=3,
        variations=("push",),
        rules=Rules(),
    )


@pytest.fixture
def context():
    with unseen_window() as window:
        yield context_on(window, frame_s=0.02, patience_s=2.0)


def played(task: Task, context: RunContext, seed: int = 5, *, skill: Skill = SKILLS["beginner"]):
    performance = perform(task.targets(), skill, seed)
    return Run(
        task, context, lambda start_s: SimulatedPort(performance, start_s, context.clock.now)
    ).play()


def test_the_take_graded_again_gives_the_same(task, context, tmp_path):
    ended = played(task, context)
    kept = play_session.save_run(task, ended, tmp_path)
    again = grade_take(task.pattern, read_take(kept.path), Options())
    assert as_json(again.grade) == as_json(kept.graded.grade)
    assert again.grade.counts.targets == 3 * 18
    assert judged_hits(again.run) == judged_hits(kept.graded.run)


def test_what_was_shown_is_what_is_graded(task, context, tmp_path):
    """The last word on the sheet for every target and hit is the grade's."""
    said = []
    performance = perform(task.targets(), SKILLS["beginner"], 5)
    run = Run(task, context, lambda start_s: SimulatedPort(performance, start_s, context.clock.now))
    shown = run.judging.sheet.judged
    run.judging.sheet.judged = lambda word: (said.append(word), shown(word))  # type: ignore[method-assign]
    kept = play_session.save_run(task, run.play(), tmp_path)
    for kind, number in (
        ("target", lambda word: word.target),
        ("hit", lambda word: word.hit),
    ):
        last = {number(w): w for w in said if number(w) is not None and not w.grace}
        graded = {
            number(w): w
            for w in kept.graded.run.verdicts.events()
            if number(w) is not None and not w.grace
        }
        assert {k: (w.verdict, w.error_ms) for k, w in last.items()} == {
            k: (w.verdict, w.error_ms) for k, w in graded.items()
        }, kind


def test_escape_ends_early_and_grades_what_was_played(task, context, tmp_path):
    bar_s = 2.4
    at_s = 1.0 + bar_s + 1.5 * bar_s  # lead, count-in, a bar and a half
    window = Keys(context.window, context.clock, (at_s, Key.ESCAPE))
    left = replace(context, window=window, notices=(), frame_s=0.02)
    kept = play_session.save_run(task, played(task, left, skill=STEADY), tmp_path)
    counts = kept.graded.grade.counts
    assert 18 < counts.targets < 36
    assert counts.missed == 0
    assert kept.graded.grade.bars == 2
    again = grade_take(task.pattern, read_take(kept.path), Options())
    assert as_json(again.grade) == as_json(kept.graded.grade)


class Vanishing(SimulatedPort):
    """A port whose cable is pulled."""

    def __init__(self, performance: Performance, start_s: float, now, *, gone_s: float) -> None:
        super().__init__(performance, start_s, now)
        self._gone_s, self._clock = gone_s, now

    def is_there(self) -> bool:
        return self._clock() < self._gone_s

    def reopen(self) -> bool:
        return False

    def poll(self):
        return super().poll() if self.is_there() else []


def test_a_port_that_vanishes_loses_nothing(task, context, tmp_path):
    performance = perform(task.targets(), STEADY, 1)
    run = Run(task, context, lambda s: Vanishing(performance, s, context.clock.now, gone_s=s + 3.0))
    kept = play_session.save_run(task, run.play(), tmp_path)
    assert "simulated player" in kept.trouble[0]
    assert "went away" in kept.trouble[0]
    assert kept.graded.grade.counts.missed == 0
    assert kept.graded.grade.counts.matched >= 18
    before = [t for t, data in performance.messages if data[0] == 0x99 and t < 3.0]
    assert len(read_take(kept.path).note) >= len(before)


def test_a_folder_that_cannot_be_written(task, context, tmp_path, monkeypatch):
    """The take is kept elsewhere, and it is said where."""
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("")
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    kept = play_session.save_run(task, played(task, context), blocked)
    assert kept.path.parent == tmp_path
    assert str(blocked) in kept.trouble[0]
    assert str(kept.path) in kept.trouble[0]
    assert len(read_take(kept.path).note) > 30


def test_a_run_without_a_hit_is_graded(task, context, tmp_path):
    class Silent(SimulatedPort):
        def poll(self):
            return []

    performance = perform(task.targets(), STEADY, 1)
    run = Run(task, context, lambda s: Silent(performance, s, context.clock.now))
    kept = play_session.save_run(task, run.play(), tmp_path)
    assert kept.graded.grade.counts.missed == 54
    assert kept.graded.grade.score.total == 0


def test_the_demo_leaves_a_take_a_grade_and_pictures(tmp_path, capsys):
    def run(where: Path) -> tuple[dict, set[str]]:
        assert main(["demo", "--fast", "--bars", "2", "--seed", "7", "--out", str(where)]) == 0
        capsys.readouterr()
        files = list(where.iterdir())
        told = next(file for file in files if file.suffix == ".json")
        return json.loads(told.read_text()), {file.suffix for file in files}

    first, kinds = run(tmp_path / "one")
    second, _ = run(tmp_path / "two")
    assert kinds == {".mid", ".json", ".png", ".db"}
    assert first == second
    assert first["bars"] == 2
    assert first["counts"]["targets"] == 2 * 17


def test_the_demo_shows_and_tells_all_that_a_sheet_can_say(tmp_path, capsys):
    """A habit of one limb, a ghost note that is too loud and a missed stroke, with no option."""
    assert main(["demo", "--fast", "--out", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    (file,) = tmp_path.glob("*-grade.json")
    told = json.loads(file.read_text())
    assert {"ghost_loud", "stroke_late"} <= {finding["code"] for finding in told["findings"]}
    assert told["counts"]["missed"] >= 1
    for finding in told["findings"]:
        assert finding["text"] in said
    assert f"{told['counts']['missed']} missed" in said
    assert told["bars"] == 8


def test_escape_in_the_count_in_leaves_nothing_to_grade(task, context, tmp_path):
    window = Keys(context.window, context.clock, (1.5, Key.ESCAPE))
    left = replace(context, window=window, notices=(), frame_s=0.02)
    kept = play_session.save_run(task, played(task, left), tmp_path)
    assert kept.graded.grade.counts.targets == 0
    assert kept.graded.grade.score.total == 0
    page = play_session.result_page(task, kept, context)
    context.window.frame(page, 0.0)


def test_bars_that_are_asked_for_go_before_where_a_take_broke_off(task, context, tmp_path):
    window = Keys(context.window, context.clock, (1.0 + 1.5 * 2.4, Key.ESCAPE))
    left = replace(context, window=window, notices=(), frame_s=0.02)
    kept = play_session.save_run(task, played(task, left, skill=STEADY), tmp_path)
    take = read_take(kept.path)
    whole = grade_take(task.pattern, take, Options(bars=2)).grade
    assert kept.graded.grade.counts.targets < 18
    assert whole.counts.targets == 36
    assert whole.counts.missed > 18


def test_a_port_of_our_own_without_its_library_is_told(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "playalong.midi_io.rtmidi_port", None)  # it does not load
    assert main(["demo", "--through-port", "--bars", "1", "--out", str(tmp_path)]) == 2
    said = capsys.readouterr().err
    assert "python-rtmidi" in said
    assert "leave out --through-port" in said


def test_a_long_run_without_a_clock_tells_how_far_it_is(tmp_path, monkeypatch):
    """Thousands of strokes take longer than anybody waits without a word."""
    told = []
    monkeypatch.setattr(play_entry, "_LONG", 10)
    monkeypatch.setattr(play_entry, "work_in_terminal", lambda words, work: work(told.append))
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    assert main(["demo", "--fast", "--bars", "2"]) == 0
    assert told == sorted(told)
    assert told[0] == 0.0
    assert told[-1] > 0.9
