"""The lesson: a machine that is fed repetitions and says what to play next.

It knows no clock and no device. ``exercise`` is what to play now; ``played`` takes what came of it
and answers. Its rules:

* What can be tried whole is tried first (``plan.trials``): right twice of at most ``TRIAL`` times,
  and the steps before it are passed by. A chunk is passed by being right twice of two, where the
  two are clean together.
* Else a step is learned when its last repetitions are clean together (``repetition.REQUIRED``).
* A step with a goal tempo climbs to it, the better it went the farther; a tempo that does not go
  is left for the last one that did, and then taken half-way.
* What does not go is changed: three of the last ``PATIENCE`` repetitions wrong, or as many played
  as the pattern has patience for. It is then made easier in the next of the ways that stand in
  ``plan.MANNERS``, on top of what is easier already; what then holds is built back up in reverse.
* After some minutes without progress (the pattern's) it proposes to leave the step for today.
  What is left for today takes with it what cannot be played without it, and a climb the tempo of
  all that comes after.
* A repetition without a single hit changes nothing: no stroke arrives, and the kit is looked at.
  Once a stroke arrives again, it was the player who missed it: it counts for the patience then.
* The lesson stands at the first open step from the one that the player chose on, so nothing is left
  out unless the player asks.
* Another day begins with what was shaky, as measured, and with what was left.
"""

from dataclasses import replace
from typing import Any

from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.practice import progress_file as keeping
from playalong.practice.easing import EASIER_CLEAN, SLOWER, Setting, ease, wider
from playalong.practice.excerpts import Excerpt, Names
from playalong.practice.feedback import KNOWN, Answer, Exercise, Line, Record, State
from playalong.practice.pace import Pace
from playalong.practice.phrases import Code, Said, said, text
from playalong.practice.plan import Easing, Kind, Step, Trial, loosened, plan, practice_of, trials
from playalong.practice.repetition import Fault, Lack, Repetition, Tally, lacks, together
from playalong.practice.variations.calling import called

#: Of so many repetitions of one exercise three that are wrong change something; a step is left for
#: today after so many at least.
PATIENCE, MOST = 4, 8

#: After so many repetitions of one exercise something changes: so many more than are judged
#: together, but so many at least and at most. So many are judged together at most.
MORE, LEAST, LONGEST, TOGETHER = 4, 8, 12, 10

#: Repetitions of a trial at most, and how many right ones pass it.
TRIAL, PASSES = 3, 2

#: A step is learned only where at least the share ``SURE`` of its last repetitions, as it is to be
#: learned, was right. Where less than ``LUCK_BELOW`` goes right of all in which nothing is made
#: easier, wholes that were tried among them, a lucky run is likely: of so many the share ``SURER``
#: has to be right then, but for two of two that pass a chunk.
SURE, LUCK_BELOW, SURER, SURER_OF = 2 / 3, 0.73, 0.8, 8

#: So many repetitions as it is to be learned still count after a step was made easier.
BEFORE_EASIER = 2

#: Of so many repetitions that are judged together one may be wrong by itself.
LUCK = 4

#: A variation is taken into the groove at this share of the tempo that the groove has reached.
INTO_GROOVE = 0.8

#: The kinds of step that should be heard before they are played, and that two right ones pass.
CHUNKS = (Kind.LEARN, Kind.JOIN, Kind.ALONE)
HEARD = (Kind.LEARN, Kind.ALONE)

#: More steps than this that were left out are told by their number only.
NAMED = 4

#: After so many seconds of playing a break is proposed.
BREAK_S = 20 * 60.0

#: What a variation's steps are learned for.
_MIXED = (Kind.CALLED, Kind.FREE)
_FOUNDATIONS = (Kind.LEARN, Kind.JOIN, Kind.BAR, Kind.LOOP)


class Lesson:
    """A lesson on ``pattern`` by the player's own ``rules``.

    One that is ``like`` another on the same pattern takes its plan over, which is much faster.
    """

    def __init__(
        self,
        pattern: Pattern,
        rules: Rules | None = None,
        break_after_s: float = BREAK_S,
        *,
        like: "Lesson | None" = None,
    ) -> None:
        self.pattern = pattern
        self.steps: tuple[Step, ...] = plan(pattern) if like is None else like.steps
        #: What should be told when the lesson begins, one sentence each.
        self.notices: tuple[str, ...] = ()
        self._rules = _with_tolerance(pattern, rules or Rules())
        self._break_after_s = break_after_s
        self._since_break_s = 0.0
        self._records = [Record() for _ in self.steps]
        self._repeats: tuple[int, ...] = ()
        self._practice = practice_of(pattern)
        self._trials = trials(self.steps) if self._practice.trial else ()
        self._tried: set[int] = set()
        #: Whether what was tried whole last went right.
        self._whole_goes = True
        self._from = 0
        self._pace = Pace(self._practice.success)
        #: What was cut out of the pattern so far.
        self._parts: dict[Excerpt, Pattern] = {} if like is None else like._parts
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
        part = self._cut(setting.excerpt)
        calls: tuple[str, ...] = ()
        if step.kind is Kind.CALLED and len(setting.rounds) > 1:
            bars_each = len(part.bars) // len(setting.rounds)
            calls = tuple(" ".join(names) for names in setting.rounds for _ in range(bars_each))
        return Exercise(
            step=step,
            excerpt=setting.excerpt,
            pattern=part,
            bars=len(part.bars) * setting.times,
            tempo_bpm=setting.tempo_bpm,
            rules=self._rules_of(step),
            accompaniment=setting.accompaniment(self.pattern),
            calls=calls,
            clean=self._asked,
            right=sum(right for _, right in self._recent[-self._asked :]),
            listen=self._listen,
            about=self._about(step),
        )

    def _cut(self, excerpt: Excerpt) -> Pattern:
        """The excerpt, cut out of the pattern once."""
        if excerpt not in self._parts:
            self._parts[excerpt] = excerpt.of(self.pattern)
        return self._parts[excerpt]

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
        if not result.hits:
            self._silent += 1
            nothing, look = said(Code.NOTHING_ARRIVES), said(Code.LOOK_AT_THE_KIT)
            return Answer(
                right=False, comment=(nothing,), coming=(look,), changed=False, nothing=True
            )
        right = self._is_right(step, result)
        if step.kind is Kind.CALLED:
            self._hear_calls(result, self._rules_of(step))
        lack = self._lack(step, result)
        self._note(at, result, right)
        unisons = result.together if step.kind is Kind.GHOST else ()
        if self._trial is not None:
            answer = self._on_trial(self._trial, step, right)
        elif self._is_clean(step, right):
            answer = self._clean(at, step)
        elif self._must_change(result):
            answer = self._easier_now(step, lack)
        else:
            answer = self._again(right)
        comment = (*answer.comment, *unisons)
        if not right:
            comment = (*self._why(step, result, lack), *unisons, *answer.comment)
        self._refresh()
        proposal, leave = self._leave() if not answer.right else (None, False)
        return replace(answer, comment=comment, proposal=proposal or self._break(), leave=leave)

    def skip(self) -> Answer:
        """The player leaves the step out; a trial, for its chunks."""
        at = self._at
        if at is None:
            return self._ended()
        if self._trial is not None:
            self._tried.add(self._trial.plays)
            return self._start(said(Code.CHUNK_BY_CHUNK))
        if not self._repeats:
            self._change(at, state=State.SKIPPED)
        return self._go_on(said(Code.SKIPPED))

    def later(self) -> Answer:
        """The step is left for today, and what cannot be played without it as well."""
        at = self._at
        if at is None:
            return self._ended()
        if self._trial is not None:
            return self.skip()
        self._change(at, state=State.LATER, tempo_bpm=self._pace.held_bpm)
        for number in self._needing(at):
            self._change(number, state=State.LATER)
        return self._go_on(said(Code.LATER))

    def choose(self, number: int) -> Answer:
        """The player goes to the step of that number in the plan."""
        if not 0 <= number < len(self.steps):
            raise IndexError(number)
        self._repeats = ()
        if self._records[number].state is not State.OPEN:
            self._change(number, state=State.OPEN, tempo_bpm=None)
        self._from = number
        self._tried |= {trial.plays for trial in self._trials if trial.covers[0] == number}
        return self._start()

    def repeat(self, number: int) -> None:
        """The step of that number comes next as it was learned, at its goal."""
        self._repeats = (number,)
        self._begin()

    def once_more(self, number: int) -> None:
        """The step of that number comes next: as it was learned, or where it was left."""
        if self._records[number].state in KNOWN:
            self.repeat(number)
        else:
            self.choose(number)

    @property
    def ending(self) -> str:
        """What is said when all is done for today."""
        return self._ended().next

    def counts(self, result: Repetition) -> bool:
        """Whether a repetition of the exercise would be right; nothing changes."""
        step = self.step
        return step is not None and self._is_right(step, result)

    def back(self) -> Answer:
        """The player goes back to the step before."""
        here = len(self.steps) if self._open is None else self._open
        if not here:
            return Answer(right=True, comment=(), coming=(said(Code.FIRST),), changed=False)
        return self.choose(here - 1)

    def easier(self) -> Answer:
        """The player wants it easier."""
        if self._at is None:
            return self._ended()
        if self._trial is not None:
            return self.skip()
        setting = self._find_easier(self._next_easing) or self._find_easier(0)
        if setting is None:
            return Answer(right=True, comment=(), coming=(said(Code.EASIEST),), changed=False)
        self._ease(setting)
        return Answer(right=True, comment=(), coming=_given(setting.why), changed=True)

    def as_plain(self) -> dict[str, Any]:
        """What is kept of the lesson, as plain objects for a file."""
        return keeping.as_plain(self.pattern.name, self.steps, self._records)

    @classmethod
    def changed(cls, pattern: Pattern, plain: Any, rules: Rules | None = None) -> "Lesson | None":
        """The lesson that was kept of ``pattern`` as it was before its file was changed.

        What is still the same is kept. None where that is less than half: another pattern then.
        """
        lesson = cls.from_plain(pattern, plain, rules)
        same = sum(record != Record() for record in lesson._records)
        if same < keeping.count(plain) / 2 or not same:
            return None
        lesson.notices = (text(said(Code.CHANGED)), *lesson.notices)
        return lesson

    @classmethod
    def from_plain(
        cls,
        pattern: Pattern,
        plain: Any,
        rules: Rules | None = None,
        *,
        break_after_s: float = BREAK_S,
        like: "Lesson | None" = None,
    ) -> "Lesson":
        """The lesson that ``as_plain`` kept, gone on with another day.

        What no longer fits the pattern is dropped, and ``notices`` says so.
        """
        lesson = cls(pattern, rules, break_after_s, like=like)
        lesson._resume(plain)
        return lesson

    def _resume(self, plain: Any) -> None:
        self._records, notices = keeping.from_plain(plain, self.steps)
        for number, record in enumerate(self._records):
            if record.state is State.LATER:
                self._change(number, state=State.OPEN)
        done = any(record.state is not State.OPEN for record in self._records)
        shaky = [
            number
            for number, record in enumerate(self._records)
            if record.state is State.LEARNED and record.is_shaky
        ]
        shaky.sort(key=lambda number: self._records[number].sure)
        self._repeats = tuple(sorted(shaky[: self._practice.repeats]))
        count = len(self._repeats)
        again = said(Code.ONE_REPEAT) if count == 1 else said(Code.REPEATS, count=count)
        self.notices = tuple(map(text, (*notices, again) if count and done else notices))
        self._begin()

    # Where the lesson stands.

    @property
    def _at(self) -> int | None:
        if self._repeats:
            return self._repeats[0]
        return self._open if self._trial is None else self._trial.plays

    @property
    def _open(self) -> int | None:
        opened = [n for n, record in enumerate(self._records) if record.state is State.OPEN]
        return next((n for n in opened if n >= self._from), opened[0] if opened else None)

    @property
    def _setting(self) -> Setting:
        return self._eased[-1] if self._eased else self._whole

    @property
    def _needed(self) -> int:
        """So many repetitions are judged together."""
        return PASSES if self._trial is not None else self._setting.clean

    @property
    def _asked(self) -> int:
        """So many right ones are asked as it stands: fewer where a chunk may pass at once."""
        step = self.step
        at_once = step is not None and len(self._recent) < PASSES and self._is_on_trial(step)
        return min(PASSES, self._needed) if at_once else self._needed

    @property
    def _today_bpm(self) -> float:
        """The tempo that all is taken to today: no faster than the groove itself."""
        left = [
            record.tempo_bpm or step.tempo_bpm
            for step, record in zip(self.steps, self._records, strict=True)
            if step.kind is Kind.CLIMB and record.state is State.LATER
        ]
        return min(left, default=float("inf"))

    def _goal_bpm(self, step: Step) -> float:
        return min(step.goal_bpm, self._today_bpm)

    def _rules_of(self, step: Step) -> Rules:
        return loosened(wider(self._rules, self._setting.wider), step.manner)

    def _about(self, step: Step) -> Said:
        if self._setting.why is not None:
            return self._setting.why
        if self._trial is not None:
            return said(Code.TRY_WHOLE, step=step)
        return said(Code.INTRO, step=step)

    def _begin(self) -> None:
        """The step, from its beginning or from the tempo where it stopped."""
        self._trial: Trial | None = None
        at = self._open
        if not self._repeats and at is not None:
            self._trial = next((t for t in self._trials if self._offers(t, at)), None)
        self._clean_calls: set[Names] = set()
        self._stuck_s, self._stuck, self._best_bpm = 0.0, 0, 0.0
        step = self.step
        reached = None if step is None or self._repeats else self._records[self._at or 0].tempo_bpm
        self._pace.begin(0.0, reached)
        if step is not None:
            self._pace.tempo_bpm = self._first_bpm(step)
        self._next_easing, self._is_slow = 0, False
        self._afresh(listen=step is not None and (self._trial is not None or step.kind in HEARD))

    def _offers(self, trial: Trial, at: int) -> bool:
        states = {self._records[number].state for number in trial.covers}
        if self.steps[trial.plays].variation and not self._whole_goes:
            return False
        return trial.covers[0] == at and trial.plays not in self._tried and states == {State.OPEN}

    def _first_bpm(self, step: Step) -> float:
        """The tempo at which a step begins."""
        at = self._at
        goal = self._goal_bpm(step)
        if self._repeats or at is None:
            return goal
        reached = self._pace.held_bpm
        if reached is not None:
            return self._pace.after(reached, goal)
        if step.kind in _MIXED:
            return goal
        if step.kind is Kind.CLIMB:
            return self._pace.after(step.tempo_bpm, goal)
        if step.variation:
            pace = self._groove_bpm
            share = INTO_GROOVE if self._trial is None else 1.0
            return min(self._today_bpm, max(step.tempo_bpm, float(round(share * pace))))
        return step.tempo_bpm

    @property
    def _groove_bpm(self) -> float:
        """The tempo that the groove has reached."""
        for step, record in zip(self.steps, self._records, strict=True):
            if step.kind is Kind.CLIMB:
                learned = record.state in KNOWN
                return step.goal_bpm if learned else record.tempo_bpm or step.tempo_bpm
        return 0.0

    def _afresh(self, listen: bool) -> None:
        """Nothing is made easier."""
        self._eased: list[Setting] = []
        self._next_easing = 0
        self._listen = listen
        self._anew()

    def _anew(self) -> None:
        """Another exercise begins."""
        self._recent: list[tuple[Tally, bool]] = []
        self._silent = 0
        self._worst: Fault | None = None
        self._refresh()

    def _refresh(self) -> None:
        """The step as a whole, at its tempo of now; a called order is another each time."""
        at = self._at
        if at is None:
            return
        step, record = self.steps[at], self._records[at]
        clean = min(
            step.clean,
            EASIER_CLEAN if self._repeats else TOGETHER,
            self._practice.patience or LONGEST,
        )
        self._whole = Setting.of(step, self._pace.tempo_bpm, clean)
        if step.kind is Kind.CALLED:
            left = [names for names in step.rounds if names and names not in self._clean_calls]
            choice = [(), *left] if left else list(step.rounds)
            count = max(len(choice), len(step.rounds) * step.times)
            order = tuple(called(choice, count, record.repetitions))
            self._whole = replace(self._whole, rounds=order, times=1)

    def _start(self, *comment: Said) -> Answer:
        self._begin()
        step = self.step
        if step is None:
            return self._ended(*comment)
        return Answer(right=True, comment=comment, coming=(self._about(step),), changed=True)

    def _go_on(self, *comment: Said) -> Answer:
        self._repeats = self._repeats[1:]
        return self._start(*comment)

    def _ended(self, *comment: Said) -> Answer:
        if not self.steps:
            return Answer(right=True, comment=comment, coming=(said(Code.NOTHING),), changed=False)
        left = [line.step for line in self.overview() if line.record.state is State.SKIPPED]
        tomorrow = [line.step for line in self.overview() if line.record.state is State.LATER]
        coming = []
        if tomorrow:
            coming.append(said(Code.TOMORROW, steps=tomorrow[:1]))
        if left and len(left) <= NAMED:
            coming.append(said(Code.STEPS_LEFT_OUT, steps=left))
        elif left:
            coming.append(said(Code.MANY_LEFT_OUT, count=len(left)))
        return Answer(
            right=True,
            comment=comment,
            coming=tuple(coming) or (said(Code.FINISHED),),
            changed=bool(comment),
        )

    def _change(self, at: int, **changes: Any) -> None:
        self._records[at] = replace(self._records[at], **changes)

    def _needing(self, at: int) -> list[int]:
        """The open steps that cannot be played without the step ``at``."""
        step = self.steps[at]
        opened = [n for n, record in enumerate(self._records) if record.state is State.OPEN]
        if step.variation:
            same = [n for n in opened if self.steps[n].variation == step.variation and n > at]
            own = same if step.kind is not Kind.GHOST else []
            return [*own, *(n for n in opened if own and self.steps[n].kind in _MIXED)]
        if step.kind not in _FOUNDATIONS:
            return []
        return [n for n in opened if n > at and _holds_all(self.steps[n], step)]

    # What came of a repetition.

    def _is_right(self, step: Step, result: Repetition) -> bool:
        """Whether one repetition counts."""
        if result.never or (self._must_hold(step) and not result.steady):
            return False
        rules = self._rules_of(step)
        return not lacks([result.tally], rules.level, rules.tolerance_ms, once=True)

    def _hear_calls(self, result: Repetition, rules: Rules) -> None:
        rounds = self._setting.rounds
        each = max(1, len(result.bars) // len(rounds))
        for number, names in enumerate(rounds):
            own = together(result.bars[number * each : (number + 1) * each])
            if own.strokes and not lacks([own], rules.level, rules.tolerance_ms, once=True):
                self._clean_calls.add(names)

    def _lack(self, step: Step, result: Repetition) -> Lack | None:
        rules = self._rules_of(step)
        found = lacks([result.tally], rules.level, rules.tolerance_ms, once=True)
        if found:
            return found[0]
        return Lack.STEADY if self._must_hold(step) and not result.steady else None

    def _note(self, at: int, result: Repetition, right: bool) -> None:
        record = self._records[at]
        lately = record.lately + "01"[right] if self._is_at_goal else record.lately
        self._change(
            at,
            repetitions=record.repetitions + 1,
            clean=record.clean + right,
            seconds=record.seconds + result.seconds,
            lately=lately[-Record.LATELY :],
        )
        self._since_break_s += result.seconds
        self._stuck_s += result.seconds
        self._stuck += 1
        self._recent.append((result.tally, right))
        self._pace.played(right, whole=not self._eased)
        self._worst = result.worst or self._worst
        self._listen = False

    @property
    def _is_at_goal(self) -> bool:
        """The step as it is to be learned is played, and nothing easier."""
        step = self.step
        return step is not None and not self._eased and self._pace.tempo_bpm >= self._goal_bpm(step)

    def _must_hold(self, step: Step) -> bool:
        return step.manner.steady and self._is_at_goal

    def _is_clean(self, step: Step, right: bool) -> bool:
        """Whether the last repetitions are clean together."""
        if not right:
            return False
        recent = self._recent
        if step.kind is Kind.CALLED and not self._eased:
            return {names for names in step.rounds if names} <= self._clean_calls
        record = self._records[self._at or 0]
        is_passed = len(recent) == PASSES and self._is_on_trial(step) and record.sure >= SURE
        if self._is_at_goal and not (is_passed or self._is_sure(record)):
            return False
        needed = PASSES if is_passed else self._needed
        rules = self._rules_of(step)
        # What is looped in one go may be judged with the go before it as well.
        windows = (needed,) if needed > 1 else (1, 2)
        return any(
            not lacks(
                [tally for tally, _ in recent[-n:]], rules.level, rules.tolerance_ms, once=False
            )
            for n in windows
            if len(recent) >= n and sum(not one for _, one in recent[-n:]) <= n // LUCK
        )

    def _is_sure(self, record: Record) -> bool:
        """Whether as much of a step's last repetitions was right as shows that it is learned."""
        if not self._is_luck_likely or self._repeats:
            return record.sure >= SURE
        return record.sure >= SURER and len(record.lately) >= SURER_OF

    def _is_on_trial(self, step: Step) -> bool:
        """Whether two right repetitions of two pass: of a chunk, as long as none was wrong."""
        recent = self._recent
        all_right = len(recent) <= PASSES and all(one for _, one in recent)
        return step.kind in CHUNKS and not self._eased and all_right

    @property
    def _is_luck_likely(self) -> bool:
        """Whether so much goes wrong that a few right ones may be chance."""
        return self._pace.share < LUCK_BELOW

    @property
    def _patience(self) -> int:
        """So many repetitions of one exercise, and something changes."""
        patience = self._practice.patience
        return min(LONGEST, max(LEAST, self._needed + MORE)) if patience is None else patience

    @property
    def _is_long(self) -> bool:
        """Whether one exercise was played as often as there is patience for, silent ones too."""
        return len(self._recent) + self._silent >= self._patience

    def _must_change(self, result: Repetition) -> bool:
        """Whether it cannot go on like this."""
        recent, pace = self._recent, self._pace
        if self._is_long:
            return True
        # A tempo that is new is given up sooner: there is one that goes.
        is_new = not self._eased and pace.is_above_held and not result.never
        if is_new and not pace.goes_well and not recent[-1][1]:
            return True
        patience = PATIENCE - 1 if is_new else PATIENCE
        return sum(not right for _, right in recent[-patience:]) >= patience - 1

    def _again(self, right: bool) -> Answer:
        if right and len(self._recent) >= self._needed and self._trial is None:
            lack = self._together_lack()
            of = max(2, self._needed)
            words = said(Code.LOOSE_TOGETHER, of=of, lack=lack) if len(self._recent) >= of else None
            loose = words or said(Code.RIGHT_SO_FAR, done=1, asked=2)
            return Answer(
                right=True, comment=(loose,), coming=(said(Code.NEXT_ONE),), changed=False
            )
        if right:
            done = sum(one for _, one in self._recent[-self._asked :])
            so_far = said(Code.RIGHT_SO_FAR, done=done, asked=self._asked)
            return Answer(
                right=True, comment=(so_far,), coming=(said(Code.NEXT_ONE),), changed=False
            )
        code = Code.AGAIN if len(self._recent) == 1 else Code.FROM_THE_COUNT
        return Answer(right=False, comment=(), coming=(said(code),), changed=False)

    def _together_lack(self) -> Lack | None:
        """What keeps the last repetitions from being clean together, None for one of them alone."""
        step = self.step
        if step is None:
            return None
        rules, of = self._rules_of(step), max(2, self._needed)
        tallies = [tally for tally, _ in self._recent[-of:]]
        found = lacks(tallies, rules.level, rules.tolerance_ms, once=False)
        return found[0] if found else None

    def _why(self, step: Step, result: Repetition, lack: Lack | None) -> tuple[Said, ...]:
        """What was wrong with a repetition."""
        if result.never:
            return (said(Code.NEVER_PLAYED, names=result.never),)
        if lack is Lack.STEADY:
            return (said(Code.UNSTEADY),)
        if result.advice:
            return (said(Code.ADVICE, text=result.advice),)
        tally = result.tally
        counts = {
            Lack.PLAYED: tally.stray,
            Lack.TIMING: tally.early_late,
            Lack.LOUDNESS: tally.ill_sounding,
        }
        if lack not in counts:
            return ()
        return (said(Code.FAULTS, lack=lack, count=counts[lack], of=tally.strokes),)

    def _on_trial(self, trial: Trial, step: Step, right: bool) -> Answer:
        rights = sum(one for _, one in self._recent)
        if step.kind is Kind.IN_TURN:
            passed = right and self._is_clean(step, right)
            failed = not passed and len(self._recent) >= PASSES
        else:
            passed = rights >= PASSES
            failed = len(self._recent) - rights > TRIAL - PASSES
        if not passed and not failed:
            return self._again(right)
        self._tried.add(trial.plays)
        self._whole_goes = passed
        if failed:
            return replace(self._start(said(Code.CHUNK_BY_CHUNK)), right=right)
        for number in trial.covers:
            if number != trial.plays:
                self._change(number, state=State.PASSED)
        self._trial = None
        return self._clean(trial.plays, step)

    def _clean(self, at: int, step: Step) -> Answer:
        """What is played is clean: back up, faster, or learned."""
        if self._eased:
            self._eased.pop()
            self._anew()
            name = self._setting.spoken(self.pattern)
            holds = said(Code.BACK_UP, name=name, tempo_bpm=self._setting.tempo_bpm)
            return Answer(right=True, comment=(said(Code.CLEAN),), coming=(holds,), changed=True)
        if self._pace.tempo_bpm < self._goal_bpm(step):
            return self._climb(at, step)
        self._went()
        self._stuck_s, self._stuck = 0.0, 0
        if self._repeats:
            return self._go_on(said(Code.LEARNED, step=step, repeated=True))
        if self._pace.tempo_bpm < step.goal_bpm:
            self._change(at, state=State.LATER, tempo_bpm=self._pace.tempo_bpm)
            return self._go_on(said(Code.SO_FAR_TODAY, step=step, tempo_bpm=self._pace.tempo_bpm))
        self._change(at, state=State.LEARNED, tempo_bpm=None)
        return self._go_on(said(Code.LEARNED, step=step, repeated=False))

    def _went(self) -> bool:
        """The tempo of now was clean; whether it is left for a faster one."""
        return self._pace.went(
            faultless=all(tally.is_faultless for tally, _ in self._recent),
            at_once=len(self._recent) <= self._needed,
        )

    def _climb(self, at: int, step: Step) -> Answer:
        tempo_bpm, clean = self._pace.tempo_bpm, said(Code.CLEAN)
        if not self._is_long and not self._went():
            again = said(Code.ONCE_MORE, tempo_bpm=tempo_bpm)
            return Answer(right=True, comment=(clean,), coming=(again,), changed=False)
        if tempo_bpm > self._best_bpm:
            self._stuck_s, self._stuck, self._best_bpm = 0.0, 0, tempo_bpm
        if tempo_bpm >= step.tempo_bpm:
            self._change(at, tempo_bpm=tempo_bpm)
        at_once = len(self._recent) <= self._needed
        self._pace.faster(self._goal_bpm(step))
        faster = self._pace.tempo_bpm
        code = Code.GOAL if faster >= step.goal_bpm else Code.FASTER
        coming = said(code, tempo_bpm=faster, at_once=at_once)
        self._anew()
        return Answer(right=True, comment=(clean,), coming=(coming,), changed=True)

    def _easier_now(self, step: Step, lack: Lack | None) -> Answer:
        """Something changes: the tempo towards one that goes, or one of the easings."""
        wrong = sum(not right for _, right in self._recent)
        often = said(Code.NOT_CLEAN, times=wrong, of=len(self._recent), lack=lack)
        if not self._eased and self._is_slower(step):
            self._anew()
            slower = said(Code.SLOWER, tempo_bpm=self._pace.tempo_bpm)
            return Answer(right=False, comment=(often,), coming=(slower,), changed=True)
        self._refresh()
        setting = self._find_easier(self._next_easing)
        if setting is None and not self._eased:
            setting = self._find_easier(0)
        if setting is None:
            self._afresh(listen=True)
            return Answer(right=False, comment=(often,), coming=(said(Code.AFRESH),), changed=True)
        self._ease(setting)
        return Answer(right=False, comment=(often,), coming=_given(setting.why), changed=True)

    def _is_slower(self, step: Step) -> bool:
        """Make it slower where that may be enough; below the first tempo of a step, once."""
        pace, easings = self._pace, step.manner.easings
        if pace.tempo_bpm > step.tempo_bpm:
            return pace.failed(step.tempo_bpm)
        if pace.held_bpm is None and Easing.SLOWER in easings and not self._is_slow:
            self._is_slow = True
            self._next_easing = easings.index(Easing.SLOWER) + 1
            slower = max(self._whole.floor_bpm, float(round(pace.tempo_bpm * SLOWER)))
            if slower < pace.tempo_bpm:
                pace.slower_once(slower)
                return True
        return False

    def _find_easier(self, first: int) -> Setting | None:
        """The next way that leaves room, from the easing number ``first`` on."""
        step = self.step
        easings = step.manner.easings if step else ()
        for number in range(first, len(easings)):
            setting = ease(easings[number], self._setting, self.pattern, worst=self._worst)
            if setting is not None:
                self._next_easing = number + 1
                return setting
        return None

    def _ease(self, setting: Setting) -> None:
        self._eased.append(setting)
        at = self._at
        if at is not None:
            record = self._records[at]
            # What went wrong before it was made easier says less of how it goes afterwards.
            lately = record.lately[-BEFORE_EASIER:]
            self._change(at, helped=record.helped + 1, lately=lately)
        self._anew()

    def _break(self) -> Said | None:
        if self._since_break_s < self._break_after_s:
            return None
        minutes, self._since_break_s = self._since_break_s / 60.0, 0.0
        return said(Code.REST, minutes=minutes)

    def _leave(self) -> tuple[Said | None, bool]:
        if (
            self._trial is not None
            or self._stuck_s < 60.0 * self._practice.leave_minutes
            or self._stuck < MOST
        ):
            return None, False
        minutes, self._stuck_s, self._stuck = self._stuck_s / 60.0, 0.0, 0
        return said(Code.LEAVE_IT, minutes=minutes), True


def _holds_all(step: Step, of: Step) -> bool:
    """Whether all that ``of`` plays is played in ``step`` as well."""
    return all(
        any(
            outer.bar == inner.bar and outer.start <= inner.start and inner.end <= outer.end
            for outer in step.parts
        )
        for inner in of.parts
    )


def _with_tolerance(pattern: Pattern, rules: Rules) -> Rules:
    """The player's own rules, with the tolerance that the pattern asks for, if it does."""
    tolerance_ms = pattern.practice.tolerance_ms if pattern.practice else None
    return rules if tolerance_ms is None else replace(rules, tolerance_ms=tolerance_ms)


def _given(why: Said | None) -> tuple[Said, ...]:
    return () if why is None else (why,)
