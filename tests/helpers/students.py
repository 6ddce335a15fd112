"""Students: simulated players who take a whole lesson on a simulated clock.

A student is one person: the spread that differs from person to person is drawn once. Time goes as
in the window: a count-in where the exercise is another one, the words that are read then, what is
listened to, and the repetition with its rest.

Those who learn begin wider, and narrow with practice (reasoned, and common practice): what was
played often is played better, a tempo that is faster than the comfortable one loosens everything,
and the comfortable tempo grows with the minutes played.
"""

from collections import Counter
from dataclasses import dataclass, field, replace
from functools import lru_cache
from math import exp, inf

import numpy as np

from playalong.grading.levels import Level
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.midi.mapping import hits_of
from playalong.pattern.meter import Tempo
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.voices import Limb
from playalong.practice.excerpts import Excerpt, Names
from playalong.practice.feedback import Exercise, State
from playalong.practice.free_playing import as_played
from playalong.practice.lesson import Lesson
from playalong.practice.plan import practice_of
from playalong.practice.repetition import Repetition, repetition
from playalong.practice.variations.calling import freely, mixed
from playalong.practice.variations.mixing import Explainer
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS, Skill

#: What the window takes besides: before a count-in, and to read what is said.
LEAD_S, READ_S = 1.0, 4.0

#: How those who learn begin, and how they get better: see ``Learning``.
NEW, NEW_MISS, LEARNED_AFTER = 0.8, 0.04, 6.0
STRAIN, STRAIN_MISS = 3.0, 0.25
COMFORT, COMFORT_A_MINUTE = 1.05, 0.025
HABIT_AFTER = 40.0


def person(skill: Skill, seed: int) -> Skill:
    """The player as one person, whose spread stays theirs."""
    chance = np.random.default_rng([seed, 7])
    return scaled(replace(skill, varies=0.0), exp(skill.varies * float(chance.standard_normal())))


def scaled(skill: Skill, factor: float) -> Skill:
    """The player with all spreads of time wider by a factor."""
    return replace(
        skill,
        shared_ms=skill.shared_ms * factor,
        error_ms={limb: (mean, own * factor) for limb, (mean, own) in skill.error_ms.items()},
    )


def faultless(skill: Skill) -> Skill:
    """Nothing is ever off."""
    nothing = dict.fromkeys(Limb, (0.0, 0.0))
    still = {"spread_db": 0.0, "ghost_spread_db": 0.0, "breath_db": 0.0}
    touch = {limb: replace(own, **still) for limb, own in skill.touch.items()}
    toms = None if skill.toms is None else replace(skill.toms, **still)
    return replace(
        skill, error_ms=nothing | dict.fromkeys(skill.error_ms, (0.0, 0.0)),
        shared_ms=0.0, varies=0.0, touch=touch, toms=toms, miss=0.0, extra=0.0, wrong_drum=0.0,
        habits=(), grace_ms=(35.0, 0.0),
    )  # fmt: skip


@dataclass
class Learning:
    """What somebody has practised so far: how often each exercise, and for how long."""

    start_bpm: float
    times: Counter[str] = field(default_factory=Counter)
    seconds: float = 0.0

    def of(self, skill: Skill, exercise: Exercise) -> Skill:
        """The player as they play an exercise now."""
        step = exercise.step
        content = {f"{part.bar} {step.variation}" for part in exercise.excerpt.parts}
        known = sum(self.times[one] for one in content) / len(content)
        new = exp(-known / LEARNED_AFTER) * min(1.0, 0.4 + 0.2 * len(exercise.excerpt.parts))
        comfort_bpm = self.start_bpm * (COMFORT + COMFORT_A_MINUTE * self.seconds / 60.0)
        strain = max(0.0, exercise.tempo_bpm / comfort_bpm - 1.0)
        habit = exp(-sum(self.times.values()) / HABIT_AFTER)
        self.times.update(content)
        return replace(
            scaled(skill, 1.0 + NEW * new + STRAIN * strain),
            miss=min(0.5, skill.miss + NEW_MISS * new + STRAIN_MISS * strain),
            habits=tuple(
                replace(one, late_ms=one.late_ms * habit, louder_db=one.louder_db * habit)
                for one in skill.habits
            ),
        )


@dataclass(kw_only=True)
class Student:
    """One person at a lesson; ``learning`` is None for those who stay as they are."""

    pattern: Pattern
    skill: Skill
    level: Level
    seed: int
    learning: Learning | None = None
    played: int = 0

    @classmethod
    def of(cls, name: str, level: Level, pattern: Pattern, *, seed: int, learns: bool) -> "Student":
        """A player by name; those who stay as they are have no habits, which never go."""
        if name == "faultless":
            return cls(
                pattern=pattern, skill=faultless(SKILLS["professional"]), level=level, seed=seed
            )
        skill = person(SKILLS[name], seed)
        learning = Learning(practice_of(pattern).start_tempo) if learns else None
        return cls(
            pattern=pattern,
            skill=skill if learns else skill.without_habits(),
            level=level,
            seed=seed,
            learning=learning,
        )

    def lesson(self) -> Lesson:
        """A new lesson."""
        return Lesson(self.pattern, self.rules, like=laid_out(self.pattern).lesson)

    @property
    def rules(self) -> Rules:
        """How this student is judged."""
        return Rules.at(self.level)

    def play(self, exercise: Exercise) -> Repetition:
        """One repetition, judged by the same code as in the window."""
        skill = self.skill if self.learning is None else self.learning.of(self.skill, exercise)
        self.played += 1
        seed = self.seed * 100_003 + self.played
        part, tempo_bpm, bars = exercise.pattern, exercise.tempo_bpm, exercise.bars
        lay = laid_out(self.pattern)
        never: tuple[str, ...] = ()
        if exercise.is_free:
            whole = self.pattern
            count = -(-bars // len(whole.bars))
            choice = [(), *((name,) for name in whole.variations)]
            free = lay.mixed(tuple(freely(choice, count, seed)), tempo_bpm, bars)
            hits = hits_by(skill, free, seed)
            each = [hits[number] for number in range(len(hits))]
            told = as_played(
                whole, each, bars=bars, tempo_bpm=tempo_bpm, rules=exercise.rules,
                explainer=lay.explainer(tempo_bpm, exercise.rules.capture_ms),
            )  # fmt: skip
            part, never = told.pattern, told.texture.never
            targets = lay_out(part, tempo_bpm, bars)
        else:
            targets = lay.excerpt(exercise.excerpt, tempo_bpm, bars)
            hits = hits_by(skill, targets, seed)
        run = MatchedRun.of(targets, hits, exercise.rules)
        told_now = repetition(run, part, tempo_bpm, seconds=targets.end_s)
        if self.learning is not None:
            self.learning.seconds += targets.end_s
        return replace(told_now, never=never)


class Layouts:
    """What a pattern's exercises are laid out as, each found once: many students play the same."""

    def __init__(self, pattern: Pattern) -> None:
        self._pattern, self.lesson = pattern, Lesson(pattern)
        self.excerpt = lru_cache(maxsize=4096)(self._excerpt)
        self.mixed = lru_cache(maxsize=256)(self._mixed)
        self.explainer = lru_cache(maxsize=64)(self._explainer)

    def _excerpt(self, excerpt: Excerpt, tempo_bpm: float, bars: int) -> Targets:
        return lay_out(excerpt.of(self._pattern), tempo_bpm, bars)

    def _mixed(self, rounds: tuple[Names, ...], tempo_bpm: float, bars: int) -> Targets:
        return lay_out(mixed(self._pattern, rounds), tempo_bpm, bars)

    def _explainer(self, tempo_bpm: float, capture_ms: float) -> Explainer:
        return Explainer(self._pattern, tempo_bpm, Rules(capture_ms=capture_ms))


_LAYOUTS: dict[int, Layouts] = {}


def laid_out(pattern: Pattern) -> Layouts:
    """The layouts of a pattern, shared by all its students."""
    which = id(pattern)  # it is kept in what is found, and so the number stays its own
    if which not in _LAYOUTS:
        _LAYOUTS[which] = Layouts(pattern)
    return _LAYOUTS[which]


def hits_by(skill: Skill, targets: Targets, seed: int) -> Hits:
    """What a player plays."""
    return hits_of(perform(targets, skill, seed).messages)[0]


@dataclass(kw_only=True)
class Sitting:
    """What came of a sitting.

    ``seconds`` are all that passed, ``playing_s`` without what was read. ``rights`` holds for each
    repetition whether it was right; ``longest`` is the most repetitions of one exercise without a
    change, those apart in which no stroke arrived: these are answered by the page that looks at the
    kit. ``unsaid`` counts changes of which nothing was said.
    """

    seconds: float = 0.0
    playing_s: float = 0.0
    repetitions: int = 0
    rights: list[bool] = field(default_factory=list)
    longest: int = 0
    unsaid: int = 0


def sit(student: Student, lesson: Lesson, *, most_s: float = inf, most: int = 2000) -> Sitting:
    """Play until the lesson ends, the time is over, or so many repetitions were played."""
    sitting = Sitting()
    before: tuple[object, ...] = ()
    same = 0
    while sitting.seconds < most_s and sitting.repetitions < most:
        exercise = lesson.exercise
        if exercise is None:
            break
        now = (exercise.step.key, exercise.tempo_bpm, exercise.about, exercise.rules)
        bar_s = _bar_s(exercise)
        if now != before:
            same = 0
            sitting.playing_s += LEAD_S + bar_s
            sitting.seconds += LEAD_S + bar_s + (READ_S if before else 0.0)
        if exercise.listen:
            sitting.playing_s += LEAD_S + bar_s * (1 + len(exercise.pattern.bars))
            sitting.seconds += LEAD_S + bar_s * (1 + len(exercise.pattern.bars))
        before = now
        result = student.play(exercise)
        sitting.seconds += result.seconds
        sitting.playing_s += result.seconds
        sitting.repetitions += 1
        answer = lesson.played(result)
        same += not answer.nothing
        sitting.longest = max(sitting.longest, same)
        sitting.rights.append(answer.right)
        if answer.changed and not answer.next:
            sitting.unsaid += 1
        if answer.leave:
            lesson.later()
    return sitting


def _bar_s(exercise: Exercise) -> float:
    meter = exercise.pattern.bars[0].meter
    return Tempo(exercise.tempo_bpm, exercise.pattern.meter.unit).seconds(meter.length)


def reached(lesson: Lesson, *states: State) -> int:
    """How many steps are in one of these states."""
    return sum(line.record.state in states for line in lesson.overview())
