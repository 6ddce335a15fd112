"""What is played is remembered: in the store while it goes on, and with its grade afterwards."""

import json
import time
from collections.abc import Iterator
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest

from playalong.app import broken_off
from playalong.app.history import reading
from playalong.app.memory import Memory
from playalong.app.play import play_session
from playalong.app.run.context import RunContext
from playalong.app.run.run import Run
from playalong.app.run.task import Task
from playalong.commands.main import main
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.reader import read as read_pattern
from playalong.profile.profile import Profile
from playalong.records.store import runs
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import SKILLS
from tests.helpers.result_changes import SHORT
from tests.helpers.stage import context_on, unseen_window

TEXT = """
title = "A Test"
meter = "4/4"
tempo = 100
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "--g- X--g -g-- X---"
kick   = "x--x ---x --x- ----"
"""


@pytest.fixture
def task() -> Task:
    return Task(
        pattern=read_pattern(TEXT, "a-test"), tempo_bpm=100.0, bars=2, variations=(), rules=Rules()
    )


@pytest.fixture
def context(tmp_path: Path) -> Iterator[RunContext]:
    profile, memory = Profile(kit="Practice Kit", player="Ines"), Memory(folder=tmp_path / "data")
    with unseen_window() as window:
        yield context_on(window, frame_s=0.02, profile=profile, memory=memory)


def run_of(task: Task, context: RunContext) -> Run:
    performance = perform(task.targets(), SKILLS["intermediate"], 3)
    clock = context.clock
    return Run(task, context, lambda start_s: SimulatedPort(performance, start_s, clock.now))


def saved(task: Task, context: RunContext, takes: Path) -> play_session.SavedRun:
    return play_session.save_run(task, run_of(task, context).play(), takes, memory=context.memory)


def test_a_run_is_kept_with_the_grade_that_was_shown(task, context, tmp_path):
    kept = saved(task, context, tmp_path / "takes")
    database = context.memory.opened()
    (row,) = reading.history(
        database, reading.player_of(database, None, "Ines"), None, limit=9
    ).rows
    shown = kept.graded.as_json(with_hits=True)
    hits = shown.pop("hits")
    assert runs.grade_of(database, row.id) == (shown, hits)
    assert runs.take_of(database, row.id) == kept.path.read_bytes()
    assert (row.player, row.kit, row.title) == ("Ines", "Practice Kit", "A Test")
    assert row.score == shown["score"]["total"]
    database.close()
    assert context.memory.trouble == []


def test_a_run_that_was_killed_is_graded_as_far_as_it_went(task, context, tmp_path, monkeypatch):
    """Of its messages those that came before the last portion are there, and they are what the
    whole take begins with."""
    run = run_of(task, context)
    ended = run.play()
    run._log.close()  # the portions are on the disk, and the program is gone
    memory = context.memory
    monkeypatch.setattr(time, "time", lambda: 4e9)
    (found,) = memory.broken_off()
    assert memory.broken_off("Tom") == []
    whole = [(tick, data) for tick, data in ended.recording._messages]
    assert list(found.messages) == whole
    half = replace(found, messages=whole[: len(whole) // 2])
    graded = broken_off.take_up(memory, half, tmp_path)
    assert graded is not None
    score = graded.grade.score.total
    assert memory.broken_off() == []
    database = memory.opened()
    (row,) = reading.history(
        database, reading.player_of(database, "Ines", ""), "a-test", limit=9
    ).rows
    assert (row.score, row.state) == (pytest.approx(score, abs=1e-6), runs.KEPT)
    database.close()


def test_what_was_broken_off_can_be_thrown_away(task, context, monkeypatch):
    run = run_of(task, context)
    run.play()
    run._log.close()
    monkeypatch.setattr(time, "time", lambda: 4e9)
    context.memory.throw_away(context.memory.broken_off()[0])
    assert context.memory.broken_off() == []


@pytest.mark.parametrize("is_mended", [False, True])
def test_a_run_that_was_killed_without_a_store_is_offered_and_kept(
    task, context, tmp_path, monkeypatch, is_mended
):
    """Its file is all that there is; the take waits for the store where that is still useless."""
    memory = context.memory
    memory.path.mkdir(parents=True)  # a folder stands in the store's place
    run = run_of(task, context)
    ended = run.play()
    run._log.close()
    monkeypatch.setattr(time, "time", lambda: 4e9)
    if is_mended:
        memory.path.rmdir()
    (found,) = Memory(folder=memory.folder).broken_off("Ines")
    assert (found.row.title, found.row.player, found.row.id) == ("A Test", "Ines", 0)
    assert list(found.messages) == ended.recording._messages
    assert broken_off.take_up(memory, found, tmp_path / "takes") is not None
    assert Memory(folder=memory.folder).broken_off() == []
    (take,) = (tmp_path / "takes").glob("*.mid")
    if not is_mended:
        memory.path.rmdir()
        memory.open().close()
    database = Memory(folder=memory.folder).opened()
    assert database.rows("SELECT state, file FROM run") == [("kept", str(take))]
    database.close()


def test_a_run_without_a_store_can_be_thrown_away(task, context, monkeypatch):
    memory = context.memory
    memory.path.mkdir(parents=True)
    run = run_of(task, context)
    run.play()
    run._log.close()
    monkeypatch.setattr(time, "time", lambda: 4e9)
    memory.throw_away(memory.broken_off()[0])
    assert memory.broken_off() == []
    assert not list((memory.folder / "unfinished").iterdir())


def test_whoever_ends_the_program_in_a_run_keeps_what_was_played(task, context, tmp_path):
    heard = []

    def interrupt(now_s: float) -> None:
        if now_s > 1.5:
            raise KeyboardInterrupt

    ended = run_of(task, replace(context, seen=interrupt)).play()
    assert ended.is_interrupted
    kept = play_session.save_run(task, ended, tmp_path, memory=context.memory)
    assert 0 < len(kept.graded.run.hits) < len(task.targets())
    assert kept.graded.grade.counts.missed < 5, "what comes after is not asked"
    heard.append(Hits.of(ended.hits))
    database = context.memory.opened()
    assert database.rows("SELECT state FROM run") == [("kept",)]
    database.close()


def test_a_damaged_store_is_set_aside_and_the_run_is_kept(task, context, tmp_path):
    memory = context.memory
    memory.folder.mkdir()
    memory.path.write_bytes(b"broken" * 1000)
    kept = saved(task, context, tmp_path / "takes")
    assert kept.path.exists()
    assert any("set aside" in word for word in kept.trouble)
    (aside,) = memory.folder.glob("playalong-damaged-*.db")
    assert aside.read_bytes() == b"broken" * 1000
    database = memory.opened()
    assert database.rows("SELECT count(*) FROM run WHERE state = 'kept'") == [(1,)]
    database.close()


def test_the_history_as_a_table_csv_and_json(tmp_path, monkeypatch, capsys):
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    assert main(["history"]) == 2
    assert "Nothing has been played yet" in capsys.readouterr().err
    assert main(["demo", "--fast", "--bars", "1"]) == 0
    capsys.readouterr()
    assert main(["history", "--simulated", "--json"]) == 0
    (row,) = json.loads(capsys.readouterr().out)["runs"]
    assert row["pattern"] == "late-bus-home"
    assert main(["history", "--simulated", "--csv"]) == 0
    head, line = capsys.readouterr().out.splitlines()
    assert head.split(",") == list(reading.COLUMNS)
    assert line.startswith(f"{row['run']},{row['began']},play,late-bus-home")
    assert main(["history", "--simulated"]) == 0
    assert f"{row['score']:.0f}" in capsys.readouterr().out
    assert main(["history", "--simulated", "--who", "nobody"]) == 2
    assert "There is no player" in capsys.readouterr().err


def test_a_player_can_be_exported_and_erased(tmp_path, monkeypatch, capsys):
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    main(["demo", "--fast", "--bars", "1"])
    out = tmp_path / "out"
    assert main(["history", "--simulated", "--export", str(out)]) == 0
    assert (out / "runs.csv").exists()
    assert main(["history", "--simulated", "--export", str(out)]) == 2, "the folder is not empty"
    monkeypatch.setattr("sys.stdin", StringIO("somebody else\n"))
    assert main(["history", "--simulated", "--erase"]) == 2
    assert "Nothing was erased" in capsys.readouterr().err
    assert main(["history", "--simulated", "--erase", "--yes"]) == 0
    assert "It is erased." in capsys.readouterr().out
    assert main(["history", "--simulated"]) == 2


@pytest.mark.parametrize("who", ["7b-12", "beginner"])
def test_what_somebody_simulated_left_in_any_name_is_erased(tmp_path, monkeypatch, capsys, who):
    """The store knows them by their own name; the result has the one that they played in."""
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    paper = tmp_path / "paper.toml"
    paper.write_text(SHORT)
    main(["assess", str(paper), "--player", "beginner", "--fast", "--who", "7b-12"])
    results = tmp_path / "XDG_DATA_HOME" / "playalong" / "results"
    assert list(results.glob("*.zip"))
    capsys.readouterr()
    monkeypatch.setattr("sys.stdin", StringIO("somebody else\n"))
    erase = ["history", "--simulated", "--erase", "--who", who]
    assert main(erase) == 2
    assert f"{results}" in capsys.readouterr().out, "what would go is listed"
    assert main([*erase, "--yes"]) == 0
    assert not list(results.glob("*.zip"))


def test_of_a_pattern_with_a_long_name_what_lies_beside_the_take_is_erased_too(
    tmp_path, monkeypatch, capsys
):
    """The names of these files are cut to what a system takes, and so is that of the take."""
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    paper = tmp_path / f"{'a' * 235}.toml"
    paper.write_text(TEXT)
    assert main(["demo", str(paper), "--fast", "--bars", "1"]) == 0
    folder = tmp_path / "XDG_DATA_HOME" / "playalong" / "takes"
    assert len(list(folder.iterdir())) == 4
    assert main(["history", "--simulated", "--erase", "--yes"]) == 0
    assert list(folder.iterdir()) == []
