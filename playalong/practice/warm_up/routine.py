"""The routine of a day: which exercises, in which order, with a rest, and music at the end.

Large and slow movements come before fine and fast ones, limbs by themselves before limbs together
(common practice). From each stage there is at least one, the one that was not played for longest;
where there is more time than exercises they come again, at the tempi that one is warm for by then.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from playalong.pattern.model import Bar, Pattern
from playalong.practice.warm_up.adapting import Knowledge
from playalong.practice.warm_up.exercises import EXERCISES, Exercise, Measure, Stage

#: How long a bout is, and what lies between two, in seconds.
BOUT_S, BETWEEN_S = 32.0, 10.0

#: How long the rest is, in seconds for each minute of the warm-up, at least and at most.
_REST_S, _LEAST_REST_S, _MOST_REST_S = 4.0, 15.0, 60.0

#: What may be asked for, in minutes.
SHORTEST, LONGEST, USUAL = 2.0, 60.0, 5.0

MUSIC = "music"


@dataclass(frozen=True, slots=True)
class Routine:
    """Exercises in order; ``rest_before`` is which of them the rest comes before, ``rest_s`` how
    long it is (no rest where that is 0)."""

    exercises: tuple[Exercise, ...]
    rest_before: int = 0
    rest_s: float = 0.0


def music(pattern: Pattern) -> Exercise:
    """The pattern that is being learned, as the last exercise."""
    practice = pattern.practice
    slowest = practice.start_tempo if practice else 0.6 * pattern.tempo
    fastest = max(practice.goal_tempo if practice else pattern.tempo, slowest)
    return Exercise(
        name=MUSIC,
        title=pattern.title,
        trains="music, at the tempo that you are warm for",
        pattern=pattern.name,
        stage=Stage.EAR,
        measure=Measure.SPREAD,
        slowest_bpm=slowest,
        whole_bpm=fastest,
        fastest_bpm=fastest,
    )


def routine(
    exercises: Sequence[Exercise],
    knowledge: Knowledge,
    *,
    minutes: float,
    seed: int,
    last: Exercise | None = None,
) -> Routine:
    """A routine of ``minutes`` out of ``exercises``; ``last`` is the music at its end.

    The same seed and knowledge give the same routine. ValueError without exercises.
    """
    if not exercises:
        raise ValueError("no exercise can be played on these pads")
    chance = Random(seed)
    rest_s = min(max(_REST_S * minutes, _LEAST_REST_S), _MOST_REST_S)
    count = max(2, int((60.0 * minutes - rest_s) // (BOUT_S + BETWEEN_S)))
    count -= last is not None
    drawn = {one.name: chance.random() for one in exercises}
    longest_ago = sorted(exercises, key=lambda one: (knowledge.of(one).last, drawn[one.name]))
    ordered: list[Exercise] = []
    while len(ordered) < count:
        ordered += _once(longest_ago, count - len(ordered))
    if last is not None:
        ordered.append(last)
    return Routine(tuple(ordered), (len(ordered) + 1) // 2, rest_s)


def _once(exercises: Sequence[Exercise], count: int) -> list[Exercise]:
    """So many of ``exercises`` at most, the first ones, from all stages alike; in their order."""
    chosen: list[Exercise] = []
    left = list(exercises)
    while left and len(chosen) < count:
        stages = [one.stage for one in chosen]
        chosen.append(min(left, key=lambda one: stages.count(one.stage)))
        left.remove(chosen[-1])
    return sorted(chosen, key=EXERCISES.index)


def round_bars(exercise: Exercise, pattern: Pattern) -> int:
    """How many bars of an exercise are judged together: enough strokes for a figure."""
    if exercise.silent:
        return 2 * exercise.silent
    bars = len(pattern.bars)
    return bars if bars > 1 else 2


def bout_bars(exercise: Exercise, pattern: Pattern, tempo_bpm: float) -> int:
    """How many bars make a bout, whole rounds."""
    whole_s = 60.0 / (tempo_bpm * float(pattern.meter.unit))
    bar_s = float(sum(bar.meter.length for bar in pattern.bars)) * whole_s / len(pattern.bars)
    together = round_bars(exercise, pattern)
    return together * max(1, round(BOUT_S / (bar_s * together)))


def calls(pattern: Pattern, bars: int, chance: Random) -> tuple[Pattern, Pattern]:
    """What the player plays back in ``bars`` bars of call and response, and what is heard.

    ``pattern`` has two bars, an empty one in which is heard what the second, or a variation of
    it, asks for. No call comes twice in a row.
    """
    names: list[str | None] = [None, *pattern.variations]
    played: list[Bar] = []
    heard: list[Bar] = []
    before: object = ...
    while len(played) < bars:
        name = chance.choice([one for one in names if one != before or len(names) == 1])
        before = name
        empty, answer = pattern.with_variations(() if name is None else (name,))
        played += [empty, answer]
        heard += [answer, empty]
    return _of(pattern, played[:bars]), _of(pattern, heard[:bars])


def _of(pattern: Pattern, bars: Sequence[Bar]) -> Pattern:
    return Pattern(
        name=pattern.name,
        title=pattern.title,
        meter=pattern.meter,
        tempo=pattern.tempo,
        bars=tuple(bars),
        about=pattern.about,
    )
