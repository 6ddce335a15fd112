"""Exercises played and heard, one run after the other; a rest may be the next one's count-in."""

from collections.abc import Callable
from dataclasses import replace
from math import ceil

from playalong.app.lesson.offered import WHILE_HEARD
from playalong.app.run.context import RunContext, SilentPort
from playalong.app.run.run import HeldPage, Run, RunResult
from playalong.app.run.task import Task
from playalong.midi.port import Port
from playalong.pattern.meter import Tempo
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.practice.feedback import Exercise
from playalong.practice.variations.calling import freely, mixed
from playalong.records.take_info import Simulated
from playalong.screen.base.widgets import LESSON, Buttons
from playalong.screen.pages.run import RunPage
from playalong.sound.speech import Speaker
from playalong.sound.synth.click import Clicking

#: How long a rest is at least: more than one bar, where bars are short.
REST_S = 1.8

#: How many beats before the next repetition the sheet moves again, but never before the middle of
#: the rest.
SEEN_BEATS = 2

#: While a run goes on the pads are the player's.
LEAVE_OFF = "Leave off playing, and the pads ask."

#: Gives the port for a run of so many targets, told when bar 1 will start; and its number.
Connect = Callable[[Targets, int, float], Port]


class Repetitions:
    """The runs of a lesson on ``pattern``: ``count`` so far, the last of them on ``port``.

    ``clicking`` says where it clicks; ``simulated`` who plays, None for people.
    """

    def __init__(
        self,
        pattern: Pattern,
        context: RunContext,
        connect: Connect,
        *,
        clicking: Clicking,
        simulated: Simulated | None,
    ) -> None:
        self.count = 0
        self.port: Port | None = None
        self._pattern, self._context, self._connect = pattern, context, connect
        self._clicking, self._simulated = clicking, simulated
        self._speaker = Speaker()
        #: When the next one begins, where the click goes on, and what is seen until shortly before.
        self._begin_s: float | None = None
        self._before: HeldPage | None = None

    def close(self) -> None:
        """Say nothing more."""
        self._speaker.close()

    def task(self, exercise: Exercise) -> Task:
        """What one repetition of an exercise asks."""
        # The empty bar at the end is the rest, in which nothing is asked.
        pattern = exercise.pattern
        rests = len(pattern.bars) > 1 and not pattern.bars[-1].strokes
        simulated = self._simulated
        task = Task(
            pattern=pattern,
            tempo_bpm=exercise.tempo_bpm,
            bars=exercise.bars - rests,
            variations=(),
            rules=exercise.rules,
            company=exercise.accompaniment,
            shown=exercise.shown,
            about=exercise.words,
            clicking=self._clicking,
            waits=False,  # the exercise is played again
            whole=self._pattern,
            excerpt=exercise.excerpt,
            free=exercise.is_free,
            simulated=simulated and simulated.next(self.count),
            kind="lesson",
        )
        return replace(task, rest=ceil(REST_S / _bar_s(task))) if rests else task

    def play(self, exercise: Exercise, task: Task) -> RunResult:
        """Play one repetition."""
        targets, number = task.targets(), self.count
        if exercise.is_free and self._simulated is not None:
            targets = self._mixed_freely(task)

        def connect(start_s: float) -> Port:
            self.port = self._connect(targets, number, start_s)
            return self.port

        run = Run(task, self._context, connect, begin_s=self._begin_s, before=self._before)
        self.break_the_click()
        self.count += 1
        page, calls = run.page, exercise.calls
        page.buttons = Buttons(LESSON, hint=LEAVE_OFF)
        page.clean = (exercise.right, exercise.clean) if exercise.clean > 1 else None

        def each_bar(bar: int) -> None:
            page.called = (calls[bar + 1] or "as written") if bar + 1 < len(calls) else ""
            if page.called:
                self._speaker.say(page.called)

        each_bar(-1)
        return run.play(each_bar)

    def hear(self, task: Task) -> RunResult:
        """The program plays it once; nothing is judged."""
        self.break_the_click()
        alone = replace(task, company=task.pattern, rest=0, judged=False)
        run = Run(alone, self._context, lambda start_s: SilentPort())
        run.page.buttons = Buttons(WHILE_HEARD)
        run.notice("listen")
        ended = run.play()
        self._context.output.clear()
        return ended

    def go_on_clicking(self, task: Task, ended: RunResult, *, page: RunPage, at_s: float) -> bool:
        """Let the rest after a run be the count-in of the next; the sheet stands still at ``at_s``
        until shortly before. False where there is no rest, or it has gone by.
        """
        beat_s = Tempo(task.tempo_bpm, task.pattern.meter.unit).seconds(task.pattern.meter.unit)
        seen_s = min(SEEN_BEATS * beat_s, task.rest * _bar_s(task) / 2.0)
        if not task.rest or self._context.clock.now() >= ended.next_s - seen_s:
            return False
        self._begin_s = ended.next_s
        self._before = HeldPage(page, at_s, -seen_s)
        return True

    def break_the_click(self) -> None:
        """The next run has a count-in of its own."""
        self._begin_s = self._before = None

    def _mixed_freely(self, task: Task) -> Targets:
        """What a simulated player plays where everybody plays what they like."""
        choice = [(), *((name,) for name in self._pattern.variations)]
        rounds = freely(choice, -(-task.bars // len(self._pattern.bars)), self.count)
        return replace(task, pattern=mixed(self._pattern, rounds)).targets()


def _bar_s(task: Task) -> float:
    """How long the last bar that is played lasts."""
    tempo = Tempo(task.tempo_bpm, task.pattern.meter.unit)
    last = task.pattern.bars[(task.bars - 1) % len(task.pattern.bars)]
    return tempo.seconds(last.meter.length)
