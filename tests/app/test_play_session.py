"""A sitting from the ready page to the grade, worked by keys and by strokes."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import pytest

from playalong.app.play.play_session import PlaySession, _Row, save_run
from playalong.app.run.along import Along, Cut
from playalong.app.run.clock import SteppedClock
from playalong.app.run.context import GONE_MEANWHILE
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands
from playalong.app.run.run import Run
from playalong.app.run.task import Task
from playalong.grading.levels import Level
from playalong.grading.verdicts import Rules
from playalong.midi.port import Arrival
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.reader import read as read_pattern
from playalong.pattern.voices import note_of
from playalong.profile.latency import typed
from playalong.profile.profile import Profile
from playalong.records.takes import read as read_take
from playalong.screen.base.keys import Click as MouseClick
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.overlay import Covered
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.window import Window
from playalong.screen.pages.ready import ReadyPage
from playalong.screen.pages.result import ResultPage
from playalong.screen.pages.run import RunPage
from playalong.screen.pages.wait import WaitPage
from playalong.simulation.player import Performance, SimulatedPort, perform
from playalong.sound.device.output import STEP_DB, Sound, part_of
from playalong.sound.mix import Part
from playalong.sound.recordings.decoding import Progress
from playalong.sound.synth.click import Click, Clicking, Counting, Gap, Places
from playalong.sound.voice import Word
from tests.helpers.stage import Hands, context_on, unseen_window
from tests.helpers.steady_player import STEADY

TEXT = """
title = "A Test"
meter = "4/4"
tempo = 120
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "--g- X--g -g-- X---"
kick   = "x--x ---x --x- ----"
[variation.push]
kick = "---- ---- ---- ---x"
"""


class Seen(Hands):
    """A window that somebody looks at."""

    offscreen = False


class Kit(SimulatedPort):
    """A kit on which strokes are struck when the script says so, and a run is played."""

    def __init__(self, clock: SteppedClock) -> None:
        self.name = "a kit"
        self._clock = clock
        self._coming: list[tuple[float, bytes]] = []

    there = True

    def is_there(self) -> bool:
        return self.there

    def reopen(self) -> bool:
        return self.there

    def strike(self, *strokes: tuple[float, str]) -> None:
        now_s = self._clock.now()
        self._coming += [
            (now_s + after, bytes((0x99, note_of(voice), 90))) for after, voice in strokes
        ]

    def poll(self) -> list[Arrival]:
        now_s = self._clock.now()
        due = [row for row in self._coming if row[0] <= now_s]
        self._coming = [row for row in self._coming if row[0] > now_s]
        return [Arrival(stamp_s=at_s, arrival_s=at_s, data=data) for at_s, data in due]


@pytest.fixture
def window() -> Iterator[Window]:
    with unseen_window() as made:
        yield made


def session_with(
    window: Window, script: Callable[[Page], Press | None], tmp_path, *, profile=None, along=None
):
    clock = SteppedClock()
    kit = Kit(clock)
    profile = profile or Profile(kit="a kit", player="somebody")
    hands = Seen(window, lambda page, _: script(page))
    known = {"notices": ("a kit",), "profile": profile}
    context = context_on(hands, clock, frame_s=0.05, listen_s=0.05, **known)
    pads = HitInput(kit, context.stamps, profile.pads)
    context = replace(context, pad_commands=PadCommands(pads, profile.calls))
    task = Task(
        pattern=read_pattern(TEXT, "a-test"), tempo_bpm=120.0, bars=1, variations=(), rules=Rules()
    )
    if along is not None:
        task = task.going_along(along)
    return PlaySession(task, context, kit, folder=tmp_path), kit, clock


def test_from_ready_to_the_grade_and_again_by_keys(window, tmp_path):
    """Faster and a variation are chosen first, the run is listened to, then it is left."""
    keys = {
        ReadyPage: iter([Key.RIGHT, *[Key.DOWN] * 3, Key.RIGHT, "h", Key.ENTER, Key.ENTER]),
        ResultPage: iter(["l", Key.ENTER, Key.ESCAPE]),
    }
    listened = []

    def script(page: Page) -> Press | None:
        if isinstance(page, RunPage) and page.subtitle.startswith("listening"):
            listened.append(page.subtitle)
            presses = {1: "y", 2: "p", 3: "h", 4: Key.ESCAPE}
            return presses.get(len(listened))
        return next(keys.get(type(page), iter(())), None)

    made, _, _ = session_with(window, script, tmp_path)
    kept = list(made.runs())
    assert len(kept) == 2
    grade = kept[0].graded.grade
    assert grade.tempo_bpm == 124.0
    assert grade.counts.targets == 8 + 5 + 4 + 1  # the strokes of TEXT, and the variation's
    assert len(set(listened)) == 4
    assert "half speed" in listened[-1]


def test_the_level_is_moved_on_the_page_of_the_grade_too(window, tmp_path):
    keys = {ReadyPage: iter([Key.ENTER]), ResultPage: iter(["+", "+", "-", Key.ESCAPE])}
    levels: list[float | None] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, ResultPage):
            levels.append(page.level.db)
        return next(keys.get(type(page), iter(())), None)

    made, _, _ = session_with(window, script, tmp_path)
    list(made.runs())
    assert [round(level - levels[0]) for level in levels if level and levels[0]] == [0, 3, 6, 3]


def test_everything_of_a_run_is_chosen_on_the_ready_page(window, tmp_path):
    """Each row, one step further; the level is told to whoever keeps it."""
    # Tempo and bars; once stays once; and the rest.
    down_and_more = [Key.RIGHT, Key.DOWN, Key.RIGHT, Key.DOWN, *[Key.DOWN, Key.RIGHT] * 7]
    keys = {ReadyPage: iter([*down_and_more, Key.ENTER]), ResultPage: iter([Key.ESCAPE])}
    made, _, _ = session_with(
        window, lambda page: next(keys.get(type(page), iter(())), None), tmp_path
    )
    levels: list[Level] = []
    counting: list[Counting] = []
    made._level_chosen, made._counting_chosen = levels.append, counting.append
    before = made._context.output.mix
    (kept,) = made.runs()
    said = kept.graded.expected.said
    assert (said.tempo_bpm, said.bars, said.variations) == (124.0, 2, ("push",))
    assert levels == [Level.ADVANCED]
    assert said.level == Level.ADVANCED
    assert made._task.clicking == Clicking(Places.EIGHTHS, gap=Gap(2, 1))
    assert counting == [made._context.counting] == [Counting.NUMBERS]
    mix = made._context.output.mix
    for part in (Part.CLICK, Part.DRUMS):
        assert mix.of(part) - before.of(part) == STEP_DB


def test_a_run_is_counted_in_by_a_voice(window, tmp_path):
    """The words are given to the device before bar 1, as early as their onsets want it."""
    made, _, _ = session_with(
        window, lambda page: Key.ESCAPE if isinstance(page, ResultPage) else None, tmp_path
    )
    output = made._context.output
    given: list[tuple[float, Sound]] = []
    schedule = output.schedule

    def noted(start_s: float, sounds: Sequence[Sound]) -> None:
        given.extend((start_s, sound) for sound in sounds)
        schedule(start_s, sounds)

    output.schedule = noted
    made._context = replace(made._context, counting=Counting.NUMBERS)
    made._run()
    words = [sound for _, sound in given if isinstance(sound, Word)]
    assert [one.click.word for one in words] == ["one", "two", "three", "four"]
    assert [one.click.time_s for one in words] == pytest.approx([-2.0, -1.5, -1.0, -0.5])
    assert all(one.time_s <= one.click.time_s for one in words)
    assert {part_of(one) for one in words} == {Part.CLICK}
    assert not [sound for _, sound in given if isinstance(sound, Click) and sound.time_s < 0]


def test_the_levels_of_click_drums_and_recording_are_set_by_strokes_and_by_the_mouse(
    window, tmp_path
):
    """A click on the end of a row that is chosen; a stroke as it is agreed."""
    made, _, _ = session_with(window, lambda page: None, tmp_path)
    before = made._context.output.mix
    for name, part in (("level of the click", Part.CLICK), ("level of the drums", Part.DRUMS)):
        made._row = name
        page = made._ready_page()
        window.frame(page, 0.0)
        row = page.rows._areas[page.rows.chosen]
        pressed = page.handle(MouseClick(row.right - 2, row.centery))
        assert pressed is Outcome.MORE
        made._set(_Row(page.rows.choice.name), 1)
        assert made._context.output.mix.of(part) - before.of(part) == STEP_DB
        # What pads ask for is what the buttons ask for: up, down, less, more.
        assert page.handle(Outcome.FASTER) is Outcome.MORE
        assert page.handle(Outcome.SLOWER) is Outcome.LESS


def test_a_pattern_is_learned_step_by_step_from_the_ready_page(window, tmp_path):
    made, _, _ = session_with(window, lambda page: "p", tmp_path)
    made._can_practise = True
    assert list(made.runs()) == []
    assert made.wants_practice


def going_along(cut: Cut, _: Progress | None = None) -> Along:
    """Two bars of a recording of 120 bpm."""
    beats = BeatMap.from_tempo(tempo_bpm=1.2 * cut.percent, first_beat_s=0.0, length_s=10.0)
    return Along(beats=beats, first_bar=0, name="a recording.wav", cut=cut, again=going_along)


TWO_BARS = Cut(first_bar=0, last_bar=1)


@pytest.mark.parametrize(
    ("presses", "percent"),
    [([Key.LEFT, Key.LEFT], 90), ([Key.RIGHT] * 3, 110), ([Key.LEFT] * 11, 50), ([], 100)],
)
def test_a_recording_is_played_slower_and_faster(window, tmp_path, presses, percent):
    keys = iter([*presses, Key.ENTER])
    facts: list[str] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, ReadyPage):
            facts.append(dict(page.facts)["recording"])
            return next(keys)
        return Key.ESCAPE if isinstance(page, ResultPage) else None

    made, _, _ = session_with(window, script, tmp_path, along=going_along(TWO_BARS))
    (kept,) = made.runs()
    assert facts[0] == "a recording.wav, at 100 % of its speed"
    assert facts[-1] == f"a recording.wav, at {percent} % of its speed"
    assert kept.graded.grade.tempo_bpm == pytest.approx(1.2 * percent)


def test_who_does_not_wait_for_another_speed_has_the_old_one(window, tmp_path):
    def again(_: Cut, progress: Progress) -> Along:
        while True:
            progress(0.5)

    keys = iter([Key.LEFT, Key.ENTER])

    def script(page: Page) -> Press | None:
        if isinstance(page, ReadyPage):
            return next(keys)
        return Key.ESCAPE if isinstance(page, WaitPage | ResultPage) else None

    made, _, _ = session_with(
        window, script, tmp_path, along=replace(going_along(TWO_BARS), again=again)
    )
    (kept,) = made.runs()
    assert kept.graded.grade.tempo_bpm == pytest.approx(120.0)


def test_strokes_start_and_leave(window, tmp_path):
    """The kick twice, then the pad of a command twice, while nothing runs."""
    asked = {ReadyPage: "snare", ResultPage: "crash"}
    begun: set[type] = set()

    def script(page: Page) -> Press | None:
        voice = asked.get(type(page))
        if voice and type(page) not in begun:
            begun.add(type(page))
            kit.strike((1.2, "kick"), (1.6, "kick"), (2.0, voice), (2.4, voice))
        return None

    made, kit, clock = session_with(window, script, tmp_path)
    kept = list(made.runs())
    assert len(kept) == 1
    assert clock.now() < 60.0
    assert begun == {ReadyPage, ResultPage}


def late_port(played: Performance, late_s: float, clock: SteppedClock):
    return lambda start_s: SimulatedPort(played, start_s + late_s, clock.now)


@pytest.mark.parametrize("late_ms", [12.0, 40.0])
def test_what_was_measured_is_taken_off_and_written_down(window, tmp_path, late_ms):
    task = Task(
        pattern=read_pattern(TEXT, "a-test"), tempo_bpm=120.0, bars=2, variations=(), rules=Rules()
    )
    played = perform(task.targets(), STEADY, 2)
    mean_ms = []
    for latency_ms in (0.0, late_ms):
        profile = Profile(kit="a kit", player="somebody", latency=typed(latency_ms))
        clock = SteppedClock()
        context = context_on(window, clock, frame_s=0.05, profile=profile)
        run = Run(
            task,
            context,
            late_port(played, latency_ms / 1000.0, clock),
        )
        kept = save_run(task, run.play(), tmp_path)
        assert read_take(kept.path).info["latency_ms"] == latency_ms
        assert kept.graded.latency_ms == latency_ms
        mean_ms.append(kept.graded.grade.timing.mean_ms)
    assert mean_ms[0] == pytest.approx(mean_ms[1], abs=0.2)


def test_a_kit_that_goes_between_runs_is_told_on_every_page_and_taken_back(window, tmp_path):
    """Out for two seconds on the ready page, and again after the run: told in a second each."""
    told: dict[type[Page], list[float]] = {ReadyPage: [], ResultPage: []}
    since: dict[type[Page], float] = {}
    stay_s = 4.0

    def script(page: Page) -> Press | None:
        now_s = clock.now()
        covered = isinstance(page, Covered)
        kind = type(page.page if covered else page)
        if kind not in told:
            return None
        begin_s = since.setdefault(kind, now_s)
        kit.there = not 1.0 <= now_s - begin_s < 3.0
        if covered:
            assert page.words == GONE_MEANWHILE
            told[kind].append(now_s - begin_s)
        leave = Key.ENTER if kind is ReadyPage else Key.ESCAPE
        return leave if now_s - begin_s > stay_s else None

    made, kit, clock = session_with(window, script, tmp_path)
    assert len(list(made.runs())) == 1
    for times_s in told.values():
        assert 1.0 <= times_s[0] < 2.0
        assert 2.9 <= times_s[-1] < 3.5


def test_a_covered_page_is_worked_as_ever(window, tmp_path):
    presses = iter([None, None, Key.ENTER])
    asked: list[Outcome | None] = []

    def script(page: Page) -> Press | None:
        if isinstance(page, Covered):
            asked.append(page.handle(Key.ESCAPE))
            assert page.offers(Outcome.START)
            assert not page.offers(Outcome.UNDO)
            return next(presses)
        return Key.ESCAPE if isinstance(page, ResultPage) else None

    made, kit, _ = session_with(window, script, tmp_path)
    kit.there = False
    assert made._ready() is Outcome.START
    assert set(asked) == {Outcome.LEAVE}


@pytest.mark.parametrize("late_s", [0.06, 0.0])
def test_where_everything_is_late_the_latency_is_measured_from_the_grade(window, tmp_path, late_s):
    """Once it is measured, that is told, it counts from the next run on, and is not offered."""
    task = Task(
        pattern=read_pattern(TEXT, "a-test"), tempo_bpm=120.0, bars=4, variations=(), rules=Rules()
    )
    targets, clock = task.targets(), SteppedClock()
    kit, offered, runs = Kit(clock), [], []
    keys = {ReadyPage: [Key.ENTER], ResultPage: ["m", Key.ENTER, Key.ESCAPE]}

    def script(page: Page, now_s: float) -> Press | None:
        if isinstance(page, RunPage) and page not in runs:
            runs.append(page)
            kit.strike(
                *[
                    (float(target_s) + late_s - now_s, voice)
                    for target_s, voice in zip(targets.time_s, targets.names, strict=True)
                ]
            )
        if isinstance(page, ResultPage):
            offered.append(page.offers(Outcome.LATENCY))
        return keys[type(page)].pop(0) if keys.get(type(page)) else None

    def measure(context, port):
        assert port is kit
        return replace(context.profile, latency=typed(60.0))

    known = {"notices": ("a kit",), "profile": Profile(kit="a kit", player="somebody")}
    context = context_on(Seen(window, script), clock, frame_s=0.05, listen_s=0.05, **known)
    saved = list(PlaySession(task, context, kit, folder=tmp_path, measure=measure).runs())
    taken_off = [read_take(one.path).info["latency_ms"] for one in saved]
    if late_s:
        assert offered == [True, False, False]
        assert taken_off == [0.0, 60.0]
    else:
        assert offered == [False, False, False]
        assert taken_off == [0.0, 0.0]


def test_the_bar_that_was_weak_is_practised_on_its_own(window, tmp_path, monkeypatch):
    """The kick on the & of 3 is left out each time: its bar, slower, then back to the grade."""

    def run(session: PlaySession):
        task = session._task
        played = perform(task.targets(), STEADY, 2)
        bar_s = task.time().seconds(task.pattern.meter.length)
        bounds_s = [(bar + 0.625) * bar_s for bar in range(task.bars)]
        left = [
            (at_s, data)
            for at_s, data in played.messages
            if data[1] != note_of("kick") or min(abs(at_s - each_s) for each_s in bounds_s) > 0.1
        ]
        port = SimulatedPort(replace(played, messages=left), 0.0, clock.now)

        def connect(start_s: float) -> SimulatedPort:
            port._start_s = start_s
            return port

        ended = Run(task, session._context, connect).play()
        tasks.append(task)
        return save_run(task, ended, tmp_path), ended

    tasks: list[Task] = []
    titles: list[str] = []
    keys = {
        ReadyPage: iter([Key.ENTER]),
        ResultPage: iter([Key.ENTER, Key.ESCAPE, "a", Key.ESCAPE]),
    }

    def script(page: Page) -> Press | None:
        if isinstance(page, ResultPage):
            titles.append(page._subtitle)
        return next(keys.get(type(page), iter(())), None)

    monkeypatch.setattr(PlaySession, "_run", run)
    made, _, clock = session_with(window, script, tmp_path)
    made._task = replace(made._task, bars=8)
    kept = list(made.runs())
    whole, alone, again = tasks
    assert kept[0].graded.grade.findings[0].code == "missed_stroke"
    assert (alone.kind, alone.bars, alone.tempo_bpm, alone.whole) == ("bar", 8, 108, whole.pattern)
    assert again == whole
    assert [title.split(" at ")[0] for title in titles] == [
        "8 bars",
        "the whole bar, 8 times",
        "8 bars",
        "8 bars",
    ]


def test_the_level_of_the_click_is_a_row_and_so_for_sticks_too(window, tmp_path):
    keys = iter([Key.UP, Key.UP, Key.LEFT, Key.LEFT, Key.ESCAPE])
    made, _, _ = session_with(window, lambda page: next(keys), tmp_path)
    mix = made._context.output.mix
    assert list(made.runs()) == []
    assert made._context.output.mix.of(Part.CLICK) == mix.of(Part.CLICK) - 2 * STEP_DB
