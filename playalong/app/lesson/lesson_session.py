"""Practice: the lesson played in the window, hands on the sticks.

The lesson (``playalong.practice``) says what to play and what it thinks of it; here each exercise
becomes a run. In the bar of rest after an exercise the sheet stands still and says what to
change; when the same comes again, that bar is its count-in, and the click never stops.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from pathlib import Path

from playalong.app.grade.checks import check_practised
from playalong.app.grade.take_grading import Graded, Options, grade_take
from playalong.app.lesson.choosing import afterwards, on_the_plan
from playalong.app.lesson.kit_silent import until_a_stroke, until_it_is_back, until_ready
from playalong.app.lesson.lesson_keeper import LessonKeeper, begun
from playalong.app.lesson.offered import AT_REST, BROKEN_OFF, TAKES_LONG
from playalong.app.lesson.repetitions import Connect, Repetitions
from playalong.app.lesson.rest import READ_S, reading_s, show_texture, stand_still
from playalong.app.lesson.still_sheet import StillSheet
from playalong.app.memory import Memory
from playalong.app.mistakes import mishap_lines
from playalong.app.run.context import RunContext
from playalong.app.run.run import RunResult
from playalong.app.run.task import Task
from playalong.app.stored_runs import NOBODY
from playalong.grading.grade import Code as FindingCode
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.practice.feedback import KNOWN, Answer, Exercise
from playalong.practice.phrases import intro
from playalong.practice.repetition import Repetition, repetition
from playalong.practice.variations.texture import Texture
from playalong.records.take_info import Simulated
from playalong.screen.base.page import Outcome
from playalong.sound.synth.click import PLAIN, Clicking

#: How long a simulated player practises at a sitting (common practice: half an hour is enough).
SITTING_S = 30 * 60.0

#: How long the plan is shown at the beginning, unless a key goes on before.
PLAN_S = 8.0


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
        self._simulated = simulated
        store = Memory(folder=lesson_folder, simulated=simulated is not None).path
        player = simulated.skill if simulated else context.profile.player or NOBODY
        self.lesson, self._notices = begun(pattern, rules, store, player=player)
        self._keeper = LessonKeeper(pattern, store, takes_folder, player=player)
        self._runs = Repetitions(pattern, context, connect, clicking=clicking, simulated=simulated)
        self._texture: Texture | None = None
        self._had_mishaps = False
        self._broken_off: Path | None = None
        self._goes_on: Pattern | None = None

    def go(self) -> LessonSummary:
        """Practise until the lesson is over, or the player leaves.

        A simulated player leaves after ``SITTING_S``, as a person would.
        """
        clock = self._context.clock
        leaves_s = inf if self._simulated is None else clock.now() + SITTING_S
        is_interrupted = False
        try:
            outcome = on_the_plan(self._context, self.lesson, notices=self._notices, stay_s=PLAN_S)
            while outcome is not Outcome.LEAVE and clock.now() < leaves_s:
                exercise = self.lesson.exercise
                outcome = self._finished() if exercise is None else self._exercise(exercise)
        except KeyboardInterrupt:  # between runs: what was learned is kept already
            is_interrupted = self._context.window.is_closed = True
        finally:
            self._runs.close()
        lines = self.lesson.overview()
        now = next((line.step for line in lines if line.now), None)
        return LessonSummary(
            learned=sum(line.record.state in KNOWN for line in lines),
            steps=len(lines),
            repetitions=self._runs.count,
            next=intro(now) if now else "",
            trouble=tuple(self._keeper.trouble),
            broken_off=self._broken_off,
            is_interrupted=is_interrupted,
            goes_on=self._goes_on,
        )

    def _finished(self) -> Outcome | None:
        """All is done for today: what can be played next. LEAVE ends the sitting."""
        if self._simulated is not None:
            return Outcome.LEAVE
        chosen = afterwards(self._context, self.lesson, self._rules, keeper=self._keeper)
        self._goes_on = chosen.pattern
        if chosen.outcome is Outcome.PLAN:
            return self._plan()
        return Outcome.LEAVE if chosen.pattern is not None else chosen.outcome

    def _exercise(self, exercise: Exercise) -> Outcome | None:
        """Play one repetition, and take it to the lesson; LEAVE ends the sitting."""
        runs = self._runs
        task = runs.task(exercise)
        if exercise.listen:
            outcome = self._hear(task)
            if outcome is not None or self.lesson.exercise != exercise:
                return outcome
        ended = runs.play(exercise, task)
        graded = self._keep(ended)
        if ended.lost_port is not None:
            return self._wait_for_kit(ended, ended.lost_port)
        if graded is None:
            return self._wish(ended.outcome or Outcome.LEAVE, StillSheet.of(ended))
        sheet = StillSheet.of(ended, graded)
        answer = self.lesson.played(self._result(graded))
        self._keeper.lesson(self.lesson)
        if answer.nothing:
            if runs.port is None or self._simulated is not None:
                return None
            outcome = until_a_stroke(self._context, sheet, runs.port, answer=answer)
            return None if outcome is None else self._wish(outcome, sheet)
        if answer.leave and self._simulated is not None:
            answer = self.lesson.later()
        sheet.page.said = tuple(filter(None, (answer.words, answer.next, answer.rest)))
        sheet.page.clean = self._so_far(exercise, answer)
        is_same = not answer.changed and not answer.rest
        if is_same and runs.go_on_clicking(task, ended, page=sheet.page, at_s=sheet.at_s):
            return None
        return self._rest(sheet, answer, least_s=ended.next_s if task.rest else 0.0)

    def _keep(self, ended: RunResult) -> Graded | None:
        """Keep what was played, whole or broken off; its grade where it is whole."""
        keeper, memory = self._keeper, self._context.memory
        saved = keeper.take(ended.recording, self._runs.count)
        if ended.is_interrupted:
            self._broken_off = saved
        if ended.mishaps and not self._had_mishaps:  # what is wrong is wrong in the next as well
            keeper.trouble += mishap_lines(ended.mishaps)
            self._had_mishaps = True
        graded = None
        if ended.lost_port is None and ended.outcome is None:
            graded = grade_take(self._pattern, ended.recording.take(), Options())
        if memory is not None and ended.log is not None:
            memory.keep(ended.log, ended.recording, graded, file=saved)
            for words in memory.trouble:
                keeper.tell(words)
        return graded

    def _result(self, graded: Graded) -> Repetition:
        run, mixed, grade = graded.run, graded.mixed, graded.grade
        # That nothing stands out is no advice for who has to play it again.
        is_advice = grade.findings[0].code is not FindingCode.CLEAN
        advice = grade.advice if is_advice else ""
        seconds = run.targets.end_s - run.targets.start_s
        if mixed is None:
            pattern = graded.expected.pattern
            return repetition(run, pattern, grade.tempo_bpm, seconds=seconds, advice=advice)
        self._texture = mixed.texture
        return mixed.repetition(run, grade.tempo_bpm, seconds, advice=advice)

    def _so_far(self, exercise: Exercise, answer: Answer) -> tuple[int, int] | None:
        """Right repetitions of those that are judged together."""
        if exercise.clean < 2:
            return None
        now = self.lesson.exercise
        if now is not None and not answer.changed:
            return now.right, now.clean
        return exercise.clean if answer.right else exercise.right, exercise.clean

    def _rest(self, sheet: StillSheet, answer: Answer, *, least_s: float) -> Outcome | None:
        """Let the sheet stand still with the lesson's words, at least until ``least_s``."""
        context = self._context
        until_s = max(least_s, context.clock.now() + reading_s(sheet.page.said))
        if answer.leave:
            until_s += READ_S  # there is something to decide
        offered = TAKES_LONG if answer.leave else AT_REST
        outcome = stand_still(context, sheet, offered, until_s=until_s)
        texture, self._texture = self._texture, None
        if outcome is None and texture is not None:
            outcome = show_texture(context, self._pattern.title, texture)
        return None if outcome is None else self._wish(outcome, sheet)

    def _wait_for_kit(self, ended: RunResult, port: str) -> Outcome | None:
        """The kit is gone: wait, and play the same exercise again when it is back and struck."""
        self._context.output.clear()
        kit = self._runs.port
        if kit is not None:
            sheet = StillSheet.of(ended)
            if until_it_is_back(self._context, sheet, kit):
                outcome = None
                if self._simulated is None:
                    outcome = until_ready(self._context, sheet, kit)
                return None if outcome is None else self._wish(outcome, sheet)
        self._keeper.tell(f'The MIDI port "{port}" went away: check its cable. The lesson is kept.')
        return Outcome.LEAVE

    def _hear(self, task: Task) -> Outcome | None:
        """The program plays it; None lets it be played then."""
        ended = self._runs.hear(task)
        if ended.outcome in (None, Outcome.AGAIN, Outcome.HEAR):
            return None
        return self._wish(ended.outcome, StillSheet.of(ended))

    def _plan(self) -> Outcome | None:
        outcome = on_the_plan(self._context, self.lesson)
        self._keeper.lesson(self.lesson)
        return outcome

    def _wish(self, outcome: Outcome, sheet: StillSheet) -> Outcome | None:
        """What the player asked for."""
        context, lesson = self._context, self.lesson
        context.output.clear()
        exercise = lesson.exercise
        if outcome is Outcome.PLAN:
            return self._plan()
        if outcome is Outcome.HEAR and exercise is not None:
            return self._hear(self._runs.task(exercise))
        wishes: dict[Outcome, Callable[[], Answer]] = {
            Outcome.SKIP: lesson.skip,
            Outcome.BACK: lesson.back,
            Outcome.EASIER: lesson.easier,
            Outcome.LATER: lesson.later,
        }
        wish = wishes.get(outcome)
        if wish is None:
            return outcome
        answer = wish()
        self._keeper.lesson(lesson)
        page = sheet.page
        page.said = tuple(filter(None, (answer.words, answer.next)))
        until_s = context.clock.now() + reading_s(page.said)
        outcome_after = stand_still(context, sheet, BROKEN_OFF, until_s=until_s)
        return None if outcome_after is None else self._wish(outcome_after, sheet)
