"""Practice: the lesson played in the window, hands on the sticks.

The lesson (``playalong.practice``) says what to play and what it thinks of it; here each exercise
becomes a run. In the bar of rest after an exercise the sheet stands still and says what to
change; when the same comes again, that bar is its count-in, and the click never stops.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import islice
from math import ceil, inf
from pathlib import Path
from typing import Any, TypeVar

from playalong.app.grade.checks import check_practised
from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.listen_back import Playback, listen_back
from playalong.app.memory import Memory, write_take
from playalong.app.mistakes import mishap_lines
from playalong.app.run.context import GONE, RunContext, SilentPort
from playalong.app.run.frame_loop import Scene, View, hold, show
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import also
from playalong.app.run.run import HeldPage, Run, RunResult
from playalong.app.run.task import Task
from playalong.app.stored_runs import NOBODY
from playalong.grading.grade import Code as FindingCode
from playalong.grading.verdicts import Rules
from playalong.midi.mapping import Heard
from playalong.midi.port import Port
from playalong.pattern.meter import Tempo
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.practice.afterwards import after, offers, ways
from playalong.practice.feedback import KNOWN, Answer, Exercise, Record, State
from playalong.practice.lesson import Lesson
from playalong.practice.phrases import (
    STANDS,
    Code,
    capital,
    intro,
    said,
    subject,
    text,
    texture_lines,
    texture_next,
)
from playalong.practice.repetition import Repetition, repetition
from playalong.practice.variations.calling import freely, mixed
from playalong.practice.variations.texture import Texture
from playalong.profile.pad_commands import QUIET_AFTER_S
from playalong.records import lessons
from playalong.records.pattern_files import library
from playalong.records.take_info import Simulated
from playalong.records.takes import Recording, TakeError
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.widgets import HEAR, LEAVE, LESSON, SKIP, Button, Buttons
from playalong.screen.pages.afterwards import AfterwardsPage
from playalong.screen.pages.plan import PlanLine, PlanPage
from playalong.screen.pages.run import RunPage
from playalong.screen.pages.texture import TexturePage
from playalong.sound.listening import Which
from playalong.sound.speech import Speaker
from playalong.sound.synth.click import PLAIN, Clicking
from playalong.support.files import short_name

#: What can be asked for while the sheet stands still, by keys and from the pads: the step before is
#: chosen on the plan. Where a step has taken long it can be left for today.
GO_ON = Button((Key.ENTER,), "Enter", "go on", outcome=Outcome.AGAIN)
SHOW_PLAN = Button(("p", "P"), "P", "the plan", outcome=Outcome.PLAN)
AT_REST = (
    GO_ON,
    HEAR,
    Button(("l", "L"), "L", "hear yours", outcome=Outcome.LISTEN),
    SHOW_PLAN,
    Button(("e", "E"), "E", "easier", outcome=Outcome.EASIER),
    SKIP,
    LEAVE,
)
LATER = Button(("t", "T"), "T", "leave it for today", outcome=Outcome.LATER)

#: How long a simulated player practises at a sitting (common practice: half an hour is enough).
SITTING_S = 30 * 60.0

#: So many patterns are offered at the end of a lesson, at most.
_FOLLOWING = 2

#: How long words stay at least before something else is played.
READ_S = 4.0

#: How long the plan is shown at the beginning, unless a key goes on before.
PLAN_S = 8.0

#: How long the texture of a free mixing is shown, unless a key goes on before.
TEXTURE_S = 15.0

#: How long a rest is at least: more than one bar, where bars are short.
REST_S = 1.8

#: How many beats before the next repetition the sheet moves again, but never before the middle of
#: the rest.
SEEN_BEATS = 2

#: Where strokes may ask for something: more than so many do not, nor those before such a silence.
CALL_STROKES, CALL_OVER_S = 4, QUIET_AFTER_S + 0.3

#: How far past the last stroke the sheet stands still.
STILL_S = 0.25

T = TypeVar("T")

#: Gives the port for a run of so many targets, told when bar 1 will start; and its number.
Connect = Callable[[Targets, int, float], Port]


@dataclass(frozen=True, kw_only=True)
class LessonSummary:
    """What came of it: steps learned of all, repetitions played, what is next, and trouble.

    ``broken_off`` is the take of a run in the middle of which the program was asked to end,
    ``is_interrupted`` says that this was between two runs; ``goes_on`` is the pattern that the
    player went on to, None where they left.
    """

    learned: int
    steps: int
    repetitions: int
    next: str
    trouble: tuple[str, ...]
    broken_off: Path | None = None
    is_interrupted: bool = False
    goes_on: Pattern | None = None


def begun(
    pattern: Pattern, rules: Rules, store: Path, *, player: str
) -> tuple[Lesson, tuple[str, ...]]:
    """The lesson of ``player`` on ``pattern`` as the file ``store`` keeps it, or a new one; and
    what is to tell.
    """
    kept, word = lessons.read(store, player, pattern)
    if kept is not None:
        lesson = Lesson.from_plain(pattern, _plain(kept), rules)
        return lesson, lesson.told
    for earlier in lessons.changed(store, player, pattern):
        changed = Lesson.changed(pattern, _plain(earlier), rules)
        if changed is not None:
            return changed, changed.told
    return Lesson(pattern, rules), tuple(filter(None, [word]))


def _plain(kept: str) -> Any:
    """What was kept as plain objects, None where it cannot be read, which the lesson says."""
    try:
        return json.loads(kept)
    except (ValueError, RecursionError):
        return None


def is_finished(lesson: Lesson) -> bool:
    """Whether every step is learned or passed by."""
    return all(line.record.state in KNOWN for line in lesson.overview())


def overview_of(pattern: Pattern, rules: Rules, store: Path, *, player: str) -> list[PlanLine]:
    """The plan as it stands, for a page or a list."""
    return _plan_lines(begun(pattern, rules, store, player=player)[0])


class LessonSession:
    """One sitting with a lesson; the store in ``lesson_folder`` keeps it, ``takes_folder`` what
    was played.

    ``clicking`` says where it clicks.
    """

    def __init__(
        self,
        pattern: Pattern,
        rules: Rules,
        context: RunContext,
        *,
        connect: Connect,
        lesson_folder: Path,
        takes_folder: Path,
        clicking: Clicking = PLAIN,
        simulated: Simulated | None = None,
    ) -> None:
        """``simulated`` says who plays the first run, None for people; UserError for a pattern
        that is too large to be practised."""
        check_practised(pattern)
        self._pattern, self._rules, self._context = pattern, rules, context
        self._connect, self._clicking = connect, clicking
        self._simulated = simulated
        self._store = Memory(folder=lesson_folder, simulated=simulated is not None).path
        self._player = simulated.skill if simulated else context.profile.player or NOBODY
        self.lesson, self._told = begun(pattern, rules, self._store, player=self._player)
        named = f"{pattern.name}-practice-{datetime.now():%Y-%m-%d-%H%M%S}"
        self._takes = takes_folder / short_name(named)
        self._trouble: list[str] = []
        self._broken_off: Path | None = None
        self._was_moved = False
        #: Those of the first repetition that had any: what is wrong is wrong in the next as well.
        self._mishaps: Mapping[str, Exception] = {}
        self._number = 0
        self._port: Port | None = None
        #: What was played last, to be heard.
        self._last: Playback | None = None
        self._texture: Texture | None = None
        self._speaker = Speaker()
        self._begin_s: float | None = None
        self._before: HeldPage | None = None
        self._goes_on: Pattern | None = None

    def go(self) -> LessonSummary:
        """Practise until the lesson is over, or the player leaves.

        A simulated player leaves after ``SITTING_S``, as a person would.
        """
        clock = self._context.clock
        leaves_s = inf if self._simulated is None else clock.now() + SITTING_S
        is_interrupted = False
        try:
            outcome = self._plan(PLAN_S)
            while outcome is not Outcome.LEAVE and clock.now() < leaves_s:
                exercise = self.lesson.exercise
                outcome = self._finished() if exercise is None else self._exercise(exercise)
        except KeyboardInterrupt:  # between runs: what was learned is kept already
            is_interrupted = self._context.window.is_closed = True
        finally:
            self._speaker.close()
        lines = self.lesson.overview()
        now = next((line.step for line in lines if line.now), None)
        return LessonSummary(
            learned=sum(line.record.state in KNOWN for line in lines),
            steps=len(lines),
            repetitions=self._number,
            next=intro(now) if now else "",
            trouble=tuple(self._trouble),
            broken_off=self._broken_off,
            is_interrupted=is_interrupted,
            goes_on=self._goes_on,
        )

    def _finished(self) -> Outcome | None:
        """All is done for today: what can be played next. LEAVE ends the sitting."""
        if self._simulated is not None:
            return Outcome.LEAVE
        context = self._context
        found = offers(self.lesson.overview(), self._following(), own=self._pattern)
        page = AfterwardsPage(
            context.theme,
            self._pattern.title,
            self.lesson.ending,
            offers=[text(offer.about) for offer in found],
            pads=self._more_pads,
            call=self._call,
        )
        until_s = context.clock.now() + TEXTURE_S if context.window.offscreen else None
        outcome = hold(context, page, 0.0, until_s=until_s)
        if outcome is Outcome.PLAN:
            return self._plan(None)
        if outcome is not Outcome.AGAIN:
            return Outcome.LEAVE
        chosen = found[page.chosen]
        if chosen.pattern is not None:
            self._goes_on = chosen.pattern
            return Outcome.LEAVE
        if chosen.step is not None:
            self.lesson.once_more(chosen.step)
        return None

    @property
    def _others(self) -> list[Pattern]:
        shipped = library()
        return [shipped.get(name) for name in shipped.names() if name != self._pattern.name]

    def _following(self) -> list[Pattern]:
        """What comes next, and another way on that leaves it: of each, the first whose lesson is
        not finished.
        """
        others = self._others
        found = list(islice(filter(self._is_open, after(self._pattern, others)), 1))
        for way in ways(self._pattern, others):
            if not any(way.thing in one.trains for one in found):
                found += islice(filter(self._is_open, way.after), 1)
        return found[:_FOLLOWING]

    def _is_open(self, pattern: Pattern) -> bool:
        return not is_finished(begun(pattern, self._rules, self._store, player=self._player)[0])

    def _exercise(self, exercise: Exercise) -> Outcome | None:
        """Play one repetition, and take it to the lesson; LEAVE ends the sitting."""
        task = self._task(exercise)
        if exercise.listen:
            self._begin_s = self._before = None
            heard = self._hear(task)
            if heard is not None or self.lesson.exercise != exercise:
                return heard
        ended = self._played(exercise, task)
        saved = self._keep(lambda: self._write_take(ended.recording))
        if ended.is_interrupted:
            self._broken_off = saved
        if ended.mishaps and not self._mishaps:
            self._trouble += mishap_lines(ended.mishaps)
            self._mishaps = ended.mishaps
        graded = None
        if ended.lost_port is None and ended.outcome is None:
            graded = grade_take(self._pattern, ended.recording.take(), Options())
        memory = self._context.memory
        if memory is not None and ended.log is not None:
            memory.keep(ended.log, ended.recording, graded, file=saved)
            self._trouble += [words for words in memory.told if words not in self._trouble]
        if ended.lost_port is not None:
            return self._wait_for_kit(ended)
        if graded is None:
            return self._wish(ended.outcome or Outcome.LEAVE, ended)
        self._last = self._playback(graded)
        ended.page.sheet.marked = _spoken_of(graded)
        answer = self.lesson.played(self._result(graded))
        self._keep_lesson()
        if answer.nothing:
            return self._look_at_kit(ended, answer)
        if answer.leave and self._simulated is not None:
            answer = self.lesson.later()
        return self._say(exercise, task, ended, answer=answer)

    def _task(self, exercise: Exercise) -> Task:
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
            simulated=simulated and simulated.next(self._number),
            kind="lesson",
        )
        return replace(task, rest=ceil(REST_S / _bar_s(task))) if rests else task

    def _wait_for_kit(self, ended: RunResult) -> Outcome | None:
        """The kit is gone: wait, and play the same exercise again when it is back."""
        context, page = self._context, ended.page
        context.output.clear()
        self._begin_s = self._before = None
        page.paused = GONE
        if self._port is not None:
            hits = HitInput(self._port, context.stamps, context.profile.pads)
            until_s = context.clock.now() + context.patience_s
            away = _Away(View(page, _still_s(ended)), hits, until_s)
            if show(context, away, hits) is not Outcome.LEAVE and hits.is_there:
                return None
        self._trouble.append(
            f'The MIDI port "{ended.lost_port}" went away: check its cable. The lesson is kept.'
        )
        return Outcome.LEAVE

    def _played(self, exercise: Exercise, task: Task) -> RunResult:
        targets, number = task.targets(), self._number
        if exercise.is_free and self._simulated is not None:
            targets = self._mixed_freely(task)

        def connect(start_s: float) -> Port:
            self._port = self._connect(targets, number, start_s)
            return self._port

        run = Run(task, self._context, connect, begin_s=self._begin_s, before=self._before)
        self._number += 1
        page, calls = run.page, exercise.calls
        page.buttons = Buttons(LESSON)
        page.clean = (exercise.right, exercise.clean) if exercise.clean > 1 else None

        def each_bar(bar: int) -> None:
            page.called = _call(calls[bar + 1]) if bar + 1 < len(calls) else ""
            if page.called:
                self._speaker.say(page.called)

        each_bar(-1)
        return run.play(each_bar)

    def _mixed_freely(self, task: Task) -> Targets:
        """What a simulated player plays where everybody plays what they like."""
        choice = [(), *((name,) for name in self._pattern.variations)]
        rounds = freely(choice, -(-task.bars // len(self._pattern.bars)), self._number)
        return replace(task, pattern=mixed(self._pattern, rounds)).targets()

    def _hear(self, task: Task) -> Outcome | None:
        """The program plays it once; nothing is judged."""
        alone = replace(task, company=task.pattern, rest=0, judged=False)
        run = Run(alone, self._context, lambda start_s: SilentPort())
        run.page.buttons = Buttons(LESSON)
        run.notice("listen")
        ended = run.play()
        self._context.output.clear()
        if ended.outcome in (None, Outcome.HEAR):
            return None
        return self._wish(ended.outcome, ended)

    def _playback(self, graded: Graded) -> Playback:
        run = graded.run
        return Playback(
            hits=[run.hits[number] for number in range(len(run.hits))], targets=run.targets
        )

    def _result(self, graded: Graded) -> Repetition:
        run, mixed, told = graded.run, graded.mixed, graded.grade
        # That nothing stands out is no advice for who has to play it again.
        is_advice = told.findings[0].code is not FindingCode.CLEAN
        advice = told.advice if is_advice else ""
        seconds = run.targets.end_s - run.targets.start_s
        if mixed is None:
            pattern = graded.asked.pattern
            return repetition(run, pattern, told.tempo_bpm, seconds=seconds, advice=advice)
        self._texture = mixed.texture
        return mixed.repetition(run, told.tempo_bpm, seconds, advice=advice)

    def _look_at_kit(self, ended: RunResult, answer: Answer) -> Outcome | None:
        """No stroke arrived: wait for one, and play the same exercise again then."""
        context, page = self._context, ended.page
        context.output.clear()
        self._begin_s = self._before = None
        if self._port is None or self._simulated is not None:
            return None
        page.said = ()
        page.paused = (answer.words, f'Listening on "{self._port.name}".', answer.next)
        page.buttons = Buttons([SHOW_PLAN, LEAVE], self._more_pads, self._call)
        commands = context.pad_commands
        hits = HitInput(self._port, context.stamps, context.profile.pads)
        if commands is not None:
            commands.begin()
            hits = commands.input
        hits.discard()
        silent = _Silent(held=View(page, _still_s(ended)), page=page)
        outcome = show(context, silent, hits, pad_commands=commands)
        page.paused = ()
        return None if outcome is None else self._wish(outcome, ended)

    def _say(
        self, exercise: Exercise, task: Task, ended: RunResult, *, answer: Answer
    ) -> Outcome | None:
        """Let the sheet stand still with the lesson's words, and set the next run's beginning."""
        page, still_s = ended.page, _still_s(ended)
        page.said = tuple(filter(None, (answer.words, answer.next, answer.rest)))
        page.clean = self._so_far(exercise, answer)
        beat_s = Tempo(task.tempo_bpm, task.pattern.meter.unit).seconds(task.pattern.meter.unit)
        rest_s = task.rest * _bar_s(task)
        seen_s = min(SEEN_BEATS * beat_s, rest_s / 2.0)
        in_time = self._context.clock.now() < ended.next_s - seen_s
        if task.rest and in_time and not answer.changed and not answer.rest:
            self._begin_s = ended.next_s
            self._before = HeldPage(page, still_s, -seen_s)
            return None
        self._begin_s = self._before = None
        until_s = max(ended.next_s if task.rest else 0.0, self._context.clock.now() + READ_S)
        if answer.leave:
            until_s += READ_S  # there is something to decide
        page.buttons = self._buttons(leave=answer.leave)
        outcome = self._stand_still(page, still_s, until_s)
        if outcome is None and self._texture is not None:
            outcome = self._show_texture(self._texture)
        self._context.output.clear()
        return None if outcome is None else self._wish(outcome, ended)

    def _stand_still(self, page: RunPage, still_s: float, until_s: float) -> Outcome | None:
        """The page until its time is over or something is asked for; None goes on.

        What was played, and what was written, can be heard as often as wanted; then nobody is
        hurried on.
        """
        outcome = hold(self._context, page, still_s, until_s=until_s)
        while outcome in (Outcome.LISTEN, Outcome.HEAR) and self._last is not None:
            which = Which.YOURS if outcome is Outcome.LISTEN else Which.PATTERN
            listen_back(self._context, page, self._last, which=which)
            outcome = hold(self._context, page, still_s)
        return None if outcome is Outcome.AGAIN else outcome

    def _so_far(self, exercise: Exercise, answer: Answer) -> tuple[int, int] | None:
        """Right repetitions of those that are judged together."""
        if exercise.clean < 2:
            return None
        now = self.lesson.exercise
        if now is not None and not answer.changed:
            return now.right, now.clean
        return exercise.clean if answer.right else exercise.right, exercise.clean

    def _show_texture(self, told: Texture) -> Outcome | None:
        """After free mixing: which variation was played in which bar."""
        self._texture = None
        rows = [*told.used.items(), ("as written", told.plain)]
        bars = 1 + max((bar for _, played in rows for bar in played), default=0)
        page = TexturePage(
            self._context.theme,
            self._pattern.title,
            rows,
            bars=bars,
            words=texture_lines(told),
            next=texture_next(told),
            pads=self._pads,
            call=self._call,
        )
        outcome = hold(self._context, page, 0.0, until_s=self._context.clock.now() + TEXTURE_S)
        return None if outcome is Outcome.AGAIN else outcome

    def _wish(self, outcome: Outcome, ended: RunResult) -> Outcome | None:
        """What the player asked for."""
        self._context.output.clear()
        self._begin_s = self._before = None
        if outcome is Outcome.PLAN:
            return self._plan(None)
        exercise = self.lesson.exercise
        if outcome is Outcome.HEAR and exercise is not None:
            return self._hear(self._task(exercise))
        wishes = {
            Outcome.SKIP: self.lesson.skip,
            Outcome.BACK: self.lesson.back,
            Outcome.EASIER: self.lesson.easier,
            Outcome.LATER: self.lesson.later,
        }
        wish = wishes.get(outcome)
        if wish is None:
            return outcome
        answer = wish()
        self._keep_lesson()
        ended.page.said = tuple(filter(None, (answer.words, answer.next)))
        until_s = self._context.clock.now() + READ_S
        outcome_after = hold(self._context, ended.page, _still_s(ended), until_s=until_s)
        return None if outcome_after is None else self._wish(outcome_after, ended)

    def _plan(self, stay_s: float | None) -> Outcome | None:
        """The plan, for so long unless it is worked; a step that is chosen comes next."""
        page = PlanPage(
            self._context.theme,
            self._pattern.title,
            _plan_lines(self.lesson),
            notes=self._told,
            pads=self._pads,
            call=self._call,
        )
        if self._context.window.offscreen and stay_s is None:
            return None
        until_s = None if stay_s is None else self._context.clock.now() + stay_s
        outcome = hold(self._context, page, 0.0, until_s=until_s)
        if outcome is Outcome.AGAIN and page.chosen != page.now:
            self.lesson.choose(page.chosen)
            self._keep_lesson()
        return Outcome.LEAVE if outcome is Outcome.LEAVE else None

    def _buttons(self, *, leave: bool = False) -> Buttons:
        """What can be asked for while nothing is played; ``leave``: the step may be left."""
        offered = [LATER if leave and button is SKIP else button for button in AT_REST]
        pads = self._more_pads
        pads.pop(Outcome.HEAR, None)  # its pad asks for yours, and the pattern is chosen there
        return Buttons(offered, pads, self._call)

    @property
    def _pads(self) -> Mapping[Outcome, str]:
        return self._context.pad_commands.pads if self._context.pad_commands else {}

    @property
    def _more_pads(self) -> dict[Outcome, str]:
        """The pads, with what they mean besides where nothing else of theirs is offered."""
        return {**also(self._pads), **self._pads}

    @property
    def _call(self) -> str:
        return self._context.pad_commands.call if self._context.pad_commands else ""

    def _keep_lesson(self) -> None:
        progress = json.dumps(self.lesson.as_plain())
        self._keep(
            lambda: lessons.write(self._store, self._player, self._pattern, progress=progress)
        )

    def _write_take(self, recording: Recording) -> Path:
        """Write the take of a repetition, elsewhere if it must be; its path."""
        number = f"{self._number:03}"
        elsewhere = f"{self._takes.name}-{number}"
        path, moved = write_take(recording, self._takes, number, elsewhere=elsewhere)
        if moved and not self._was_moved:
            self._trouble.append(moved)
            self._was_moved = True
        return path

    def _keep(self, write: Callable[[], T]) -> T | None:
        """Write something; what goes wrong is told once, at the end."""
        try:
            return write()
        except (TakeError, lessons.LessonError) as error:
            if str(error) not in self._trouble:
                self._trouble.append(str(error))
            return None


@dataclass
class _Away(Scene):
    """The page of a run that has lost its kit, until the kit is back or nobody waits any more.

    Nothing but LEAVE can be asked for.
    """

    held: View
    input: HitInput
    until_s: float

    def view(self, now_s: float) -> View | None:
        """The page, while the kit is away."""
        return None if self.input.is_there or now_s >= self.until_s else self.held

    def press(self, page: Page, press: Press) -> Outcome | None:
        """LEAVE only."""
        return Outcome.LEAVE if page.handle(press) is Outcome.LEAVE else None


@dataclass(kw_only=True)
class _Silent(Scene):
    """The page of a run in which no stroke arrived, until one does that asks for nothing.

    The plan and LEAVE can be asked for. What arrives and is no stroke is told.
    """

    held: View
    page: RunPage
    strokes: int = 0
    last_s: float = 0.0

    def view(self, now_s: float) -> View | None:
        """The page, until a stroke has arrived that is no part of what pads ask for."""
        is_over = self.strokes > CALL_STROKES or (
            self.strokes > 0 and now_s - self.last_s > CALL_OVER_S
        )
        return None if is_over else self.held

    def received(self, message: Heard) -> None:
        """A stroke, or something else."""
        if message.hit is not None:
            self.strokes += 1
            self.last_s = max(self.last_s, message.hit.time_s)
        elif message.dropped:
            self.page.paused = (*self.page.paused[:2], text(said(Code.NO_KNOWN_PAD)))


def _bar_s(task: Task) -> float:
    """How long the last bar that is played lasts."""
    tempo = Tempo(task.tempo_bpm, task.pattern.meter.unit)
    last = task.pattern.bars[(task.bars - 1) % len(task.pattern.bars)]
    return tempo.seconds(last.meter.length)


def _plan_lines(lesson: Lesson) -> list[PlanLine]:
    return [
        PlanLine(
            words=capital(subject(line.step)),
            done=line.record.state in KNOWN,
            left_out=line.record.state is State.SKIPPED,
            now=line.now,
            took=_took(line.record.repetitions, line.record.seconds),
            sure=_sure(line.record),
            stands=STANDS[line.record.state],
        )
        for line in lesson.overview()
    ]


def _sure(record: Record) -> str:
    """How many of the last repetitions were right."""
    if not record.lately:
        return ""
    return f"{record.lately.count('1')} of {len(record.lately)}"


def _spoken_of(graded: Graded) -> tuple[float, str] | None:
    """The last stroke of the place that the advice speaks of: its time in the run, its voice."""
    found = graded.grade.findings[0] if graded.grade.findings else None
    if found is None or not found.places:
        return None
    targets = graded.run.targets
    spots = {(spot.bar, spot.count) for spot in found.places}
    bars = graded.asked.pattern.bars
    for number in reversed(range(len(targets))):
        place = targets.places[targets.place[number]]
        count = bars[place.bar].meter.count(place.stroke.at)
        is_meant = found.voice in (None, place.stroke.voice)
        if is_meant and (place.bar + 1, count) in spots:
            return float(targets.time_s[number]), place.stroke.voice
    return None


def _still_s(ended: RunResult) -> float:
    """Where the sheet stands still, in seconds of the run: the last strokes just gone by."""
    if ended.page.sheet.marked is not None:  # what is spoken of, just gone by
        return min(ended.targets.end_s, ended.page.sheet.marked[0] + STILL_S)
    times = ended.targets.time_s
    last_s = float(times[-1]) if len(times) else 0.0
    return min(ended.targets.end_s, last_s + STILL_S)


def _call(name: str) -> str:
    return name or "as written"


def _took(repetitions: int, seconds: float) -> str:
    if not repetitions:
        return ""
    times = "once" if repetitions == 1 else f"{repetitions} times"
    return f"{times}, {seconds / 60:.0f} min" if seconds >= 60 else f"{times}, {seconds:.0f} s"
