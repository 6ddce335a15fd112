"""The lesson: a machine that is fed repetitions and says what to play next.

It knows no clock and no device. ``exercise`` is what to play now; ``played`` takes what came of it
and answers. Its rules:

* A step is learned by its clean repetitions in a row; a step with a goal tempo climbs to it, in
  larger steps the fewer tries the last took, and at the goal counts only what is steady too.
* After ``PATIENCE`` repetitions of one exercise that do not count, it is made easier in the next
  of the ways that stand in ``plan.MANNERS``, on top of what is easier already. What then holds is
  built back up in reverse. When the ways are used up the step is taken afresh.
* The lesson stands at the first step that is neither learned nor skipped, so nothing is left out
  unless the player asks.
* Another day begins with a short repeat of what took help.
"""

from dataclasses import replace
from typing import Any

from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.practice import progress_file as keeping
from playalong.practice.calling import called
from playalong.practice.easing import EASIER_CLEAN, Setting, ease
from playalong.practice.feedback import Answer, Exercise, Line, Record, State
from playalong.practice.phrases import Code, Said, said, text
from playalong.practice.plan import Kind, Step, loosened, plan
from playalong.practice.repetition import Fault, Repetition

#: After so many repetitions of one exercise that do not count, something changes.
PATIENCE = 4

#: How much faster it gets, as a share of the tempo, by the tries that the last tempo took at most.
CLIMB: tuple[tuple[float, float], ...] = ((1, 0.08), (3, 0.04), (float("inf"), 0.02))

#: The kinds of step that should be heard before they are played.
HEARD = (Kind.LEARN, Kind.ALONE)

#: How many steps that took help are repeated at most when the lesson goes on another day.
REPEATS = 3

#: More steps than this that were left out are told by their number only.
NAMED = 4

#: After so many seconds of playing a break is proposed.
BREAK_S = 20 * 60.0


class Lesson:
    """A lesson on ``pattern`` by the player's own ``rules``."""

    def __init__(
        self, pattern: Pattern, rules: Rules | None = None, break_after_s: float = BREAK_S
    ) -> None:
        self.pattern = pattern
        self.steps = plan(pattern)
        #: What should be told when the lesson begins, one sentence each.
        self.told: tuple[str, ...] = ()
        self._rules = _asked(pattern, rules or Rules())
        self._break_after_s = break_after_s
        self._since_break_s = 0.0
        self._records = [Record() for _ in self.steps]
        self._repeats: tuple[int, ...] = ()
        self._begin()

    @property
    def step(self) -> Step | None:
        """The step that is played now, None when all is done."""
        return None if self._at is None else self.steps[self._at]

    @property
    def exercise(self) -> Exercise | None:
        """What to play now, None when all is done."""
        step = self.step
        if step is None:
            return None
        setting = self._setting
        part = setting.excerpt.of(self.pattern)
        calls: tuple[str, ...] = ()
        if step.kind is Kind.CALLED and len(setting.rounds) > 1:
            bars_each = len(part.bars) // len(setting.rounds)
            calls = tuple(" ".join(names) for names in setting.rounds for _ in range(bars_each))
        return Exercise(
            step,
            setting.excerpt,
            part,
            len(part.bars) * setting.times,
            setting.tempo_bpm,
            loosened(self._rules, step.manner),
            setting.accompaniment(self.pattern),
            calls,
            setting.clean,
            self._in_a_row,
            self._listen,
            setting.why or said(Code.INTRO, step=step),
        )

    def overview(self) -> tuple[Line, ...]:
        """The plan as a whole."""
        now = self._at
        return tuple(
            Line(step, record, number == now)
            for number, (step, record) in enumerate(zip(self.steps, self._records, strict=True))
        )

    def played(self, result: Repetition) -> Answer:
        """One repetition of the exercise was played."""
        at, step = self._at, self.step
        if at is None or step is None:
            return self._ended()
        self._note(at, result)
        told = result.together if step.kind is Kind.GHOST else ()
        if result.clean and (result.steady or not self._must_hold(step)):
            answer = self._right(at, step)
            comment = (*answer.comment, *told)
        else:
            answer = self._wrong(result.worst)
            advice = [said(Code.ADVICE, text=result.advice)] if result.advice else []
            comment = (said(Code.UNSTEADY),) if result.clean else (*told, *advice)
        self._refresh()
        return replace(answer, comment=comment, proposal=self._break())

    def skip(self) -> Answer:
        """The player leaves the step out."""
        at = self._at
        if at is None:
            return self._ended()
        if not self._repeats:
            self._change(at, state=State.SKIPPED)
        return self._go_on(said(Code.SKIPPED))

    def back(self) -> Answer:
        """The player goes back to the step before."""
        here = len(self.steps) if self._open is None else self._open
        if not here:
            return Answer(True, (), (said(Code.FIRST),), changed=False)
        self._repeats = ()
        self._change(here - 1, state=State.OPEN, tempo_bpm=None)
        return self._start()

    def easier(self) -> Answer:
        """The player wants it easier."""
        if self._at is None:
            return self._ended()
        setting = self._find_easier(self._worst, self._next_easing) or self._find_easier(
            self._worst, 0
        )
        if setting is None:
            return Answer(True, (), (said(Code.EASIEST),), changed=False)
        self._ease(setting)
        return Answer(True, (), _given(setting.why), changed=True)

    def as_plain(self) -> dict[str, Any]:
        """What is kept of the lesson, as plain objects for a file."""
        return keeping.as_plain(self.pattern.name, self.steps, self._records)

    @classmethod
    def from_plain(
        cls,
        pattern: Pattern,
        plain: Any,
        rules: Rules | None = None,
        break_after_s: float = BREAK_S,
    ) -> "Lesson":
        """The lesson that ``as_plain`` kept, gone on with another day.

        What no longer fits the pattern is dropped and told in ``told``.
        """
        lesson = cls(pattern, rules, break_after_s)
        lesson._resume(plain)
        return lesson

    def _resume(self, plain: Any) -> None:
        self._records, told = keeping.from_plain(plain, self.steps)
        shaky = [
            number
            for number, record in enumerate(self._records)
            if record.state is State.LEARNED and record.helped
        ]
        self._repeats = tuple(shaky[-REPEATS:])
        count = len(self._repeats)
        again = said(Code.ONE_REPEAT) if count == 1 else said(Code.REPEATS, count=count)
        self.told = tuple(map(text, (*told, again) if count else told))
        self._begin()

    # Where the lesson stands.

    @property
    def _at(self) -> int | None:
        return self._repeats[0] if self._repeats else self._open

    @property
    def _open(self) -> int | None:
        states = (record.state for record in self._records)
        return next((number for number, state in enumerate(states) if state is State.OPEN), None)

    @property
    def _setting(self) -> Setting:
        return self._eased[-1] if self._eased else self._whole

    def _begin(self) -> None:
        """The step, from its beginning or from the tempo where it stopped."""
        self._tries = 0
        self._afresh(listen=bool(self.step and self.step.kind in HEARD))

    def _afresh(self, listen: bool) -> None:
        """Nothing is made easier."""
        self._eased: list[Setting] = []
        self._next_easing = 0
        self._listen = listen
        self._anew()

    def _anew(self) -> None:
        """Another exercise begins."""
        self._in_a_row = self._failures = 0
        self._worst: Fault | None = None
        self._refresh()

    def _refresh(self) -> None:
        """The step as a whole, at its tempo of now; a called order is another each time."""
        at = self._at
        if at is None:
            return
        step, record = self.steps[at], self._records[at]
        if self._repeats:
            tempo_bpm, clean = step.goal_bpm, min(step.clean, EASIER_CLEAN)
        else:
            reached = record.tempo_bpm or step.tempo_bpm
            tempo_bpm, clean = min(step.goal_bpm, max(step.tempo_bpm, reached)), step.clean
        self._whole = Setting.of(step, tempo_bpm, clean)
        if step.kind is Kind.CALLED:
            count = len(step.rounds) * step.times
            order = tuple(called(step.rounds, count, record.repetitions))
            self._whole = replace(self._whole, rounds=order, times=1)

    def _start(self, *comment: Said) -> Answer:
        self._begin()
        step = self.step
        if step is None:
            return self._ended(*comment)
        return Answer(True, comment, (said(Code.INTRO, step=step),), True)

    def _go_on(self, comment: Said) -> Answer:
        self._repeats = self._repeats[1:]
        return self._start(comment)

    def _ended(self, *comment: Said) -> Answer:
        if not self.steps:
            return Answer(True, comment, (said(Code.NOTHING),), changed=False)
        skipped = [line.step for line in self.overview() if line.record.state is State.SKIPPED]
        if not skipped:
            coming = said(Code.FINISHED)
        elif len(skipped) <= NAMED:
            coming = said(Code.STEPS_LEFT_OUT, steps=skipped)
        else:
            coming = said(Code.MANY_LEFT_OUT, count=len(skipped))
        return Answer(True, comment, (coming,), changed=bool(comment))

    def _change(self, at: int, **changes: Any) -> None:
        self._records[at] = replace(self._records[at], **changes)

    # What came of a repetition.

    def _note(self, at: int, result: Repetition) -> None:
        record = self._records[at]
        self._change(
            at,
            repetitions=record.repetitions + 1,
            clean=record.clean + result.clean,
            seconds=record.seconds + result.seconds,
        )
        self._since_break_s += result.seconds
        self._tries += 1
        self._listen = False

    def _break(self) -> Said | None:
        if self._since_break_s < self._break_after_s:
            return None
        minutes, self._since_break_s = self._since_break_s / 60.0, 0.0
        return said(Code.REST, minutes=minutes)

    def _must_hold(self, step: Step) -> bool:
        return step.manner.steady and not self._eased and self._setting.tempo_bpm >= step.goal_bpm

    def _right(self, at: int, step: Step) -> Answer:
        self._in_a_row += 1
        asked = self._setting.clean
        if self._in_a_row < asked:
            so_far = said(Code.IN_A_ROW, done=self._in_a_row, asked=asked)
            return Answer(True, (so_far,), (said(Code.NEXT_ONE),), changed=False)
        if self._eased:
            self._eased.pop()
            self._anew()
            name = self._setting.spoken(self.pattern)
            holds = said(Code.BACK_UP, name=name, tempo_bpm=self._setting.tempo_bpm)
            return Answer(True, (said(Code.CLEAN),), (holds,), True)
        if self._setting.tempo_bpm < step.goal_bpm:
            return self._climb(at, step)
        learned = said(Code.LEARNED, step=step, repeated=bool(self._repeats))
        if self._repeats:
            self._change(at, helped=0)
        else:
            self._change(at, state=State.LEARNED, tempo_bpm=None)
        return self._go_on(learned)

    def _climb(self, at: int, step: Step) -> Answer:
        share = next(share for tries, share in CLIMB if self._tries <= tries)
        tempo_bpm = self._setting.tempo_bpm
        faster = min(step.goal_bpm, max(tempo_bpm + 1.0, float(round(tempo_bpm * (1.0 + share)))))
        is_goal, tries = faster == step.goal_bpm, self._tries
        if tries == 1:
            code = Code.GOAL_AT_ONCE if is_goal else Code.FASTER_AT_ONCE
        else:
            code = Code.GOAL if is_goal else Code.FASTER
        coming = said(code, tempo_bpm=faster, tries=tries)
        self._change(at, tempo_bpm=faster)
        self._begin()
        return Answer(True, (said(Code.CLEAN),), (coming,), changed=True)

    def _wrong(self, worst: Fault | None) -> Answer:
        self._in_a_row = 0
        self._failures += 1
        self._worst = worst or self._worst
        if self._failures < PATIENCE:
            code = Code.AGAIN if self._failures == 1 else Code.FROM_THE_COUNT
            return Answer(False, (), (said(code),), changed=False)
        failures = self._failures
        setting = self._find_easier(self._worst, self._next_easing)
        if setting is None and not self._eased:
            setting = self._find_easier(self._worst, 0)
        if setting is None:
            self._afresh(listen=True)
            return Answer(False, (), (said(Code.AFRESH),), changed=True)
        self._ease(setting)
        often = (said(Code.NOT_CLEAN, times=failures),) if failures else ()
        return Answer(False, (), (*often, *_given(setting.why)), changed=True)

    def _find_easier(self, worst: Fault | None, first: int) -> Setting | None:
        """The next way that leaves room, from the easing number ``first`` on."""
        step = self.step
        easings = step.manner.easings if step else ()
        for number in range(first, len(easings)):
            setting = ease(easings[number], self._setting, self.pattern, worst)
            if setting is not None:
                self._next_easing = number + 1
                return setting
        return None

    def _ease(self, setting: Setting) -> None:
        self._eased.append(setting)
        at = self._at
        if at is not None:
            self._change(at, helped=self._records[at].helped + 1)
        self._anew()


def _asked(pattern: Pattern, rules: Rules) -> Rules:
    """The player's own rules, with the tolerance that the pattern asks for, if it does."""
    tolerance_ms = pattern.practice.tolerance_ms if pattern.practice else None
    return rules if tolerance_ms is None else replace(rules, tolerance_ms=tolerance_ms)


def _given(why: Said | None) -> tuple[Said, ...]:
    return () if why is None else (why,)
