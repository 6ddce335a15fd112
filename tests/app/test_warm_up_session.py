"""The warm-up from end to end, on the stepped clock: played, kept, and graded again."""

from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.home.remembered import remembered
from playalong.app.open_devices import Look
from playalong.app.play.entry import Player
from playalong.app.run.run import Run, RunResult
from playalong.app.user_folders import UserFolders
from playalong.app.warm_up import warm_up_session
from playalong.app.warm_up.entry import Wish, warm_up
from playalong.app.warm_up.saved import SETS, SavedWarmUps, exercise_patterns, load
from playalong.app.warm_up.warm_up_session import WarmUpResult
from playalong.commands.main import main
from playalong.grading.verdicts import Rules
from playalong.practice.warm_up.adapting import Knowledge
from playalong.practice.warm_up.exercises import EXERCISES, playable
from playalong.practice.warm_up.machine import State, WarmUp
from playalong.practice.warm_up.routine import routine
from playalong.records.pattern_files import load_pattern
from playalong.records.store import runs
from playalong.records.store.database import Database
from playalong.records.takes import read
from playalong.screen.base.page import Outcome
from playalong.screen.base.window import Window
from playalong.simulation.skills import SKILLS

SEED, MINUTES = 4, 2.0


@pytest.fixture
def home(tmp_path: Path) -> UserFolders:
    return UserFolders(config=tmp_path / "config", data=tmp_path / "data")


def warmed(home: UserFolders, wish: Wish | None = None, skill: str = "advanced") -> WarmUpResult:
    """A warm-up by somebody simulated."""
    return warm_up(
        wish or Wish(minutes=MINUTES, seed=SEED),
        Rules(),
        Look(),
        by=Player(skill=SKILLS[skill], seed=2, fast=True),
        profile=None,
        home=home,
        folder=home.data,
    )


def saved(home: UserFolders) -> SavedWarmUps:
    """What is saved of the simulated player."""
    return load(replace(home, simulated=True), "advanced")


def test_a_warm_up_is_kept_and_its_takes_graded_again_give_the_same_curve(home):
    result = warmed(home)
    assert result.summary.temperature > 5.0
    assert not result.trouble
    seen = saved(home)
    (day,) = seen.diary.days
    assert day.warmest == pytest.approx(result.summary.warmest, abs=0.1)
    assert seen.knowledge.rounds > 0
    database = Database.open(home.data / "simulated.db")
    rows = database.rows("SELECT kind, state, score, file FROM run ORDER BY id")
    database.close()
    assert {(kind, state) for kind, state, _, _ in rows} == {("warm-up", runs.KEPT)}
    assert all(score is not None for _, _, score, _ in rows)

    chosen = routine(
        playable(SETS["kit"], exercise_patterns()), Knowledge(), minutes=MINUTES, seed=SEED
    )
    again = WarmUp(
        chosen,
        exercise_patterns(),
        level=Rules().level,
        knowledge=Knowledge(),
        seed=SEED,
        day=date.today().isoformat(),
    )
    for path in [Path(file) for _, _, _, file in rows]:
        again.rested()
        bout = again.bout
        assert bout is not None
        again.played(grade_take(bout.pattern, read(path), Options()).run)
    assert again.state is State.OVER
    assert again.temperature == result.summary.temperature
    assert again.knowledge == seen.knowledge


def test_the_first_page_goes_on_with_what_was_learned_and_not_with_an_exercise(home, pressed):
    pressed += [Outcome.LEAVE]
    warmed(home)
    found = remembered(replace(home, simulated=True), "advanced")
    assert found.last is None
    assert sum(found.days.values()) > 0.0


def test_what_cannot_be_played_on_a_pad_is_left_out(home):
    warmed(home, Wish(minutes=MINUTES, seed=SEED, on="pad"))
    names = {bout.exercise for bout in saved(home).diary.days[0].bouts}
    assert names <= {one.name for one in playable(["snare"], exercise_patterns())}


def test_the_pattern_that_is_learned_is_the_music_at_the_end(home):
    result = warmed(home, Wish(minutes=3.0, seed=SEED, lesson=load_pattern("late-bus-home")))
    assert "Next: Late Bus Home." in result.lines


@pytest.fixture
def pressed(monkeypatch) -> list[Outcome | None]:
    """What the player asks for on each page that stands still, in order; then nothing."""
    asked: list[Outcome | None] = []

    def hold(*_: object, **__: object) -> Outcome | None:
        return asked.pop(0) if asked else None

    monkeypatch.setattr(warm_up_session, "hold", hold)
    return asked


def test_leaving_keeps_what_was_played_and_the_next_day_goes_on_from_it(home, pressed):
    pressed += [Outcome.LEAVE]  # after the first exercise: the page before it needs no answer
    warmed(home)
    first = saved(home)
    assert len(first.diary.days[0].bouts) == 1
    assert len(list((home.data / "takes").rglob("*.mid"))) == 1
    pressed += [Outcome.LEAVE]
    warmed(home)
    second = saved(home)
    assert len(second.diary.days) == 2
    assert second.knowledge.rounds > first.knowledge.rounds


def test_an_exercise_that_is_skipped_is_not_played(home, pressed):
    pressed += [Outcome.SKIP]  # of three, the second
    warmed(home, Wish(minutes=3.0, seed=SEED))
    assert len(saved(home).diary.days[0].bouts) == 2


def test_length_and_pads_are_chosen_before_the_first_stroke_and_remembered(
    home, pressed, monkeypatch
):
    shown = property(lambda _: False, lambda *_: None)
    monkeypatch.setattr(Window, "offscreen", shown, raising=False)
    longer, other = Outcome.FASTER, Outcome.NEXT
    pressed += [longer, longer, longer, other, Outcome.SLOWER, Outcome.START, Outcome.LEAVE]
    warmed(home, Wish(seed=SEED))
    assert len(saved(home).diary.days) == 1
    seen = saved(home)
    assert (seen.minutes, seen.on) == (10.0, "pad")
    (bout,) = seen.diary.days[0].bouts
    assert bout.exercise in {one.name for one in playable(["snare"], exercise_patterns())}


def test_its_end_leads_on_to_the_lesson(home, pressed, monkeypatch):
    shown = property(lambda _: False, lambda *_: None)
    monkeypatch.setattr(Window, "offscreen", shown, raising=False)
    pressed += [Outcome.START, Outcome.LEAVE, Outcome.START]
    result = warmed(home, Wish(minutes=3.0, seed=SEED, lesson=load_pattern("late-bus-home")))
    assert result.to_lesson
    assert not pressed


def test_who_ends_the_program_between_two_exercises_loses_nothing(home, monkeypatch):
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    play = Run.play

    def played(run: Run, *told: Any) -> RunResult:
        ended = play(run, *told)
        monkeypatch.setattr(warm_up_session, "hold", interrupted)
        return ended

    monkeypatch.setattr(Run, "play", played)
    with pytest.raises(KeyboardInterrupt):
        warmed(home)
    assert len(saved(home).diary.days[0].bouts) == 1


def test_a_run_that_is_interrupted_is_kept_and_ends_the_program(home, monkeypatch):
    play = Run.play
    monkeypatch.setattr(
        Run, "play", lambda run, *told: replace(play(run, *told), is_interrupted=True)
    )
    with pytest.raises(KeyboardInterrupt):
        warmed(home)
    assert len(saved(home).diary.days[0].bouts) == 1


def test_the_command_lists_every_exercise(capsys):
    assert main(["warmup", "--list"]) == 0
    out = capsys.readouterr().out
    assert all(one.name in out for one in EXERCISES)


def test_the_command_plays_a_teachers_routine(tmp_path, capsys):
    file = tmp_path / "feet.toml"
    file.write_text('title = "Feet"\nexercises = ["kick-doubles"]\n')
    assert main(["check", str(file)]) == 0
    assert "a warm-up of 1 exercise" in capsys.readouterr().out
    options = ["--player", "professional", "--fast", "--out", str(tmp_path / "out")]
    assert main(["warmup", "--file", str(file), *options]) == 0
    out = capsys.readouterr().out
    assert "Kick Doubles" in out
    assert "physician" in out


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["--minutes", "1"], "2 to 60"),
        (["--minutes", "nan"], "2 to 60"),
        (["--seed", "-1"], "0 or more"),
        (["--on", "table"], "pad-and-kick"),
        (["--then", "no-such-pattern", "--player", "beginner", "--fast"], "no pattern"),
        (["--list", "--minutes", "5"], "--minutes"),
        (["--file", "nowhere.toml", "--player", "beginner"], "no file"),
        (["--file", "nowhere.toml", "--minutes", "5"], "--minutes"),
        (["--fast", "--port", "x"], "--port"),
    ],
)
def test_what_cannot_be_is_told(typed, said, capsys):
    assert main(["warmup", *typed]) == 2
    assert said in capsys.readouterr().err


def test_a_routine_that_cannot_be_played_there_is_told(tmp_path, capsys):
    file = tmp_path / "feet.toml"
    file.write_text('title = "Feet"\nexercises = ["kick-doubles"]\n')
    typed = ["warmup", "--file", str(file), "--on", "pad", "--player", "beginner", "--fast"]
    assert main([*typed, "--out", str(tmp_path)]) == 2
    assert "Nothing in" in capsys.readouterr().err
