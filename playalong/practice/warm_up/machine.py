"""The warm-up as a machine: bouts come out, what was played goes in, and the temperature follows.

| state | what comes next | event | to |
| --- | --- | --- | --- |
| BOUT | ``bout`` is played | ``played`` | REST where it lies, else BOUT; OVER after the last |
| BOUT | | ``skip`` | the same, and nothing is counted |
| REST | nothing is played for ``rest_s`` | ``rested`` | BOUT |
| any | | ``leave`` | OVER |
| OVER | ``summary`` | | |

It knows no clock: it counts the seconds of the bars that were played. The same routine, seed and
hits give the same temperature, live and graded again.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum, auto
from random import Random

from playalong.grading.levels import Level
from playalong.grading.matching.matched_run import MatchedRun
from playalong.pattern.model import Pattern
from playalong.practice.warm_up.adapting import BESIDE, PLAYED, Knowledge, is_within
from playalong.practice.warm_up.degrees import (
    Warmth,
    after,
    limit,
    of_figure,
    rounds,
    warm_for_bpm,
    warmth,
)
from playalong.practice.warm_up.diary import BoutEntry, Day
from playalong.practice.warm_up.exercises import Exercise
from playalong.practice.warm_up.figures import Passage
from playalong.practice.warm_up.routine import MUSIC, Routine, bout_bars, calls, round_bars


class State(Enum):
    """Where a warm-up stands."""

    BOUT = auto()
    REST = auto()
    OVER = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class Bout:
    """What is to be played: ``bars`` bars of ``pattern``, judged ``together`` at a time.

    ``heard`` is what the program plays meanwhile, None for nothing; ``mark`` the figure to stay
    within; ``after`` the exercise that follows, None after the last.
    """

    number: int
    exercise: Exercise
    pattern: Pattern
    heard: Pattern | None
    tempo_bpm: float
    bars: int
    together: int
    mark: float
    after: Exercise | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """Some bars that were judged together: when they ended, in seconds of playing, how warm they
    left the player, and what they were worth.
    """

    end_s: float
    temperature: float
    worth: Warmth

    @property
    def point(self) -> tuple[float, float]:
        """Its point of the curve."""
        return self.end_s, self.temperature


@dataclass(frozen=True, slots=True, kw_only=True)
class BoutReport:
    """What came of a bout: over all its bars, and how many rounds stayed within the mark."""

    exercise: Exercise
    whole: Warmth
    mark: float
    right: int
    rounds: int
    before: float
    temperature: float

    @property
    def is_within(self) -> bool:
        """Whether the bout as a whole stayed within the mark."""
        return is_within(self.whole, self.mark)

    @property
    def is_there(self) -> bool:
        """Whether most of it was played, and little beside it."""
        return self.whole.there >= PLAYED and self.whole.beside <= BESIDE


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """A warm-up that is over: its end, its best, and what is worth a lesson.

    ``work_on`` is the bout whose figure was furthest from what the player's level reaches, ``best``
    the one furthest within; None where nothing was played.
    """

    seconds: float
    temperature: float
    warmest: float
    best: BoutReport | None
    work_on: BoutReport | None


class WarmUp:
    """A warm-up of one player on one day (``day`` as written in ISO 8601)."""

    def __init__(
        self,
        routine: Routine,
        patterns: Mapping[str, Pattern],
        *,
        level: Level,
        knowledge: Knowledge,
        seed: int,
        day: str,
    ) -> None:
        """``patterns`` are those of the exercises, by name."""
        self._routine, self._patterns, self._level = routine, patterns, level
        self.knowledge, self._seed, self._day = knowledge, seed, day
        self._number = 0
        self.state = State.BOUT if routine.exercises else State.OVER
        self.temperature = 0.0
        self.seconds = 0.0
        #: (seconds, temperature), from the start on.
        self.curve: list[tuple[float, float]] = [(0.0, 0.0)]
        self.reports: list[BoutReport] = []

    @property
    def exercises(self) -> tuple[Exercise, ...]:
        """All exercises of the routine, in order."""
        return self._routine.exercises

    @property
    def rest_s(self) -> float:
        """How long the rest is."""
        return self._routine.rest_s

    @property
    def minutes(self) -> float:
        """How long all of it is going to be, about."""
        return sum(self._expected_s(one) for one in self._routine.exercises) / 60.0

    def _expected_s(self, exercise: Exercise) -> float:
        pattern = self._patterns[exercise.pattern]
        tempo_bpm = self.knowledge.of(exercise).tempo_bpm
        bars = bout_bars(exercise, pattern, tempo_bpm)
        length = sum(bar.meter.length for bar in pattern.bars) / len(pattern.bars)
        return bars * float(length) * 60.0 / (tempo_bpm * float(pattern.meter.unit))

    @property
    def bout(self) -> Bout | None:
        """What is to be played now, None when it is over."""
        if self.state is State.OVER:
            return None
        exercises = self._routine.exercises
        exercise = exercises[self._number]
        pattern = self._patterns[exercise.pattern]
        tempo_bpm = warm_for_bpm(exercise, self.temperature)
        if exercise.name != MUSIC:
            tempo_bpm = min(tempo_bpm, self.knowledge.of(exercise).tempo_bpm)
        tempo_bpm = float(round(tempo_bpm))
        bars = bout_bars(exercise, pattern, tempo_bpm)
        heard = None
        if exercise.is_heard:
            pattern, heard = calls(pattern, bars, Random(1000 * self._seed + self._number))
        return Bout(
            number=self._number,
            exercise=exercise,
            pattern=pattern,
            heard=heard,
            tempo_bpm=tempo_bpm,
            bars=bars,
            together=round_bars(exercise, self._patterns[exercise.pattern]),
            mark=self.knowledge.mark(exercise, self._level),
            after=exercises[self._number + 1] if self._number + 1 < len(exercises) else None,
        )

    def course(self, bout: Bout, run: MatchedRun) -> list[Round]:
        """The rounds of ``run``, a bout that goes on or is over."""
        found, elapsed_s, temperature = [], self.seconds, self.temperature
        for passage in rounds(run, bout.together):
            worth = self._worth(bout, passage, elapsed_s, temperature=temperature)
            lasts_s = _lasts_s(passage)
            temperature = after(temperature, worth.degrees, lasts_s)
            elapsed_s += lasts_s
            found.append(Round(end_s=elapsed_s, temperature=temperature, worth=worth))
        return found

    def played(self, run: MatchedRun) -> BoutReport:
        """A bout was played, or as much of it as ``run`` has; ValueError when it is over."""
        bout = self.bout
        if bout is None:
            raise ValueError("the warm-up is over")
        whole = self._worth(
            bout, Passage(run, 0, run.targets.bars), self.seconds, temperature=self.temperature
        )
        before, right, course = self.temperature, 0, self.course(bout, run)
        for one in course:
            is_right = is_within(one.worth, bout.mark)
            self.knowledge = self.knowledge.after_round(bout.exercise, is_right)
            right += is_right
        if course:
            self.curve += [one.point for one in course]
            self.seconds, self.temperature = self.curve[-1]
            self.knowledge = self.knowledge.after_bout(
                bout.exercise, self._level, whole, day=self._day
            )
        report = BoutReport(
            exercise=bout.exercise,
            whole=whole,
            mark=bout.mark,
            right=right,
            rounds=len(course),
            before=before,
            temperature=self.temperature,
        )
        self.reports.append(report)
        self._go_on()
        return report

    def skip(self) -> None:
        """The bout is left out: it warms and cools nothing."""
        if self.state is not State.OVER:
            self._go_on()

    def rested(self) -> None:
        """The rest is over."""
        if self.state is State.REST:
            self.state = State.BOUT

    def leave(self) -> None:
        """It is over."""
        self.state = State.OVER

    def summary(self) -> Summary:
        """What came of it."""
        played = [
            one
            for one in self.reports
            if one.whole.figure is not None and one.rounds and one.exercise.name != MUSIC
        ]

        def standing(one: BoutReport) -> float:
            value = one.whole.figure if one.whole.figure is not None else 0.0
            return of_figure(one.exercise, value) - of_figure(
                one.exercise, limit(one.exercise, self._level)
            )

        return Summary(
            seconds=self.seconds,
            temperature=self.temperature,
            warmest=max(temperature for _, temperature in self.curve),
            best=max(played, key=standing, default=None),
            work_on=min(played, key=standing, default=None),
        )

    def as_day(self) -> Day:
        """What is written into the diary."""
        bouts = [
            BoutEntry(
                exercise=one.exercise.name,
                figure=one.whole.figure,
                degrees=one.whole.degrees,
                right=one.right,
                rounds=one.rounds,
            )
            for one in self.reports
            if one.rounds
        ]
        return Day(day=self._day, curve=tuple(self.curve), bouts=tuple(bouts))

    def _worth(
        self, bout: Bout, passage: Passage, elapsed_s: float, *, temperature: float
    ) -> Warmth:
        return warmth(
            passage,
            bout.exercise,
            bout.tempo_bpm,
            elapsed_s=elapsed_s,
            temperature=temperature,
        )

    def _go_on(self) -> None:
        self._number += 1
        if self._number >= len(self._routine.exercises):
            self.state = State.OVER
        elif self._number == self._routine.rest_before and self._routine.rest_s > 0.0:
            self.state = State.REST
        else:
            self.state = State.BOUT


def _lasts_s(passage: Passage) -> float:
    targets = passage.run.targets
    starts_s = targets.bar_starts_s
    end_s = float(starts_s[passage.end]) if passage.end < len(starts_s) else targets.end_s
    return end_s - float(starts_s[passage.first])
