"""The warm-up: degrees by player and exercise, what noise earns, and success day by day.

For each exercise a better player (less spread, softer ghost notes, fewer misses, more even) earns
more in the mean over the seeds; chance, silence, every pad at once and a constant stream earn next
to nothing; marks settle at 80 to 90 % of the rounds within three days, for players of all levels.
"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from playalong.grading.levels import Level
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.practice.warm_up.degrees import limits
from playalong.practice.warm_up.exercises import BY_NAME, EXERCISES
from playalong.simulation.skills import SKILLS
from tests.helpers.warming import learn, noises, played_by, targets_of, worth
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 200, 6

#: Next to nothing, in degrees.
NOTHING = 12.0

MINUTES, DAYS = 10.0, 4


def earned(item: tuple[str, int]) -> dict[str, tuple[float | None, float]]:
    """(figure, degrees) of every player and noise at one exercise, for one seed."""
    name, seed = item
    exercise = BY_NAME[name]
    targets = targets_of(exercise)
    runs = {skill: played_by(targets, own.without_habits(), seed) for skill, own in SKILLS.items()}
    runs |= {
        noise: MatchedRun.of(targets, hits, Rules())
        for noise, hits in noises(targets, seed).items()
    }
    found = {who: worth(run, exercise) for who, run in runs.items()}
    return {who: (one.figure, one.degrees) for who, one in found.items()}


def success(item: tuple[str, int]) -> list[float]:
    """The share of rounds within the mark, day by day, for one player."""
    name, seed = item
    level = list(Level)[list(SKILLS).index(name)]
    return learn(SKILLS[name], level, DAYS, minutes=MINUTES, seed=seed)


def tables(options: Options) -> Iterator[Table]:
    """The three tables."""
    items = [(one.name, seed) for one in EXERCISES for seed in range(options.count)]
    by_exercise: dict[str, list[dict[str, tuple[float | None, float]]]] = {}
    for (name, _), found in zip(items, options.map(earned, items), strict=True):
        by_exercise.setdefault(name, []).append(found)
    degrees = Table("degrees, mean", ("exercise", *SKILLS, "best noise", "which"))
    figures = Table("figures, median, and what the table of levels has", ("exercise", *SKILLS))
    for exercise in EXERCISES:
        found = by_exercise[exercise.name]
        means = {who: float(np.mean([one[who][1] for one in found])) for who in found[0]}
        players = [means[skill] for skill in SKILLS]
        noise = max((who for who in means if who not in SKILLS), key=lambda who: means[who])
        rises = all(one < next_one for one, next_one in pairwise(players))
        holds = rises and means[noise] < NOTHING
        degrees.row(exercise.name, *players, means[noise], noise, holds=holds)
        cells = []
        for skill, level in zip(SKILLS, limits(exercise), strict=True):
            own = [one[skill][0] for one in found if one[skill][0] is not None]
            cells.append(f"{np.median(own):.1f} ({level:g})")
        figures.row(exercise.name, *cells)
    yield degrees
    yield figures
    days = Table(
        f"rounds within the mark, in per cent, {MINUTES:g} minutes a day",
        ("player", *(f"day {day + 1}" for day in range(DAYS))),
    )
    people = [(name, seed) for name in SKILLS for seed in range(max(4, options.count // 10))]
    shares: dict[str, list[list[float]]] = {}
    for (name, _), share in zip(people, options.map(success, people), strict=True):
        shares.setdefault(name, []).append(share)
    for name in SKILLS:
        means = [100.0 * float(mean) for mean in np.mean(shares[name], axis=0)]
        days.row(name, *means, holds=80.0 <= means[2] <= 90.0)
    yield days
