"""Practice in the window, on the stepped clock: from the first chunk to the last step."""

import json
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from playalong.app.lesson import lesson_session, offered
from playalong.app.lesson.lesson_keeper import begun, overview_of
from playalong.app.lesson.lesson_session import LessonSession
from playalong.app.lesson.plan_lines import plan_lines
from playalong.app.lesson.repetitions import Connect
from playalong.app.listen_back import Playback
from playalong.app.memory import Memory
from playalong.app.run.clock import SteppedClock
from playalong.app.run.context import GONE, RunContext, SilentPort
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands
from playalong.app.run.run import HeldPage, Run
from playalong.app.run.task import Task
from playalong.commands.main import main
from playalong.grading.verdicts import Rules, Verdict
from playalong.midi.pads import Pads
from playalong.midi.port import Arrival
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.reader import read as read_pattern
from playalong.pattern.targets import lay_out
from playalong.practice.free_playing import SHOWN
from playalong.practice.lesson import Lesson
from playalong.practice.repetition import Repetition, Tally
from playalong.profile.pad_commands import Calls, Command
from playalong.records import lessons
from playalong.records.pattern_files import library
from playalong.records.take_info import Simulated
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import LEAVE, LISTENING, ButtonPage, Buttons
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import SKILLS, Skill
from playalong.sound.device.output import SilentOutput
from playalong.sound.listening import Which
from playalong.sound.synth.click import Click, Clicking, Kind, Places
from tests.app.test_frame_loop import Cable, called
from tests.helpers.stage import Keys, context_on, unseen_window
from tests.helpers.steady_player import STEADY

TEXT = """
title = "Small"
meter = "2/4"
tempo = 120
[[bar]]
hi-hat = "xx xx"
snare  = "-- X-"
kick   = "x- --"
[variation.more]
kick = "-x --"
[practice]
start = 110
goal = 120
clean = 2
"""
PATTERN = read_pattern(TEXT, "small")


class Listening(SilentOutput):
    """Keeps what was to be heard."""

    def __init__(self) -> None:
        super().__init__()
        self.heard: list[tuple[float, str]] = []

    def schedule(self, start_s, sounds) -> None:
        self.heard += [(start_s + s.time_s, type(s).__name__) for s in sounds]


@pytest.fixture
def context() -> Iterator[RunContext]:
    clock = SteppedClock()
    with unseen_window((480, 270)) as window:
        keys = Keys(window, clock)
        yield context_on(keys, clock, output=Listening(), frame_s=0.1, patience_s=3.0)


def practice(
    context: RunContext, where: Path, skill: Skill = STEADY, *, pattern=PATTERN
) -> LessonSession:
    def connect(targets, number, start_s):
        return SimulatedPort(perform(targets, skill, number), start_s, context.clock.now)

    return LessonSession(
        pattern,
        Rules(),
        context,
        connect=connect,
        lesson_folder=where / "lessons",
        takes_folder=where / "takes",
        simulated=Simulated("steady", 0),
    )


def session_of(context: RunContext, connect: Connect, where: Path) -> LessonSession:
    """A sitting with the pattern on a port of the test's own."""
    return LessonSession(
        PATTERN,
        Rules(),
        context,
        connect=connect,
        lesson_folder=where / "l",
        takes_folder=where / "t",
    )


def store(where: Path) -> Path:
    """The store in which ``practice`` keeps lessons."""
    return Memory(folder=where / "lessons", simulated=True).path


def test_a_steady_player_learns_every_step(context, tmp_path):
    told = practice(context, tmp_path).go()
    assert told.learned == told.steps > 8
    assert told.next == ""
    assert told.trouble == ()
    text, _ = lessons.read(store(tmp_path), "steady", PATTERN)
    kept = json.loads(text)
    assert all(step["state"] in ("learned", "passed by") for step in kept["steps"].values())
    assert len(list(tmp_path.rglob("*.mid"))) == told.repetitions


def test_it_goes_on_where_it_stopped(context, tmp_path):
    context.window.plan = [(40.0, Key.ESCAPE)]
    first = practice(context, tmp_path).go()
    assert 0 < first.learned < first.steps
    overview = overview_of(PATTERN, Rules(), store(tmp_path), player="steady")
    assert [line.done for line in overview].count(True) == first.learned
    nobodys = overview_of(PATTERN, Rules(), store(tmp_path), player="Ines")
    assert [line.done for line in nobodys].count(True) == 0, "each player has their own"
    second = practice(context, tmp_path).go()
    assert second.learned == second.steps


def test_the_rest_is_the_count_in_and_the_click_never_stops(context, tmp_path):
    """While one exercise is repeated, its clicks are even: two beats played, four of rest."""
    context.window.plan = [(24.0, Key.ESCAPE)]
    practice(context, tmp_path).go()
    ticks = sorted(at_s for at_s, kind in context.output.heard if kind == "Click")
    beat_s = 60.0 / 110.0
    gaps = [round((b - a) / beat_s, 6) for a, b in pairwise(ticks)]
    assert 1.0 in gaps
    longest = max(len(run) for run in "".join("#" if gap == 1.0 else " " for gap in gaps).split())
    # Count-in, a bar, its rest, the bar again and its rest: fourteen beats without a seam.
    assert longest >= 13


def test_the_first_time_it_is_heard(context, tmp_path):
    context.window.plan = [(12.0, Key.ESCAPE)]
    practice(context, tmp_path).go()
    assert "Note" in {kind for _, kind in context.output.heard}


def test_skip_back_easier_hear_and_plan(context, tmp_path):
    context.window.plan = [
        (9.0, "h"),
        (20.0, "s"),
        (32.0, "b"),
        (44.0, "e"),
        (56.0, "p"),
        (70.0, Key.ESCAPE),
    ]
    session = practice(context, tmp_path, SKILLS["beginner"])
    wishes = []
    for name in ("skip", "back", "easier"):
        wish = getattr(session.lesson, name)
        setattr(session.lesson, name, lambda wish=wish, name=name: (wishes.append(name), wish())[1])
    told = session.go()
    assert wishes == ["skip", "back", "easier"]
    assert told.learned < told.steps


def test_where_no_stroke_arrives_it_says_so_and_waits_for_one(context, tmp_path):
    """Nothing gets slower; the first stroke lets the same exercise begin again."""

    class Silent(SimulatedPort):
        def poll(self):
            arrived = super().poll()
            return arrived if context.clock.now() > 60.0 else []

    def connect(targets, number, start_s):
        return Silent(perform(targets, STEADY, 1), start_s, context.clock.now)

    told: list[str] = []
    frame = context.window._window.frame

    def watched(page, now_s):
        told.extend(getattr(page, "paused", ()))
        frame(page, now_s)

    context.window.frame = watched
    context.window.plan = [(100.0, Key.ESCAPE)]
    session = session_of(context, connect, tmp_path)
    answers = []
    played = session.lesson.played
    session.lesson.played = lambda result: (answers.append(played(result)), answers[-1])[1]
    first = session.lesson.exercise
    session.go()
    assert answers[0].nothing
    assert not answers[0].changed
    assert "No stroke arrives from the kit." in told
    assert 'Listening on "simulated player".' in told
    assert session.lesson.exercise is not None
    assert session.lesson.overview()[0].record.helped == 0
    assert first is not None


def test_where_no_stroke_arrives_the_pads_work_the_page(context, tmp_path):
    """Sticks in hand: not to play is enough to be asked, and a call is no beginning."""
    wire = Cable(context.clock, *called(40.0, "crash"))
    commands = PadCommands(
        HitInput(wire, context.stamps, Pads()), Calls("kick", {Command.LEAVE: "crash"})
    )
    context = replace(context, pad_commands=commands)
    silent = session_of(context, lambda *_: SilentPort(), tmp_path)
    told = silent.go()
    assert told.repetitions == 1, "the call did not begin the exercise again"
    assert context.clock.now() < 60.0


def test_one_who_cannot_play_it_is_helped(context, tmp_path):
    context.window.plan = [(400.0, Key.ESCAPE)]
    session = practice(context, tmp_path, replace(SKILLS["beginner"], miss=0.4))
    seen = []
    played = session.lesson.played
    session.lesson.played = lambda result: (seen.append(played(result)), seen[-1])[1]
    session.go()
    assert sum(answer.changed for answer in seen) >= 5
    unchanged = "".join("x" if answer.changed else "-" for answer in seen).split("x")
    assert max(map(len, unchanged)) <= 12


def test_a_port_that_goes_away_keeps_the_lesson(context, tmp_path):
    class Gone(SimulatedPort):
        def is_there(self):
            return False

        def reopen(self):
            return False

    def connect(targets, number, start_s):
        return Gone(perform(targets, STEADY, 1), start_s, context.clock.now)

    told = session_of(context, connect, tmp_path).go()
    assert "went away" in told.trouble[0]


def test_it_clicks_where_it_is_asked_to(context, tmp_path):
    kinds: set[Kind] = set()
    schedule = context.output.schedule

    def listening(start_s, sounds):
        kinds.update(sound.kind for sound in sounds if isinstance(sound, Click))
        schedule(start_s, sounds)

    context.output.schedule = listening

    def connect(targets, number, start_s):
        return SimulatedPort(perform(targets, STEADY, 1), start_s, context.clock.now)

    context.window.plan = [(24.0, Key.ESCAPE)]
    LessonSession(
        PATTERN,
        Rules(),
        context,
        connect=connect,
        lesson_folder=tmp_path / "l",
        takes_folder=tmp_path / "t",
        clicking=Clicking(Places.OFF_BEATS),
    ).go()
    assert Kind.OFF_BEAT in kinds
    assert kinds.isdisjoint({Kind.ONE, Kind.BEAT})


def test_a_lesson_belongs_to_its_player_and_to_what_the_pattern_asks(tmp_path):
    path = store(tmp_path)
    assert lessons.read(path, "Ines", PATTERN) == (None, "")
    lessons.write(path, "Ines", PATTERN, progress="so far")
    moved = read_pattern(TEXT.replace('title = "Small"', 'title = "Moved"'), "elsewhere")
    changed = read_pattern(TEXT.replace("x- --", "x- x-"), "small")
    assert lessons.read(path, "Ines", moved) == ("so far", "")
    assert lessons.read(path, "Ines", changed) == (None, "")
    assert lessons.read(path, "Tom", PATTERN) == (None, "")


def test_a_lesson_of_which_nothing_can_be_read_begins_anew_and_says_so(tmp_path):
    path = store(tmp_path)
    lessons.write(path, "Ines", PATTERN, progress="{ half a te")
    lesson, told = begun(PATTERN, Rules(), path, player="Ines")
    assert told
    assert lesson.exercise is not None


def test_a_lesson_that_cannot_be_kept_is_told_once(context, tmp_path, monkeypatch):
    monkeypatch.setenv("HOME", str(tmp_path))
    blocked = tmp_path / "file"
    blocked.write_text("")
    context.window.plan = [(60.0, Key.ESCAPE)]
    told = practice(context, blocked).go()
    assert told.repetitions > 2
    assert len(told.trouble) == len(set(told.trouble)) <= 2
    assert str(blocked) in told.trouble[0]


def test_the_sheet_stands_still_before_it_moves_on(context):
    """Until two beats before, the page of the run before is drawn, at one time."""
    task = Task(pattern=PATTERN, tempo_bpm=120.0, bars=1, variations=(), rules=Rules())
    start_s = context.clock.now() + 2.0
    shown = []
    frame = context.window._window.frame
    context.window.frame = lambda page, now_s: (shown.append((page, now_s)), frame(page, now_s))

    def connect(at_s):
        return SimulatedPort(perform(task.targets(), STEADY, 1), at_s, context.clock.now)

    old = Run(task, context, connect).page
    run = Run(task, context, connect, begin_s=start_s, before=HeldPage(old, 0.7, -1.0))
    ended = run.play()
    still = [now_s for page, now_s in shown if page is old]
    assert set(still) == {0.7}
    assert len(still) >= 5
    moving = [now_s for page, now_s in shown if page is run.page]
    assert moving[0] == pytest.approx(-1.0, abs=0.11)
    assert ended.outcome is None
    assert ended.next_s == pytest.approx(start_s + 1.0)


def test_buttons_of_a_lesson(context, tmp_path):
    task = Task(pattern=PATTERN, tempo_bpm=120.0, bars=1, variations=(), rules=Rules())
    page = Run(
        task,
        context,
        lambda s: SimulatedPort(perform(task.targets(), STEADY, 1), s, context.clock.now),
    ).page
    assert page.handle(Key.ESCAPE) is Outcome.LEAVE
    assert page.handle("s") is None


def test_the_command(tmp_path, capsys, monkeypatch):
    monkeypatch.setattr(lesson_session, "SITTING_S", 600.0)
    path = tmp_path / "small.toml"
    path.write_text(TEXT)
    arguments = ["practice", str(path), "--out", str(tmp_path)]
    assert main([*arguments, "--plan"]) == 0
    assert "next       The whole bar" in capsys.readouterr().out
    assert main([*arguments, "--fast", "--player", "professional"]) == 0
    out = capsys.readouterr().out
    assert "steps are learned" in out
    assert main([*arguments, "--plan", "--player", "professional"]) == 0
    assert "done" in capsys.readouterr().out
    assert main([*arguments, "--plan"]) == 0
    assert "done" not in capsys.readouterr().out


def test_a_run_that_was_broken_off_is_kept_too(context, tmp_path):
    context.window.plan = [(16.5, Key.ESCAPE)]
    told = practice(context, tmp_path).go()
    assert told.repetitions == len(list(tmp_path.rglob("*.mid"))) > 0


def test_free_mixing_shows_no_fault_in_what_was_added(context):
    """A stroke too many and one too few: on the sheet neither is marked."""
    said = {}
    for free in (False, True):
        shown = SHOWN if free else frozenset(Verdict)
        task = Task(
            pattern=PATTERN, tempo_bpm=120.0, bars=1, variations=(), rules=Rules(), shown=shown
        )
        performance = perform(task.targets(), STEADY, 1)
        messages = [m for m in performance.messages if m[1][1] != 36]
        messages.append((0.25, bytes((0x99, 43, 90))))
        played = type(performance)(tuple(sorted(messages)), performance.truth)
        run = Run(task, context, lambda s, p=played: SimulatedPort(p, s, context.clock.now))
        words = said.setdefault(free, [])
        run.judging.sheet.judged = lambda word, words=words: words.append(word.verdict.value)
        run.play()
    assert {"missed", "extra"} <= set(said[False])
    assert set(said[True]) == {"on time"}


def test_a_kit_that_is_back_goes_on_with_the_lesson(context, tmp_path):
    """Out for two seconds: the page says so; a stroke, and the same exercise is played again.

    Who has seen to the cable is not hurried: nothing is counted in before that stroke.
    """
    away_s, struck_s = (12.0, 14.0), 21.0

    class Pulled(SimulatedPort):
        is_open = True

        def is_there(self):
            self.is_open = self.is_open and not away_s[0] <= context.clock.now() < away_s[1]
            return self.is_open

        def reopen(self):
            self.is_open = not away_s[0] <= context.clock.now() < away_s[1]
            return self.is_open

        def poll(self):
            now_s, arrived = context.clock.now(), super().poll()
            if now_s < away_s[1] or not strokes:
                return arrived
            return [strokes.pop()] if now_s >= struck_s else []

    def connect(targets, number, start_s):
        begun_s.append(context.clock.now())
        return Pulled(perform(targets, STEADY, number), start_s, context.clock.now)

    strokes = [Arrival(stamp_s=struck_s, arrival_s=struck_s, data=b"\x99\x26\x5a")]
    begun_s: list[float] = []
    paused: list[float] = []
    back_s: list[float] = []
    frame = context.window._window.frame

    def watched(page, now_s):
        words = getattr(getattr(page, "page", page), "paused", ())
        if words[:1] == GONE[:1]:
            paused.append(context.clock.now())
        elif words[:1] == ("The kit is back.",):
            back_s.append(context.clock.now())
            assert page.offers(Outcome.PLAN), "and the pads ask for what is offered"
        frame(page, now_s)

    context.window.frame = watched
    context.window.plan = [(50.0, Key.ESCAPE)]
    told = session_of(context, connect, tmp_path).go()
    assert told.trouble == ()
    assert 12.0 <= paused[0] < 12.5
    assert 13.9 < paused[-1] < 14.6
    assert back_s[0] < 15.0
    assert struck_s <= back_s[-1] < struck_s + 2.0
    assert not [at_s for at_s in begun_s if away_s[0] < at_s < struck_s]
    assert told.repetitions > 3


def test_a_finished_lesson_offers_what_to_play_next(context, tmp_path):
    def connect(targets, number, start_s):
        return SimulatedPort(perform(targets, STEADY, 1), start_s, context.clock.now)

    session = session_of(context, connect, tmp_path)
    while session.lesson.exercise is not None:
        session.lesson.skip()
    context.window.plan = [(9.0, Key.DOWN), (9.5, Key.DOWN), (10.0, Key.ENTER)]
    told = session.go()
    assert told.repetitions == 0
    assert told.goes_on is not None
    assert told.goes_on.name in library().names()
    again = session_of(context, connect, tmp_path)
    while again.lesson.exercise is not None:
        again.lesson.skip()
    now_s = context.clock.now()
    context.window.plan = [(now_s + 9.0, Key.ENTER), (now_s + 200.0, Key.ESCAPE)]
    told = again.go()
    assert told.goes_on is None
    assert told.repetitions > 0, "the goal tempo is played"


def test_a_changed_file_keeps_what_is_the_same_and_another_of_its_name_nothing(context, tmp_path):
    told = practice(context, tmp_path).go()
    changed = read_pattern(TEXT.replace('kick = "-x --"', 'kick = "-x -x"'), "small")
    lines = overview_of(changed, Rules(), store(tmp_path), player="steady")
    assert 0 < sum(line.done for line in lines) < told.learned
    other = read_pattern(TEXT.replace("xx xx", "x- x-").replace("-- X-", "-X X-"), "small")
    lines = overview_of(other, Rules(), store(tmp_path), player="steady")
    assert not any(line.done for line in lines)
    lines = overview_of(changed, Rules(), store(tmp_path), player="Ines")
    assert not any(line.done for line in lines)


def stepped_lesson(context: RunContext, where: Path, *calls: tuple[float, str]) -> LessonSession:
    """A lesson of the steady player, worked by calls from the pads at times of the clock."""
    wire = Cable(context.clock, *(one for at_s, pad in calls for one in called(at_s, pad)))
    commands = PadCommands(HitInput(wire, context.stamps, Pads()), Calls())
    return practice(replace(context, pad_commands=commands), where, pattern=PATTERN)


def seen_by(context: RunContext) -> list[tuple[float, object]]:
    """Every page that is shown from now on, and when."""
    shown: list[tuple[float, object]] = []
    frame = context.window._window.frame

    def watched(page, now_s):
        shown.append((context.clock.now(), getattr(page, "page", page)))
        frame(page, now_s)

    context.window.frame = watched
    return shown


def test_what_is_heard_first_is_worked_by_the_pads(context, tmp_path):
    """Sticks in hand: whoever knows it need not hear it to its end."""
    shown = seen_by(context)
    context.window.plan = [(16.0, Key.ESCAPE)]
    stepped_lesson(context, tmp_path, (9.2, "snare")).go()
    heard = [(at_s, page) for at_s, page in shown if list(page_words(page))[:1] == ["play it now"]]
    assert heard[-1][0] == pytest.approx(11.5, abs=0.7), "it ends with the call"
    assert heard[-1][1].buttons._pads[Outcome.AGAIN] == "snare"


def page_words(page) -> Iterator[str]:
    """What the buttons of a page are called."""
    buttons = getattr(page, "buttons", None)
    yield from (one.words for one in getattr(buttons, "_buttons", ()))


@pytest.mark.parametrize(
    "offered",
    [
        offered.WHILE_HEARD,
        offered.AT_REST,
        offered.BROKEN_OFF,
        offered.TAKES_LONG,
        offered.NO_STROKE,
        (*LISTENING, LEAVE),
    ],
)
def test_whatever_a_page_of_a_lesson_offers_has_a_pad(offered):
    """Each its own, and shown."""
    commands = PadCommands(HitInput(SilentPort(), StampFilter(), Pads()), Calls())

    class Page(ButtonPage):
        buttons = Buttons(offered)

    pads = commands.on(Page())
    assert set(pads) == {button.outcome for button in offered}
    assert len(set(pads.values())) == len(pads)


def test_in_the_rest_yours_is_heard_and_then_what_is_written(context, tmp_path):
    """One call is enough for both; the page then waits."""
    shown = seen_by(context)
    context.window.plan = [(60.0, Key.ESCAPE)]
    session = practice(context, tmp_path, SKILLS["beginner"])
    which: list[str] = []
    first_rest = []

    def frame(page, now_s, frame=context.window.frame):
        words = getattr(page, "subtitle", "")
        if words.startswith("listening") and words not in which:
            which.append(words)
        is_rest = "hear both" in page_words(page)
        if is_rest and not first_rest:
            first_rest.append(context.clock.now())
            context.window.plan = [(0.0, "l"), *context.window.plan]
        frame(page, now_s)

    context.window.frame = frame
    session.go()
    assert shown
    assert which == ["listening: yours", "listening: the pattern"]


def test_only_the_bars_that_are_spoken_of_are_heard():
    targets = lay_out(PATTERN, 120.0, 8)
    playback = Playback(hits=[], targets=targets, span_s=(4.0, 6.0))
    heard = [sound.time_s for sound in playback.sounds(Which.PATTERN, 0.5)]
    assert min(heard) == pytest.approx(8.0)
    assert 11.0 < max(heard) < 12.0


def test_who_works_a_page_is_not_hurried_on(context, tmp_path):
    """The plan goes away by itself, but not from under somebody who chooses."""
    shown = seen_by(context)
    context.window.plan = [(7.5, Key.DOWN), (20.0, Key.DOWN), (30.0, Key.ESCAPE)]
    practice(context, tmp_path).go()
    assert all(type(page).__name__ == "PlanPage" for _, page in shown)
    assert shown[-1][0] == pytest.approx(30.0, abs=0.2)


def test_a_call_that_has_begun_is_waited_for(context, tmp_path):
    """Eight seconds are over in the middle of it."""
    shown = seen_by(context)
    told = stepped_lesson(context, tmp_path, (7.0, "crash")).go()
    assert told.repetitions == 0
    assert shown[-1][0] < 11.0


def test_a_step_left_for_today_is_told_as_tomorrows():
    lesson = Lesson(PATTERN)
    lesson.skip()
    lesson.played(Repetition(bars=(Tally(strokes=4, stray=2),)))
    lesson.later()
    line = plan_lines(lesson)[0]
    assert (line.stands, line.sure) == ("tomorrow", "0 of 1")
    assert next(one.stands for one in plan_lines(lesson) if one.now) == "next"
