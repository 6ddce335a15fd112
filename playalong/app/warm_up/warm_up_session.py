"""A warm-up in the window: the page before it, bout after bout, a rest, and its end.

The machine (``practice.warm_up.machine``) says what comes next; here a bout becomes a run, its
take is graded like every other, and the curve grows from what was graded.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Protocol

from playalong.app.play.play_session import save_run
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.app.run.run import Run, RunResult
from playalong.app.run.task import Task
from playalong.app.warm_up.saved import SavedWarmUps
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.midi.port import Port
from playalong.pattern.targets import Targets
from playalong.practice.warm_up.diary import Day, Diary
from playalong.practice.warm_up.exercises import Measure
from playalong.practice.warm_up.figures import Passage, scatter_db
from playalong.practice.warm_up.machine import Bout, State, Summary, WarmUp
from playalong.practice.warm_up.phrases import (
    BREAK_S,
    LONG,
    LOOSEN_UP,
    PAIN,
    REST,
    STICKING,
    after_bout,
    at_the_end,
    before_bout,
    got_better,
    said_figure,
    said_mark,
    warms,
)
from playalong.records.take_info import Simulated
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.widgets import LEAVE, SKIP, START, Button, Buttons
from playalong.screen.pages.warm_up import Curve, WarmthChart, WarmUpPage
from playalong.sound.synth.click import PLAIN, Clicking, Gap
from playalong.support.cautions import CAUTION

#: How long words stay between two bouts, in seconds: the sentence, and what comes next.
READ_S = 7.0

#: How far past the last stroke the sheet stands still.
_STILL_S = 0.25

#: How many other days lie behind the curve.
_BEHIND = 4

#: Gives the port for a run of so many targets, told when bar 1 will start; and its number.
Connect = Callable[[Targets, int, float], Port]

LONGER = Button((Key.UP,), "↑", "longer", outcome=Outcome.FASTER)
SHORTER = Button((Key.DOWN,), "↓", "shorter", outcome=Outcome.SLOWER)
OTHER_PADS = Button(("n", "N"), "N", "on other pads", outcome=Outcome.NEXT)
GO_ON = Button(START.keys, START.cap, "go on", outcome=Outcome.START)
TO_LESSON = Button(START.keys, START.cap, "on to the lesson", outcome=Outcome.START)


@dataclass(frozen=True, slots=True, kw_only=True)
class WarmUpResult:
    """What came of a warm-up; ``to_lesson``: the player asked for the lesson that follows."""

    summary: Summary
    lines: tuple[str, ...]
    trouble: tuple[str, ...]
    to_lesson: bool = False


class Choices(Protocol):
    """What can be chosen before the first stroke: how long, and on what."""

    @property
    def said(self) -> str:
        """The choice in words."""
        ...

    @property
    def is_open(self) -> bool:
        """Whether there is anything to choose."""
        ...

    def other(self, outcome: Outcome) -> WarmUp:
        """The warm-up after FASTER (longer), SLOWER (shorter) or NEXT (on something else)."""
        ...


class WarmUpSession:
    """One warm-up; ``diary`` has the player's other days."""

    def __init__(
        self,
        machine: WarmUp,
        context: RunContext,
        connect: Connect,
        *,
        choices: Choices,
        diary: Diary,
        rules: Rules,
        takes_folder: Path,
        day: date,
        lesson: str | None = None,
        simulated: Simulated | None = None,
    ) -> None:
        """``choices`` gives another machine before the first stroke; ``lesson`` is the pattern that
        is being learned; ``simulated`` says who plays.
        """
        self._choices = choices
        self.machine, self._context, self._connect = machine, context, connect
        self._diary, self._rules, self._day = diary, rules, day
        self._takes = takes_folder / f"warm-up-{datetime.now():%Y-%m-%d-%H%M%S}"
        self._lesson, self._simulated = lesson, simulated
        self._trouble: list[str] = []
        self._chart = WarmthChart(
            minutes=machine.minutes,
            others=[self._curve(one) for one in diary.curves(_BEHIND)],
        )

    def go(self) -> WarmUpResult:
        """Warm up until it is over, or the player leaves."""
        outcome = self._before()
        machine = self.machine  # the one that was chosen
        if outcome is Outcome.LEAVE:
            machine.leave()
        while machine.state is not State.OVER:
            if machine.state is State.REST:
                outcome = self._rest()
                machine.rested()
            else:
                bout = machine.bout
                assert bout is not None
                outcome = self._bout(bout)
            if outcome is Outcome.LEAVE:
                machine.leave()
        summary = machine.summary()
        lines = self._lines(summary, self.as_saved().diary)
        outcome = self._after(summary, lines) if machine.reports else None
        return WarmUpResult(
            summary=summary,
            lines=lines,
            trouble=tuple(self._trouble),
            to_lesson=outcome is Outcome.START,
        )

    def as_saved(self) -> SavedWarmUps:
        """What is known of the player by now, with as much of this day as was played."""
        machine, diary = self.machine, self._diary
        if machine.reports:
            diary = diary.with_day(machine.as_day())
        return SavedWarmUps(knowledge=machine.knowledge, diary=diary)

    # The pages.

    def _before(self) -> Outcome | None:
        """The page before the first stroke, until the player starts."""
        outcome = self._offered()
        while outcome in (Outcome.FASTER, Outcome.SLOWER, Outcome.NEXT):
            self.machine = self._choices.other(outcome)
            self._chart.minutes = self.machine.minutes
            outcome = self._offered()
        return outcome

    def _offered(self) -> Outcome | None:
        machine = self.machine
        better = self._diary.better(self._day.isoformat())
        choices = (LONGER, SHORTER, OTHER_PADS) if self._choices.is_open else ()
        minutes = f"about {machine.minutes:.0f} min of playing"
        page = WarmUpPage(
            theme=self._context.theme,
            title="Warm up",
            subtitle=f"{len(machine.exercises)} exercises {self._choices.said}, {minutes}",
            said=(*LOOSEN_UP, got_better(better) if better else ""),
            listed=[one.title for one in machine.exercises],
            days=[self._curve(one) for one in self._diary.curves(12)],
            notices=(STICKING,),
            buttons=self._buttons(START, *choices, LEAVE),
        )
        if self._context.window.offscreen:
            return None
        return hold(self._context, page, 0.0)

    def _bout(self, bout: Bout) -> Outcome | None:
        """One exercise, and what there is to say of it."""
        task = self._task(bout)
        ended = self._played(bout, task)
        saved = save_run(task, ended, self._takes, memory=self._context.memory)
        self._trouble += [words for words in saved.trouble if words not in self._trouble]
        if ended.outcome is Outcome.SKIP:
            self.machine.skip()
            return None
        report = self.machine.played(saved.graded.run)
        self._chart.today = list(self.machine.curve)
        if ended.is_interrupted:
            raise KeyboardInterrupt
        if ended.lost_port is not None or ended.outcome is Outcome.LEAVE:
            return Outcome.LEAVE
        follows = self.machine.bout
        page = ended.page
        page.said = (after_bout(report, saved.graded.grade.advice),)
        if follows is not None:
            best = self._diary.best(follows.exercise.name)
            self._chart.heading = f"Next: {follows.exercise.title}"
            self._chart.figure = before_bout(follows, best)
        page.buttons = self._buttons(SKIP, LEAVE)
        self._context.output.clear()
        if self.machine.state is State.OVER:
            return None
        outcome = self._hold(page, _still_s(ended), READ_S)
        if outcome is Outcome.SKIP and self.machine.state is State.BOUT:
            self.machine.skip()
            return None
        return outcome

    def _played(self, bout: Bout, task: Task) -> RunResult:
        targets, number = task.targets(), bout.number
        run = Run(task, self._context, lambda start_s: self._connect(targets, number, start_s))
        page, chart = run.page, self._chart
        page.buttons = self._buttons(SKIP, LEAVE)
        page.chart = chart
        chart.heading = f"What warms now: {warms(bout.exercise)}"
        chart.figure = said_mark(bout, self._diary.best(bout.exercise.name))
        before = list(self.machine.curve)

        def each_bar(bar: int) -> None:
            # A bar late: its last stroke may still come at the bar line.
            whole = (bar - 1) // bout.together * bout.together
            if whole <= 0:
                return
            so_far = run.judging.targets
            until = so_far.until(float(so_far.bar_starts_s[whole]))
            played = MatchedRun.of(until, Hits.of(run.judging.played), self._rules)
            course = self.machine.course(bout, played)
            chart.today = [*before, *(one.point for one in course)]
            if course:
                passage = Passage(played, whole - bout.together, whole)
                chart.figure = self._said(bout, passage, course[-1].worth.figure)

        return run.play(each_bar)

    def _said(self, bout: Bout, passage: Passage, value: float | None) -> str:
        """The figure of the last round; in decibel as well where the kit's loudness is known."""
        words = said_figure(bout.exercise, value)
        scatter = scatter_db(passage)
        measured = bool(self._context.profile.strokes)
        if bout.exercise.measure is Measure.EVENNESS and measured and scatter is not None:
            words = f"{words}, {scatter:.1f} dB from stroke to stroke"
        return words

    def _task(self, bout: Bout) -> Task:
        exercise, follows = bout.exercise, bout.after
        clicking = PLAIN
        if exercise.silent:
            clicking = Clicking(gap=Gap(exercise.silent, exercise.silent))
        about = f"{exercise.trains}, {bout.tempo_bpm:g} bpm"
        if follows is not None:
            about += f"  ·  next: {follows.title}"
        return Task(
            pattern=bout.pattern,
            tempo_bpm=bout.tempo_bpm,
            bars=bout.bars,
            variations=(),
            rules=self._rules,
            company=bout.heard,
            clicking=clicking,
            about=about,
            simulated=self._simulated and self._simulated.next(bout.number),
            kind="warm-up",
        )

    def _rest(self) -> Outcome | None:
        """Some seconds of nothing; pain is asked about once, and counts for nothing."""
        page = WarmUpPage(
            theme=self._context.theme,
            title="Warm up",
            subtitle="a rest",
            said=(REST, PAIN),
            degrees=self._chart.reading,
            chart=self._chart,
            buttons=self._buttons(GO_ON, LEAVE),
        )
        self._chart.heading = self._chart.figure = ""
        outcome = self._hold(page, 0.0, self.machine.rest_s)
        return Outcome.LEAVE if outcome is Outcome.LEAVE else None

    def _after(self, summary: Summary, lines: tuple[str, ...]) -> Outcome | None:
        """The page at the end."""
        self._chart.heading = self._chart.figure = ""
        buttons = (TO_LESSON, LEAVE) if self._lesson else (LEAVE,)
        page = WarmUpPage(
            theme=self._context.theme,
            title="Warm up",
            subtitle=f"{self._day:%A}",
            said=lines,
            degrees=f"{summary.temperature:.0f}°",
            chart=self._chart,
            notices=(*self._trouble, CAUTION),
            buttons=self._buttons(*buttons),
        )
        window = self._context.window
        if window.offscreen:
            window.frame(page, 0.0)
            return None
        return hold(self._context, page, 0.0)

    def _lines(self, summary: Summary, diary: Diary) -> tuple[str, ...]:
        better = diary.better(self._day.isoformat())
        today = self._day.isoformat()
        played_s = sum(one.seconds for one in diary.days if one.day[:10] == today)
        lines = (
            *at_the_end(summary),
            got_better(better) if better else "",
            LONG if played_s > BREAK_S else "",
            f"Next: {self._lesson}." if self._lesson and summary.best is not None else "",
        )
        return tuple(filter(None, lines))

    def _hold(self, page: Page, at_s: float, seconds: float) -> Outcome | None:
        return hold(self._context, page, at_s, until_s=self._context.clock.now() + seconds)

    def _buttons(self, *offered: Button) -> Buttons:
        commands = self._context.pad_commands
        if commands is None:
            return Buttons(offered)
        return Buttons(offered, commands.pads, commands.call)

    def _curve(self, day: Day) -> Curve:
        return Curve(_named(date.fromisoformat(day.day[:10]), self._day), day.curve)


def _named(day: date, today: date) -> str:
    """How a day is called, in short: by its weekday in the last week, else by its date."""
    ago = (today - day).days
    if ago == 0:
        return "earlier"
    return f"{day:%a}" if 0 < ago < 7 else f"{day.day} {day:%b}"


def _still_s(ended: RunResult) -> float:
    times = ended.targets.time_s
    last_s = float(times[-1]) if len(times) else 0.0
    return min(ended.targets.end_s, last_s + _STILL_S)
