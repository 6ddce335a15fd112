"""Every page of the program, filled as when much is to be told: for the test of boxes and for the
contact sheet.

Runs and grades are those of a simulated player, who plays a shipped pattern on the stepped clock.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from playalong.app.grade.take_grading import Options, grade_take
from playalong.app.home.pattern_list import pattern_list
from playalong.app.home.remembered import LastRun, Weak
from playalong.app.home.waiting import beginning, going_on
from playalong.app.lesson.offered import AT_REST, KIT_GONE, NO_STROKE, TAKES_LONG, WHILE_HEARD
from playalong.app.lesson.repetitions import LEAVE_OFF
from playalong.app.play.play_session import AFTER, AFTER_WEAK, grade_page
from playalong.app.play.tasks import task_of
from playalong.app.run.clock import SteppedClock
from playalong.app.run.context import GONE, SilentPort
from playalong.app.run.frame_loop import DONE
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands
from playalong.app.run.run import Run, RunResult
from playalong.app.run.task import Task
from playalong.app.warm_up.warm_up_session import (
    GO_ON,
    LONGER,
    OTHER_PADS,
    SHORTER,
    TO_LESSON,
)
from playalong.grading.verdicts import Rules
from playalong.midi.pads import Pads
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.beat_map import BeatMap
from playalong.practice.assessment.machine import State
from playalong.practice.assessment.phrases import STANDS, overview, requirements
from playalong.practice.phrases import Code, said, text
from playalong.practice.warm_up.exercises import EXERCISES
from playalong.practice.warm_up.phrases import LOOSEN_UP, PAIN, REST, STICKING
from playalong.profile.pad_commands import Calls
from playalong.records.assessments.files import load_assessment
from playalong.records.pattern_files import library
from playalong.screen.base.page import Outcome
from playalong.screen.base.rows import CHANGING, Choice, Rows
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import (
    AGAIN,
    FASTER,
    LEAVE,
    LESSON,
    LISTEN,
    LISTENING,
    NEXT,
    SLOWER,
    START,
    Button,
    Buttons,
    Level,
    decibels,
)
from playalong.screen.history_pages.bar_by_bar import BarByBarPage
from playalong.screen.history_pages.choices import (
    ERASE,
    EXPORT,
    GRADE,
    KEEP,
    LATER,
    THROW_AWAY,
    ChoicesPage,
)
from playalong.screen.history_pages.comparison import ComparisonPage
from playalong.screen.history_pages.look_back import LookBackPage, RunLine
from playalong.screen.history_pages.plots import Plot
from playalong.screen.home_pages.first import Card, Day, FirstPage
from playalong.screen.home_pages.patterns import FOUND, PatternsPage
from playalong.screen.home_pages.settings import CHOOSING, SETTING, SettingsPage
from playalong.screen.home_pages.start import StartPage, Strokes
from playalong.screen.home_pages.typed import TypedPage
from playalong.screen.kit_pages.kit_drawing import KitDrawing
from playalong.screen.pages.afterwards import AfterwardsPage
from playalong.screen.pages.passes import PassesPage
from playalong.screen.pages.plan import PlanLine, PlanPage
from playalong.screen.pages.ready import READY_OWN, ReadyPage
from playalong.screen.pages.result import ResultPage
from playalong.screen.pages.run import PassMark, RunPage
from playalong.screen.pages.sitting import SittingPage
from playalong.screen.pages.texture import TexturePage
from playalong.screen.pages.wait import WaitPage
from playalong.screen.pages.warm_up import Curve, WarmthChart, WarmUpPage
from playalong.screen.sheet.recording_strip import RecordingStrip
from playalong.simulation.player import SimulatedPort, perform
from playalong.simulation.skills import SKILLS
from playalong.support.cautions import CAUTION
from tests.helpers.stage import context_on, unseen_window

from .beats_samples import a_page as beats_page
from .capture_samples import played_in, playing_in
from .edit_samples import PAGES_OF_WRITING
from .kit_samples import CALL, CALLED, PAGES_OF_A_KIT, also, ready_page

#: As long as a name may be (``records.store.players``).
LONG_NAME = "Marigold-Persephone Underbarrow-Quillington-Thistlewaite-Oakes"[:60]

Maker = Callable[[Theme], object]


@cache
def simulated_run(name: str = "late-bus-home", bars: int = 8) -> tuple[Task, RunResult]:
    """A run by a simulated player, an intermediate one."""
    task = task_of(library().get(name), Rules(), bars=bars)
    clock = SteppedClock()
    performance = perform(task.targets(), SKILLS["intermediate"], 1)
    with unseen_window() as window:
        context = context_on(window, clock, frame_s=0.1, listen_s=0.1)
        run = Run(
            task=task,
            context=context,
            connect=lambda start_s: SimulatedPort(performance, start_s, clock.now),
        )
        return task, run.play()


def run_page(theme: Theme) -> RunPage:
    """The sheet after a run; drawn at any of its seconds."""
    _, ended = simulated_run()
    page = ended.page
    page.theme, page.paused, page.said, page.called = theme, (), (), ""
    page.clean, page.notices, page.level = None, ["Some Module MIDI 1"], Level(-18.0)
    page.buttons, page.chart, page.passes = Buttons([LEAVE]), None, None
    return page


def paused_page(theme: Theme) -> RunPage:
    """A run whose kit has gone."""
    page = run_page(theme)
    page.paused = GONE
    return page


def with_pads(page: RunPage) -> RunPage:
    """The page as it is with a kit: its buttons show the pads that do the same."""
    commands = PadCommands(HitInput(SilentPort(), StampFilter(), Pads()), Calls())
    page.buttons.show_pads(commands.on(page), commands.call)
    return page


def lesson_page(theme: Theme) -> RunPage:
    """A rest in a lesson, with words on the sheet."""
    page = run_page(theme)
    page.said = (
        "The ghost note on the e of 3 is too loud, 3 of 4 times: let that stick start lower.",
        "Once more, then the beats 3 and 4 joined.",
        "Rest a minute before that: shake out both hands.",
    )
    page.clean, page.buttons = (2, 4), Buttons(AT_REST)
    page.level = Level(-18.0, ("click", "drums"))
    return with_pads(page)


def sound_level(theme: Theme) -> SettingsPage:
    """How loud it is, sticks in hand."""
    levels = {"all": -18.0, "click": -15.0, "drums": 0.0, "recording": 0.0}
    return SettingsPage(
        theme=theme,
        title="Sound",
        subtitle="",
        rows=Rows([Choice(name=name, value=decibels(db)) for name, db in levels.items()]),
        notices=[CAUTION],
        level=None,
        buttons=Buttons((DONE, *CHANGING), CALLED, CALL),
    )


def lesson_run(theme: Theme) -> RunPage:
    """A repetition as it is played, of a step that has a long name."""
    page = run_page(theme)
    page.subtitle = 'The whole bar without "no-whispers" and with it, in turn, up to 96 bpm.'
    page.clean, page.buttons = (2, 4), Buttons(LESSON, hint=LEAVE_OFF)
    page.level = Level(-18.0, ("click", "drums"))
    return page


def lesson_heard(theme: Theme) -> RunPage:
    """What comes is played by the program first."""
    page = run_page(theme)
    page.subtitle, page.buttons = "Listen, then try it at once.", Buttons(WHILE_HEARD)
    return page


def lesson_long(theme: Theme) -> RunPage:
    """A step that has taken long."""
    page = run_page(theme)
    page.said = (
        "3 of 4 were not clean: strokes are missing, or there are too many.",
        "Slower, at 61 bpm, so that there is time for every stroke.",
        "6 minutes at this step: leave it for today? It comes back tomorrow.",
    )
    page.buttons = Buttons(TAKES_LONG)
    return with_pads(page)


def lesson_silent(theme: Theme) -> RunPage:
    """No stroke arrived."""
    page = run_page(theme)
    listening = said(Code.LISTENING_ON, port="Some Module With a Long Name MIDI 1")
    codes = (said(Code.NOTHING_ARRIVES), listening, said(Code.LOOK_AT_THE_KIT))
    page.paused, page.buttons = tuple(map(text, codes)), Buttons(NO_STROKE)
    return page


def lesson_kit_gone(theme: Theme) -> RunPage:
    """The kit has gone in the middle of a repetition."""
    page = run_page(theme)
    page.paused, page.buttons = (GONE[0], text(said(Code.KIT_GONE))), Buttons(KIT_GONE)
    return page


def lesson_kit_back(theme: Theme) -> RunPage:
    """It is back, and waits for a stroke."""
    page = run_page(theme)
    page.paused = tuple(text(said(code)) for code in (Code.KIT_BACK, Code.STRIKE_TO_BEGIN))
    page.buttons = Buttons(NO_STROKE)
    return page


def listening_back(theme: Theme) -> RunPage:
    """The player listens to what they played."""
    page = run_page(theme)
    page.subtitle, page.buttons = "listening: yours", Buttons([*LISTENING, LEAVE])
    return page


def called_page(theme: Theme) -> RunPage:
    """A bar of a called variation."""
    page = run_page(theme)
    page.called, page.clean = "push and no-whispers", (3, 4)
    return page


def result(theme: Theme, offered: Sequence[Button] = AFTER_WEAK) -> ResultPage:
    """The grade of the run, of which a bar is to be practised."""
    task, ended = simulated_run()
    graded = grade_take(task.pattern, ended.recording.take(), Options())
    with unseen_window() as window:
        context = context_on(window, theme=theme)
        return grade_page(task, graded, context, offered=offered, notices=[_KEPT], best=93.0)


_KEPT = "The take is kept: /home/somebody/.local/share/playalong/takes/late-bus-home-2031-01-01.mid"

CARDS = (
    Card(outcome=Outcome.PATTERNS, title="Patterns", words="by what they train", key="P"),
    Card(outcome=Outcome.WATCH, title="Watch", words="a player shows it", key="W"),
    Card(outcome=Outcome.WARM_UP, title="Warm up", words="five minutes", key="U"),
    Card(outcome=Outcome.ASSESSMENT, title="Assessment", words="what was set", key="A"),
    Card(outcome=Outcome.WRITE, title="Write", words="your own patterns", key="T"),
    Card(outcome=Outcome.LOOK_BACK, title="Look back", words="4 days this week", key="L"),
    Card(outcome=Outcome.KIT, title="Kit", words="latency not measured", key="K"),
    Card(outcome=Outcome.SETTINGS, title="Settings", words="player, window, level", key="S"),
)


def first_page(theme: Theme) -> FirstPage:
    """The first page of somebody who has played."""
    weak = Weak(
        text="The ghost note on the e of 3 is too loud, 7 of 8 times: let that stick start lower.",
        code="ghost_loud",
        voice="snare",
        places=((1, "e of 3"),),
        value=9.0,
        unit="dB",
        n=7,
        of=8,
    )
    last = LastRun(
        pattern=library().get("late-bus-home"),
        name="late-bus-home",
        kind="play",
        tempo_bpm=84.0,
        bars=8,
        score=91.0,
        weak=weak,
    )
    names = ("Mo", "Tu", "We", "Th", "Fr", "Sa", "Su")
    minutes = (12.0, 25.0, 0.0, 31.0, 18.0, 0.0, 0.0)
    return FirstPage(
        theme=theme,
        title=f"Good evening, {LONG_NAME}",
        subtitle="Some Module With a Long Name MIDI 1",
        going_on=going_on(last),
        cards=CARDS,
        week=[
            Day(name, each, at < 4)
            for at, (name, each) in enumerate(zip(names, minutes, strict=True))
        ],
        notices=[],
        caution="Start quiet, loosen up first, rest between runs.",
        pads=CALLED,
        call=CALL,
        chosen=2,
    )


def first_page_of_somebody_new(theme: Theme) -> FirstPage:
    """The first page before the first run, without a kit, and something to be told."""
    return FirstPage(
        theme=theme,
        title="Good evening",
        subtitle="No kit: space kick, C snare (X soft), J hi-hat, Z ride, V G R toms, Q crash",
        going_on=beginning(library().get("paper-round-before-six")),
        cards=CARDS[:3],
        notices=[
            "The store cannot be written: the disk is full. Takes are kept as files meanwhile."
        ],
        caution="Start quiet, loosen up first, rest between runs.",
    )


def patterns(theme: Theme) -> PatternsPage:
    """All shipped patterns, the longest of them chosen."""
    lines = pattern_list([]).lines({})
    most = max(range(len(lines)), key=lambda at: len(lines[at].voices))
    return PatternsPage(
        theme=theme,
        lines=lines,
        chosen=most,
        notices=["bad.toml is left out. Line 3: no bars."],
        buttons=Buttons(FOUND, also(CALLED), CALL),
    )


def searched_in_vain(theme: Theme) -> PatternsPage:
    """A search that leaves nothing."""
    return PatternsPage(
        theme=theme, lines=pattern_list([]).lines({}), typed="no such pattern anywhere"
    )


def settings(theme: Theme) -> SettingsPage:
    """All settings."""
    rows = [
        Choice(name="full screen", value="off", about="The window takes all of the screen."),
        Choice(name="window", value="1280 × 720"),
        Choice(name="dark", value="on"),
        Choice(name="larger writing", value="off"),
        Choice(name="strong contrast", value="off"),
        Choice(name="less motion", value="off"),
        Choice(name="your pads sound here", value="off", about="For a kit without a module."),
        Choice(name="click", value="beats and eighths"),
        Choice(name="level", value="professional, 25 ms"),
        Choice(name="leading hand", value="right"),
        Choice(name="sound device", value="Built-in Audio Analogue Stereo"),
        Choice(name="patterns of your own", value="add a folder"),
        Choice(name="your data", value="look at it"),
    ]
    return SettingsPage(
        theme=theme,
        title="Settings",
        subtitle=LONG_NAME,
        rows=Rows(rows, 6),
        level=Level(-18.0),
        buttons=Buttons(SETTING, CALLED, CALL),
    )


def players(theme: Theme) -> SettingsPage:
    """Many players."""
    rows = [Choice(name=name, value="", fixed=True) for name in (LONG_NAME, *"ABCDEFGHIJKLMNOPQ")]
    page = SettingsPage(
        theme=theme,
        title="Player",
        subtitle="who plays?",
        rows=Rows(rows, 9),
        buttons=Buttons(CHOOSING),
    )
    return page


def typed(theme: Theme) -> TypedPage:
    """Something typed that is wrong."""
    return TypedPage(
        theme=theme,
        title="Patterns of your own",
        prompt="Which folder are they in?",
        typed="/home/somebody/" + "a rather long folder/" * 7,
        notice="There is no folder of that name: look at how it is written.",
        is_off=True,
    )


def first_kit(theme: Theme) -> StartPage:
    """The first step of the first start."""
    drawing = KitDrawing()
    drawing.strike("snare", 92, 1.9)
    return StartPage(
        theme=theme,
        title="First start",
        subtitle="step 1 of 5",
        prompt="Your kit is heard.",
        said=["That was the snare, velocity 92 of 127."],
        drawing=drawing,
        notices=[CAUTION],
    )


def first_strokes(theme: Theme) -> StartPage:
    """The second step, where soft strokes do not arrive."""
    return StartPage(
        theme=theme,
        title="First start",
        subtitle="step 2 of 5",
        prompt="The snare: three strokes as soft as you can.",
        said=[
            "Do soft strokes not arrive? Turn the snare pad's threshold down on the module, "
            "or its sensitivity up."
        ],
        is_off=True,
        strokes=[
            Strokes(name="snare", done=3, of=3),
            Strokes(name="hi-hat", done=3, of=3),
            Strokes(name="kick", done=3, of=3),
            Strokes(name="soft snare", done=0, of=3),
        ],
        now=3,
        drawing=KitDrawing(),
    )


def plan(theme: Theme) -> PlanPage:
    """A long plan."""
    lines = [
        PlanLine(
            words=f"beats {at} and {at + 1} joined, hands alone",
            done=at < 9,
            left_out=at == 4,
            now=at == 9,
            took="12 times, 3 min",
            sure=f"{min(at, 10)} of 10",
            stands={4: "left out", 7: "passed by", 9: "next", 11: "tomorrow"}.get(at, ""),
        )
        for at in range(1, 40)
    ]
    return PlanPage(
        theme, "Late Bus Home", lines, notices=["Learned so far: kept."], pads=CALLED, call=CALL
    )


def afterwards(theme: Theme) -> AfterwardsPage:
    """The end of a lesson."""
    offers = [
        "The whole bar at 96 bpm, the goal.",
        'Another variation: with and without "push" at 96 bpm.',
        "The next pattern: Market at Six. It trains soft strokes beside loud ones.",
    ]
    said = "That was the last step: the whole pattern is learned."
    pads = {**CALLED, Outcome.PLAN: "floor-tom"}
    return AfterwardsPage(theme, "Late Bus Home", said, offers=offers, pads=pads, call=CALL)


def texture(theme: Theme) -> TexturePage:
    """What was played when."""
    rows = [("push", (1, 3, 5)), ("no-whispers", (2, 6)), ("as written", (0, 4, 7))]
    words = ['"push" in 3 bars, the groove 14 ms spread.', '"no-whispers" in 2 bars.']
    return TexturePage(
        theme,
        "Late Bus Home",
        rows,
        bars=16,
        words=words,
        next='Next time play "last-whisper" and "plain-feet" as well.',
        pads=CALLED,
        call=CALL,
    )


def wait(theme: Theme) -> WaitPage:
    """Something takes its time."""
    return WaitPage(
        theme=theme,
        title="rainy evening, live at the harbour.flac",
        words="Finding the beats",
        share=0.4,
    )


def assessment_agreed(theme: Theme) -> SittingPage:
    """What is agreed before an assessment, taken up again after a crash."""
    found = load_assessment("first-lessons").assessment
    latency = "12 ms are taken off, the click played by the kit"
    return SittingPage(
        theme=theme,
        title=found.title,
        subtitle=overview(found),
        said=STANDS[State.AGREEING],
        words=[found.instructions],
        rows=[("player", LONG_NAME), ("kit", "Some Module MIDI 1"), ("latency", latency)],
        notices=["This goes on where it was interrupted, with the time that was left.", CAUTION],
        level=Level(-18.0),
        buttons=Buttons([START, LEAVE], CALLED, CALL),
    )


def assessment_over(theme: Theme) -> SittingPage:
    """What came of an assessment."""
    found = load_assessment("groove-and-ghost-notes").assessment
    return SittingPage(
        theme=theme,
        title=found.title,
        clock="0:00 left",
        said=STANDS[State.CLOSED],
        rows=[(item.title, "88 of 100, distinction") for item in found.items],
        notices=[CAUTION],
        buttons=Buttons([START]),
    )


def assessment_ready(theme: Theme) -> ReadyPage:
    """The bars that come in an assessment, and what is asked."""
    found = load_assessment("groove-and-ghost-notes").assessment
    item = found.items[0]
    rows = [line.partition(": ") for line in requirements(found, item)]
    return ReadyPage(
        theme=theme,
        title=f"15:32 left  ·  {item.title}",
        tempo_bpm=item.tempo_bpm,
        run_bars=item.bars,
        bars=found.pattern_of(item).bars,
        voices=found.pattern_of(item).voices,
        rows=Rows([]),
        facts=[("item 1 of 4", "attempt 2 of 3"), *((what, limit) for what, _, limit in rows)],
        caution=CAUTION,
        level=Level(-18.0),
        buttons=Buttons([START, NEXT, LEAVE], CALLED, CALL),
    )


SONG_S = 64.0


def song(begin_s: float, end_s: float, columns: int) -> np.ndarray:
    """A recording that swells every eight seconds."""
    at_s = np.linspace(begin_s, end_s, columns, endpoint=False)
    size = (0.3 + 0.6 * (at_s % 8.0) / 8.0) * (at_s % 0.5 < 0.2)
    return np.stack([-size, size], axis=1).astype(np.float32)


MANY_PASSES = tuple(
    PassMark(score=min(97, 52 + 3 * number), is_clean=number > 9, percent=70 + 5 * (number // 12))
    for number in range(18)
)


def loop_ready(theme: Theme) -> ReadyPage:
    """Bars of a recording are chosen, to be played again and again."""
    page = ready_page(theme)
    strip = RecordingStrip(
        beats=BeatMap.from_tempo(tempo_bpm=120.0, first_beat_s=0.4, length_s=SONG_S),
        length_s=SONG_S,
        overview=song,
        bars=(4, 7),
    )
    rows = [
        Choice(name="tempo", value="70 % of the recording"),
        Choice(name="from bar", value="5"),
        Choice(name="to bar", value="8"),
        Choice(name="these bars", value="again and again"),
        Choice(name="count-in", value="before each pass"),
        Choice(name="5 % faster after", value="3 clean passes in a row"),
        Choice(name="variation", value="as written"),
        Choice(name="level", value="intermediate, 45 ms"),
        Choice(name="click", value="beats and eighths"),
        Choice(name="silent bars", value="none"),
    ]
    return replace(page, rows=Rows(rows, 1), recording=strip)


def loop_run(theme: Theme) -> RunPage:
    """Bars again and again, on a sheet that runs on."""
    page = run_page(theme)
    page.passes, page.notices = MANY_PASSES, ["bars 5 to 8, again and again, at 75 % of the speed"]
    return page


def loop_end(theme: Theme) -> PassesPage:
    """After the last pass."""
    return PassesPage(
        theme=theme,
        title="Late Bus Home",
        bars="bars 5 to 8",
        passes=MANY_PASSES,
        advice="The ghost note on the e of 2 comes as loud as a tap: keep that stick low.",
        also=["The kick is 12 ms ahead.", "The snare on 4 was missed in 3 of 72 bars."],
        notices=["The takes are kept in /home/someone/.local/share/playalong/takes", CAUTION],
        level=Level(-18.0),
        buttons=Buttons([AGAIN, LISTEN, SLOWER, FASTER, LEAVE], CALLED, CALL),
    )


#: Every page, and the seconds at which it is drawn.
def warmth(minutes: float = 10.0) -> WarmthChart:
    """A curve with some of other days."""
    course = [(10.0 * step, 48.0 * (1.0 - 0.97**step)) for step in range(40)]
    others = [
        Curve(day, [(at_s, share * degrees) for at_s, degrees in course])
        for day, share in (("21 Sep", 0.7), ("Tue", 0.85), ("Wed", 1.2))
    ]
    return WarmthChart(minutes=minutes, others=others, today=course[:26])


def warm_up_start(theme: Theme) -> WarmUpPage:
    """Before a warm-up of many exercises."""
    course = warmth()
    return WarmUpPage(
        theme=theme,
        title="Warm up",
        subtitle="20 exercises on a pad and a kick, about 14 min of playing",
        said=(*LOOSEN_UP, "This month Flams went from 14 ms to 9.5 ms from flam to flam."),
        listed=[one.title for one in EXERCISES],
        days=[*course.others] * 4,
        notices=(STICKING,),
        buttons=Buttons((START, LONGER, SHORTER, OTHER_PADS, LEAVE), CALLED, CALL),
    )


def warm_up_run(theme: Theme) -> RunPage:
    """An exercise as it goes on, over the curve."""
    page = run_page(theme)
    page.chart = warmth()
    page.chart.heading = "What warms now: the step from stroke to stroke"
    page.chart.figure = "24 ms uneven"
    page.subtitle = "the same step from hand to hand, 62 bpm  ·  next: Two, Three, Four, Six"
    return page


def warm_up_rest(theme: Theme) -> WarmUpPage:
    """The rest in a warm-up."""
    return WarmUpPage(
        theme=theme,
        title="Warm up",
        subtitle="a rest",
        said=(REST, PAIN),
        degrees="41°",
        chart=warmth(),
        buttons=Buttons((GO_ON, LEAVE), CALLED, CALL),
    )


def warm_up_end(theme: Theme) -> WarmUpPage:
    """The end of a warm-up."""
    return WarmUpPage(
        theme=theme,
        title="Warm up",
        subtitle="Wednesday",
        said=(
            "14 minutes, 41 degrees. Best: Two, Three, Four, Six, 24 ms off.",
            "Work on Ghost Over Kick: soft above, strong below, in one stroke; now 71 % soft.",
            "Next: Late Bus Home.",
        ),
        degrees="41°",
        chart=warmth(),
        notices=(CAUTION,),
        buttons=Buttons((TO_LESSON, LEAVE), CALLED, CALL),
    )


def looked_back(theme: Theme) -> LookBackPage:
    """Months of somebody who plays every day."""
    runs = [
        RunLine(
            when=f"{at % 28 + 1} Nov, 18:30",
            what="Paper Round Before Six",
            tempo="84 bpm",
            score=f"{at + 60}",
        )
        for at in range(40)
    ]
    points = [(at / 12, 50.0 + 40.0 * (-0.8) ** at) for at in range(13)]
    names = ("Score", "Minutes", "Spread", "Ghost notes", "Tempo", "Missed")
    plots = [
        Plot(
            name=name,
            words="84 bpm",
            points=points,
            low=0.0,
            high=100.0,
            ends=("0", "100"),
            span=("1 Oct", "today"),
            stands=name == "Minutes",
        )
        for name in names
    ]
    return LookBackPage(
        theme,
        "Look back",
        f"{LONG_NAME}  ·  all patterns",
        said="Weakest place lately: the kick on the a of 3, 19 of 64 times off, mostly late.",
        also=["best 100, 22 Nov", "3 days and 2 hours 10 minutes this week"],
        plots=plots,
        runs=runs,
        chosen=3,
    )


def bar_by_bar(theme: Theme) -> BarByBarPage:
    """The run again, its third bar."""
    task, _ = simulated_run()
    starts_s = [float(start_s) for start_s in task.targets().bar_starts_s]
    return BarByBarPage(run_page(theme), starts_s, 2)


def comparison(theme: Theme) -> ComparisonPage:
    """Two runs beside one another."""
    what = ("score", "on time", "early and late", "missed and extra", "loudness", "ghost notes")
    return ComparisonPage(
        theme,
        "Late Bus Home",
        named=("22 Nov 2026, 18:30, 84 bpm", "the best one, 2 Oct 2026, 84 bpm"),
        rows=[(each, "11 early, 2 late", "102 of 136") for each in what],
        notices=["The second was played at another tempo."],
    )


def your_data(theme: Theme) -> ChoicesPage:
    """All that is kept of somebody."""
    lines = [f"takes/late-bus-home-2031-01-{day:02}-183000.mid" for day in range(1, 29)]
    return ChoicesPage(
        theme,
        "Your data",
        said=f"This is kept of {LONG_NAME}, on this computer alone.",
        lines=lines,
        offered=[EXPORT, ERASE, LEAVE],
    )


def broken_off(theme: Theme) -> ChoicesPage:
    """A run whose program ended before it did."""
    return ChoicesPage(
        theme,
        "A run was broken off",
        said="The program ended before this run did. What was played is here.",
        lines=["Late Bus Home, 22 Nov 18:30, 212 strokes"],
        offered=[GRADE, KEEP, THROW_AWAY, LATER],
    )


def ready_own(theme: Theme) -> ReadyPage:
    """Before a run of a pattern that may be changed and printed."""
    page = ready_page(theme)
    page.buttons = Buttons(READY_OWN)
    return page


PAGES: dict[str, tuple[Maker, float]] = {
    "first": (first_page, 0.0),
    "first-of-somebody-new": (first_page_of_somebody_new, 0.0),
    "first-start-kit": (first_kit, 2.0),
    "first-start-strokes": (first_strokes, 2.0),
    "patterns": (patterns, 0.0),
    "patterns-none": (searched_in_vain, 0.0),
    "settings": (settings, 0.0),
    "players": (players, 0.0),
    "typed": (typed, 0.0),
    "run": (run_page, 12.4),
    "sound-level": (sound_level, 0.0),
    "run-count-in": (run_page, -1.5),
    "run-paused": (paused_page, 9.0),
    "run-called": (called_page, 9.0),
    "lesson-run": (lesson_run, 12.4),
    "lesson-heard": (lesson_heard, 12.4),
    "lesson-rest": (lesson_page, 12.4),
    "lesson-long": (lesson_long, 12.4),
    "lesson-silent": (lesson_silent, 12.4),
    "lesson-kit-gone": (lesson_kit_gone, 12.4),
    "lesson-kit-back": (lesson_kit_back, 12.4),
    "listening-back": (listening_back, 12.4),
    "result": (result, 0.0),
    "result-without-weak-bar": (lambda theme: result(theme, AFTER), 0.0),
    "plan": (plan, 0.0),
    "afterwards": (afterwards, 0.0),
    "texture": (texture, 0.0),
    "wait": (wait, 0.0),
    "warm-up-start": (warm_up_start, 0.0),
    "warm-up-run": (warm_up_run, 12.4),
    "warm-up-rest": (warm_up_rest, 0.0),
    "warm-up-end": (warm_up_end, 0.0),
    "assessment-agreed": (assessment_agreed, 0.0),
    "assessment-ready": (assessment_ready, 0.0),
    "loop-ready": (loop_ready, 0.0),
    "loop-run": (loop_run, 2.2),
    "loop-end": (loop_end, 0.0),
    "assessment-over": (assessment_over, 0.0),
    "look-back": (looked_back, 0.0),
    "bar-by-bar": (bar_by_bar, 0.0),
    "comparison": (comparison, 0.0),
    "your-data": (your_data, 0.0),
    "broken-off": (broken_off, 0.0),
    "beats": (beats_page, 20.0),
    "ready-own": (ready_own, 0.0),
    **{name: (maker, 0.0) for name, maker in PAGES_OF_WRITING.items()},
    "play-in": (playing_in, 9.0),
    "play-in-understood": (played_in, 0.0),
    **{name: (maker, 2.0) for name, maker in PAGES_OF_A_KIT.items()},
}
