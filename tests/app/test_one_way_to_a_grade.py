"""Every kept take graded again, by its file alone, gives what was shown: whole JSON, every hit."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.lesson.lesson_session import LessonSession
from playalong.app.play.hearing import _page
from playalong.app.play.play_session import save_run
from playalong.app.run.along import Along
from playalong.app.run.context import RunContext
from playalong.app.run.run import Run
from playalong.app.run.task import Task
from playalong.commands.main import main
from playalong.grading.verdicts import Rules
from playalong.midi.pads import Guard, Pads
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.model import Dynamic
from playalong.pattern.reader import read as read_pattern
from playalong.pattern.writer import write
from playalong.profile.latency import typed
from playalong.profile.profile import Profile
from playalong.records.take_info import Simulated
from playalong.records.takes import read as read_take
from playalong.screen.base.keys import Key
from playalong.screen.base.window import Window
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import SKILLS
from tests.app.test_pauses import Pulled
from tests.helpers.grade_schema import CLOSED
from tests.helpers.lesson_takes import by_the_run, played_lesson, told
from tests.helpers.stage import context_on, unseen_window
from tests.helpers.steady_player import STEADY

TEXT = """
title = "Small: a test"
meter = "2/4"
tempo = 120
[[bar]]
hi-hat = "xx xx"
snare  = "-g X-"
kick   = "xx --"
sticking = "RR RR"
[[bar]]
hi-hat = "xx xo"
snare  = "-- X-"
kick   = "x- -x"
[variation.more]
kick = "-x --"
[variation.less]
bars   = [2]
hi-hat = "-- .-"
[practice]
start = 110
goal = 120
clean = 2
"""
PATTERN = read_pattern(TEXT, "small")
PLAYERS = {**SKILLS, "steady": STEADY}
RULES = replace(Rules(), capture_ms=90.0, tolerance_ms=27.5)
#: A kit that has been learned, by a player whose strokes and latency were measured.
PROFILE = Profile(
    kit="Attic kit",
    player="Ada",
    pads=Pads({38: "snare", 31: "snare"}, guards={"snare": Guard(30.0, 4.0)}),
    strokes={
        "snare": {Dynamic.GHOST: (20.0, 25.0, 30.0), Dynamic.ACCENT: (100.0, 110.0, 118.0)},
        "hi-hat": {Dynamic.NORMAL: (70.0, 80.0, 90.0)},
    },
    latency=typed(11.3),
)


@pytest.fixture(scope="module")
def window() -> Iterator[Window]:
    with unseen_window((320, 180)) as made:
        yield made


def context_in(window: Window, profile: Profile = PROFILE) -> RunContext:
    return context_on(window, frame_s=0.1, profile=profile)


def again(capsys: pytest.CaptureFixture[str], pattern: Path, take: Path, *options: str) -> Any:
    """What ``playalong grade`` says of a kept take, as its schema has it."""
    assert main(["grade", str(pattern), str(take), "--json", "--hits", *options]) == 0
    found = json.loads(capsys.readouterr().out)
    CLOSED.validate(found)
    return found


@pytest.mark.parametrize("skill", ["steady", "beginner"])
def test_every_take_of_a_lesson(skill, window, tmp_path, capsys):
    """The beginner's would go on for ever: long enough for some steps to be made easier. The steady
    player passes the chunks by."""
    context = context_in(window, replace(PROFILE, latency=None))  # a simulated player has none
    takes = played_lesson(
        PATTERN,
        RULES,
        context,
        folder=tmp_path,
        skill=PLAYERS[skill],
        simulated=Simulated(skill, 5),
        most=40 if skill == "beginner" else 10_000,
    )
    path = tmp_path / "small.toml"
    path.write_text(TEXT, encoding="utf-8")
    for number, take in enumerate(takes):
        now = again(capsys, path, take.path)
        assert now == take.shown
        if take.live is not None:
            assert {key: now[key] for key in take.live} == take.live
        info = read_take(take.path).info
        assert info["simulated"] == {"skill": skill, "seed": 5 + number}
        assert "player" not in info
    by_steps = skill == "beginner"
    assert len(takes) >= (40 if by_steps else 8)
    assert len({take.kind for take in takes}) > (5 if by_steps else 3)
    assert len({take.task.excerpt for take in takes}) > (10 if by_steps else 4)
    assert any(take.task.free for take in takes)


def one_run(window: Window, task: Task, where: Path, *, seed: int = 3, profile: Profile = PROFILE):
    context = context_in(window, profile)
    performance = perform(task.targets(), PLAYERS["beginner"], seed)
    ended = Run(
        task, context, lambda start_s: SimulatedPort(performance, start_s, context.clock.now)
    ).play()
    return save_run(task, ended, where), ended


@pytest.mark.parametrize("variations", [(), ("less", "more")])
@pytest.mark.parametrize("strokes", [True, False])
def test_a_run_on_a_kit_that_was_learned(window, tmp_path, capsys, variations, strokes):
    profile = PROFILE if strokes else replace(PROFILE, strokes={}, latency=None)
    rules = replace(RULES, bands=profile.bands or RULES.bands)
    task = Task(pattern=PATTERN, tempo_bpm=97.0, bars=7, variations=variations, rules=rules)
    kept, ended = one_run(window, task, tmp_path, profile=profile)
    path = tmp_path / "small.toml"
    path.write_text(TEXT, encoding="utf-8")
    now = again(capsys, path, kept.path)
    assert now == told(kept.graded)
    live = by_the_run(PATTERN, ended, 97.0, rules=rules)
    assert {key: now[key] for key in live} == live
    assert now["latency_ms"] == (11.3 if strokes else 0.0)


def test_a_run_whose_cable_was_pulled_twice(window, tmp_path, capsys):
    """In its second bar, and in its last, which is then played once more."""
    context = replace(context_in(window), frame_s=0.02, listen_s=0.02)
    task = Task(pattern=PATTERN, tempo_bpm=97.0, bars=6, variations=("more",), rules=RULES)
    bar_s = 2 * 60 / 97.0
    first_s = 1.0 + bar_s + 1.4 * bar_s
    port = Pulled(context.clock, [(first_s, first_s + 4.0), (first_s + 10.4, first_s + 13.0)])
    run = Run(task, context, lambda _: port)
    port.plays(run, task)
    ended = run.play()
    assert ended.lost_port is None
    assert len(ended.pauses.each) == 2
    kept = save_run(task, ended, tmp_path)
    path = tmp_path / "small.toml"
    path.write_text(TEXT, encoding="utf-8")
    now = again(capsys, path, kept.path)
    assert now == told(kept.graded)
    live = by_the_run(PATTERN, ended, 97.0, rules=RULES)
    assert {key: now[key] for key in live} == live
    assert 0 < now["counts"]["targets"] < 6 * 8


def test_a_run_along_with_a_recording(window, tmp_path, capsys):
    """Its beats sway, so that no even tempo would do; two bars of it have gone before."""
    beats = BeatMap.of((0.61 * n + 0.05 * np.sin(n) for n in range(40)), 1, 2)
    task = Task(pattern=PATTERN, tempo_bpm=97.0, bars=9, variations=(), rules=RULES).going_along(
        Along(beats=beats, first_bar=2, name="rain.wav")
    )
    kept, ended = one_run(window, task, tmp_path)
    path = tmp_path / "small.toml"
    path.write_text(TEXT, encoding="utf-8")
    now = again(capsys, path, kept.path)
    assert now == told(kept.graded)
    live = by_the_run(PATTERN, ended, task.tempo_bpm, rules=RULES)
    assert {key: now[key] for key in live} == live


@pytest.mark.parametrize("key_at_s", [2.0, 5.3, 7.7])
def test_a_run_that_the_player_breaks_off(window, tmp_path, capsys, key_at_s):
    context = context_in(window)
    leaving = Leaving(window, context.clock, key_at_s)
    task = Task(pattern=PATTERN, tempo_bpm=97.0, bars=6, variations=(), rules=RULES)
    performance = perform(task.targets(), STEADY, 1)
    ended = Run(
        task,
        replace(context, window=leaving),
        lambda start_s: SimulatedPort(performance, start_s, context.clock.now),
    ).play()
    assert ended.outcome is not None
    kept = save_run(task, ended, tmp_path)
    path = tmp_path / "small.toml"
    path.write_text(TEXT, encoding="utf-8")
    now = again(capsys, path, kept.path)
    assert now == told(kept.graded)
    assert now["counts"]["targets"] < task.targets().time_s.size


class Leaving:
    """A window in which Escape is pressed at a time on the clock."""

    def __init__(self, window, clock, at_s):
        self._window, self._clock, self._at_s = window, clock, at_s

    def __getattr__(self, name):
        return getattr(self._window, name)

    def presses(self):
        return [Key.ESCAPE] if self._clock.now() >= self._at_s else []


def test_what_a_take_says(window, tmp_path):
    kept, _ = one_run(
        window,
        Task(pattern=PATTERN, tempo_bpm=97.0, bars=4, variations=("more",), rules=RULES),
        tmp_path,
    )
    info = read_take(kept.path).info
    assert info["format"] == 2
    assert info["program"]
    assert (info["player"], info["kit"]) == ("Ada", "Attic kit")
    assert info["date"][10] == "T"
    assert info["date"][-6] in "+-"  # the time zone, as hours and minutes
    assert info["pattern"] == "small"
    assert len(info["pattern_id"]) == 16
    assert read_pattern(info["pattern_text"], "small") == PATTERN
    assert (info["tempo_bpm"], info["bars"], info["variations"]) == (97.0, 4, ["more"])
    assert (info["capture_ms"], info["tolerance_ms"]) == (90.0, 27.5)
    assert info["latency_ms"] == 11.3
    assert info["pads"]["notes"] == {"38": "snare", "31": "snare"}
    assert "excerpt" not in info
    assert "simulated" not in info


@pytest.fixture(scope="module")
def kept(window, tmp_path_factory):
    """One take of four bars, and what was shown of it."""
    where = tmp_path_factory.mktemp("kept")
    run, _ = one_run(
        window, Task(pattern=PATTERN, tempo_bpm=97.0, bars=4, variations=(), rules=RULES), where
    )
    return run.path, told(run.graded)


def written(tmp_path: Path, name: str, text: str) -> Path:
    path = tmp_path / f"{name}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_only_the_words_of_a_pattern_have_changed(capsys, tmp_path, kept):
    text = TEXT.replace("Small: a test", "Tuesday").replace("clean = 2", "clean = 9")
    assert again(capsys, written(tmp_path, "small", text), kept[0]) == kept[1]


def test_a_pattern_that_has_changed_since(capsys, tmp_path, kept):
    """The take is graded as it was asked; as the pattern is now only where that is wanted."""
    text = TEXT.replace('"xx xo"', '"xx xx"').replace('"-- X-"', '"-g X-"')
    now = again(capsys, written(tmp_path, "small", text), kept[0])
    (remark,) = [word for word in now["remarks"] if "has changed" in word]
    assert "as the pattern was then" in remark
    assert {**now, "remarks": 0} == {**kept[1], "remarks": 0}
    now = again(capsys, written(tmp_path, "small", text), kept[0], "--current")
    (remark,) = [word for word in now["remarks"] if "has changed" in word]
    assert "as the pattern is now" in remark
    assert now["counts"]["targets"] == kept[1]["counts"]["targets"] + 2
    assert now["pattern_id"] != kept[1]["pattern_id"]


def test_a_copy_under_another_name_is_the_same_pattern(capsys, tmp_path, kept):
    assert again(capsys, written(tmp_path, "copy", TEXT), kept[0]) == {**kept[1], "pattern": "copy"}


def test_a_take_of_another_pattern_is_told_as_that(capsys, tmp_path, kept):
    """It is graded by what holds for any pattern: click, rules, kit; in beats of this meter."""
    text = 'title = "Waltz"\nmeter = "6/8"\ntempo = 70\n[[bar]]\nhi-hat = "xxx xxx"\n'
    now = again(capsys, written(tmp_path, "waltz", text), kept[0])
    assert any('is of another pattern, "small"' in word for word in now["remarks"])
    assert now["pattern"] == "waltz"
    assert now["start_s"] == kept[1]["start_s"]
    assert now["latency_ms"] == kept[1]["latency_ms"]
    # 97 quarter notes a minute are 64.7 dotted quarters, the beat of 6/8.
    assert now["tempo_bpm"] == pytest.approx(97 / 1.5)
    assert [hit["velocity"] for hit in now["hits"]] == [h["velocity"] for h in kept[1]["hits"]]


def test_an_option_goes_before_what_the_take_says(capsys, tmp_path, kept):
    now = again(
        *(capsys, written(tmp_path, "small", TEXT), kept[0]),
        *("--bars", "2", "--variation", "more", "--tempo", "90", "--tolerance-ms", "12"),
        *("--start", "3.5", "--latency-ms", "0"),
    )
    assert (now["bars"], now["tempo_bpm"], now["start_s"]) == (2, 90.0, 3.5)
    assert now["latency_ms"] == 0.0
    assert now["counts"]["targets"] == 8 + 7 + 1  # in bar 1 the kick of "more" is there


def chunk_take(window, where: Path, text: str = TEXT):
    """A take of the first chunk of a lesson."""
    pattern = read_pattern(text, "small")
    context = context_in(window)

    def connect(targets, number, start_s):
        performance = perform(targets, STEADY, number)
        return SimulatedPort(performance, start_s, context.clock.now)

    session = LessonSession(
        pattern,
        RULES,
        context,
        connect=connect,
        lesson_folder=where / "lessons",
        takes_folder=where / "takes",
    )
    session.lesson.choose(0)
    exercise = session.lesson.exercise
    runs = session._runs
    ended = runs.play(exercise, runs.task(exercise))
    return ended.recording.save(where, "chunk"), exercise


def test_a_chunk_of_a_pattern_that_has_changed(window, capsys, tmp_path):
    take, exercise = chunk_take(window, tmp_path)
    asked = sum(len(bar.strokes) for bar in exercise.pattern.bars)
    path = tmp_path / "small.toml"
    path.write_text(TEXT.replace('snare  = "-g X-"', 'snare  = "gg X-"'), encoding="utf-8")
    assert again(capsys, path, take)["counts"]["targets"] == asked
    now = again(capsys, path, take, "--current")
    assert now["counts"]["targets"] == asked + 1
    assert now["excerpt"]["parts"][0]["name"] == "beat 1 of bar 1"
    assert again(capsys, path, take, "--variation", "less")["counts"]["targets"] == asked
    assert main(["grade", str(path), str(take), "--variation", "nothing"]) == 2
    assert 'has no variation "nothing"' in capsys.readouterr().err
    # What the chunk was cut from is gone.
    lines = write(PATTERN).split("[[bar]]")
    short = lines[0] + "[[bar]]" + lines[2].split("[variation")[0]
    path.write_text(short, encoding="utf-8")
    assert again(capsys, path, take, "--current")["counts"]["targets"] > 0
    second = json.loads(json.dumps(read_take(take).info["excerpt"]))
    assert second["parts"][0]["bar"] == 1


def test_a_chunk_is_heard_as_a_chunk(window, capsys, tmp_path):
    """Only its beat of the pattern, and the downbeat that it leads to."""
    take, exercise = chunk_take(window, tmp_path)
    path, out = tmp_path / "small.toml", tmp_path / "heard.wav"
    path.write_text(TEXT, encoding="utf-8")
    arguments = [str(path), "--take", str(take), "--which", "pattern", "--no-click"]
    assert main(["hear", *arguments, "--out", str(out)]) == 0
    sound, rate = soundfile.read(out)
    beat_s, level = 60.0 / exercise.tempo_bpm, np.abs(sound).max(axis=1)
    begin = int(np.argmax(level > 0.02 * level.max()))

    def loudest(from_s: float, to_s: float) -> float:
        part = level[begin + round(from_s * rate) : begin + round(to_s * rate)]
        return float(part.max(initial=0.0))

    assert exercise.excerpt.parts[0].name == "beat 1 of bar 1"
    assert loudest(0.48 * beat_s, 0.7 * beat_s) > 0.1 * level.max()  # its second eighth
    # It ends on beat 2, after which nothing more is struck.
    assert loudest(0.98 * beat_s, 1.2 * beat_s) > 0.1 * level.max()
    assert loudest(1.45 * beat_s, 1.7 * beat_s) < 0.1 * level.max()
    assert capsys.readouterr().out.count("(") == 0
    page = _page(grade_take(PATTERN, read_take(take), Options()), context_in(window))
    assert page.title == exercise.pattern.title
    path.write_text(TEXT.replace('"xx xo"', '"xx xx"'), encoding="utf-8")
    assert main(["hear", *arguments, "--out", str(tmp_path / "again.wav")]) == 0
    assert "has changed since this take was played" in capsys.readouterr().out
