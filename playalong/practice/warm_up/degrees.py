"""Degrees: how warm some bars leave a player, from what was played and one table alone.

    degrees = 90 at most * there * soft enough * reach

* From the figure of the exercise (``figures``), by ``LEVELS``: what a beginner reaches at the
  tempo at which the table counts whole is 30 degrees, an intermediate player 45, an advanced one
  60, a professional 75; between these in even steps of the figure's logarithm; none from twice the
  beginner's figure on, 90 from half of the professional's. So 60 degrees are, for instance,
  sixteenths at 90 with a spread of 19 ms.
* ``there`` = a^2 / (1 + (3 x)^2), where a is the share of the strokes that were played, and x what
  was played beside them, of those asked. So who strikes everything earns nothing.
* ``soft enough`` = 1, less what is struck with all force where no accent is written: as far as
  that is more than a quarter of the strokes. Velocity 127 is a kit's ceiling whatever its curve.
* ``reach`` = the root of tempo / the tempo at which the table counts whole, 1.1 at most. In the
  first two minutes it is that of the slowest tempo: speed warms nobody who is cold. A tempo
  beyond what one is warm for earns half.

The temperature follows these degrees: up within some 100 s, down within some 60 s, as

    T + (degrees - T) * (1 - exp(-seconds / scale)).

What the figures of the levels are: the medians of 40 simulated players of each level, who are
fitted to real ones (``simulation.skills``), rounded; ``python -m tests.long warm_up`` prints them
beside the table. All other numbers are this project's own choice.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import exp, log, sqrt

import numpy as np

from playalong.grading.levels import Level
from playalong.grading.matching.matched_run import MatchedRun
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS
from playalong.practice.warm_up.exercises import Exercise, Measure
from playalong.practice.warm_up.figures import Passage, figure

#: What each level reaches, in the order beginner, intermediate, advanced, professional: in ms, or
#: in per cent (see ``figures``); and the degrees that these are.
LEVELS: Mapping[Measure, tuple[float, float, float, float]] = {
    Measure.SPREAD: (31.0, 23.0, 19.0, 16.0),
    Measure.STEP: (38.0, 27.0, 21.0, 17.0),
    Measure.EVENNESS: (40.0, 33.0, 30.0, 27.0),
    Measure.STAIRS: (16.0, 4.0, 1.6, 0.7),
    Measure.SOFTNESS: (28.0, 21.0, 19.0, 17.0),
    Measure.SOFT_OVER_KICK: (28.0, 21.0, 19.0, 17.0),
    Measure.TOGETHER: (40.0, 28.0, 22.0, 17.0),
    Measure.FLAM_WIDTH: (15.0, 10.0, 8.0, 7.0),
    Measure.CARRIED: (28.0, 20.0, 17.0, 14.0),
    Measure.ENTRIES: (36.0, 24.0, 21.0, 18.0),
    Measure.CHANGES: (36.0, 28.0, 23.0, 19.0),
    Measure.RECALLED: (22.0, 6.0, 3.0, 1.5),
}
DEGREES = (30.0, 45.0, 60.0, 75.0)
MOST = 90.0

#: The hi-hat foot by itself is wider than the hands, by this factor, at every level (as above).
_FOOT_ALONE = 1.35

#: How quickly the temperature follows, in seconds: up, and down.
_UP_S, _DOWN_S = 100.0, 60.0

#: For so long speed warms nobody, in seconds.
COLD_S = 120.0

#: The temperature at which the whole ladder of tempi is open, and how far beyond what one is warm
#: for still counts.
_OPEN, _LEEWAY = 60.0, 1.08

#: All force, and which share of the strokes may have it.
_FORCE, _MAY = 127, 0.25

_ACCENT = DYNAMICS.index(Dynamic.ACCENT)


def limits(exercise: Exercise) -> tuple[float, float, float, float]:
    """The figures of the four levels for an exercise."""
    wider = _FOOT_ALONE if exercise.name == "hi-hat-foot" else 1.0
    first, second, third, fourth = (wider * limit for limit in LEVELS[exercise.measure])
    return first, second, third, fourth


def limit(exercise: Exercise, level: Level) -> float:
    """The figure that a level reaches in an exercise."""
    return limits(exercise)[list(Level).index(level)]


def of_figure(exercise: Exercise, value: float) -> float:
    """The degrees of a figure, 0 to ``MOST``, where all is played, softly enough, at the tempo."""
    reached = limits(exercise)
    knots = [2.0 * reached[0], *reached, 0.5 * reached[3]]
    at = [log(1.0 / knot) for knot in knots]
    worth = [0.0, *DEGREES, MOST]
    return float(np.interp(log(1.0 / max(value, 1e-6)), at, worth))


def warm_for_bpm(exercise: Exercise, temperature: float) -> float:
    """The tempo that one is warm for at a temperature."""
    open_share = min(max(temperature / _OPEN, 0.0), 1.0)
    return exercise.slowest_bpm + open_share * (exercise.fastest_bpm - exercise.slowest_bpm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Warmth:
    """What some bars of an exercise are worth.

    ``figure``: see ``figures``, None where too little was played; ``degrees``: what they pull
    the temperature to; ``there``: the share of strokes that were played, ``beside``: what was
    played beside them, of those asked; ``forced``: the share that was struck with all force.
    """

    figure: float | None
    degrees: float
    there: float
    beside: float
    forced: float


def warmth(
    passage: Passage,
    exercise: Exercise,
    tempo_bpm: float,
    *,
    elapsed_s: float,
    temperature: float,
) -> Warmth:
    """What these bars are worth, ``elapsed_s`` into the warm-up at a temperature."""
    expected, rows = passage.expected, passage.rows
    share = len(rows) / expected if expected else 0.0
    beside = passage.beside / expected if expected else 0.0
    velocity = passage.run.hits.velocity[passage.run.hit[rows]]
    plain = velocity[passage.dynamic != _ACCENT]
    forced = float((plain >= _FORCE).mean()) if len(plain) else 0.0
    value = figure(passage, exercise)
    degrees = of_figure(exercise, value) if value is not None else 0.0
    degrees *= share**2 / (1.0 + (3.0 * beside) ** 2)
    degrees *= 1.0 - max(0.0, forced - _MAY) / (1.0 - _MAY)
    counted_bpm = exercise.slowest_bpm if elapsed_s < COLD_S else tempo_bpm
    degrees *= min(sqrt(counted_bpm / exercise.whole_bpm), 1.1)
    if tempo_bpm > _LEEWAY * warm_for_bpm(exercise, temperature):
        degrees *= 0.5
    return Warmth(
        figure=value,
        degrees=min(degrees, MOST),
        there=share,
        beside=beside,
        forced=forced,
    )


def after(temperature: float, degrees: float, seconds: float) -> float:
    """The temperature after ``seconds`` of playing that is worth ``degrees``."""
    scale_s = _UP_S if degrees > temperature else _DOWN_S
    return temperature + (degrees - temperature) * (1.0 - exp(-seconds / scale_s))


def rounds(run: MatchedRun, bars: int) -> Iterable[Passage]:
    """The run in passages of ``bars`` bars, without a last one that is not whole, and without
    those that ask for nothing, since the kit was away.
    """
    for first in range(0, run.targets.bars - bars + 1, bars):
        passage = Passage(run, first, first + bars)
        if passage.expected:
            yield passage
