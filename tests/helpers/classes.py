"""Simulated classes: players of known skill, most of whom have one fault in common.

A player's skill is one number: the lower, the wider the errors, the more strokes are missed and the
louder the ghost notes are. The order of skills is held against the order of scores by Spearman's
rank correlation (scipy.stats.spearmanr). The common fault is put into most of the players: one
stroke of the kick comes late, at one place of the bar.
"""

from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from scipy.stats import spearmanr

from playalong.app.assessment.classes import Fault, groups, read_one
from playalong.app.assessment.tasks import item_task
from playalong.pattern.voices import Limb
from playalong.simulation.human_touch import Touch
from playalong.simulation.skills import SKILLS, Habit, Skill
from tests.helpers.result_changes import file_of, result_of

CLASS = """
title = "A class"
minutes = 30
level = "advanced"
[[item]]
pattern = "late-bus-home"
bars = 8
attempts = 2
counts = "mean"
[[item]]
pattern = "boots-by-the-door"
bars = 8
attempts = 2
counts = "mean"
"""

#: The fault: the second kick of the bar is late, wherever a pattern has it.
COMMON = ("stroke_late", "kick")
_FAULT = Habit(limb=Limb.KICK_FOOT, nth=1, late_ms=48.0)

#: The share of players who have it.
SHARE = 0.75


@dataclass(frozen=True, kw_only=True)
class PlayedClass:
    """What a class came to."""

    rank_correlation: float
    common: Fault | None
    players_with_it: int
    size: int

    @property
    def is_found(self) -> bool:
        """Whether the common fault is the one that was put in, at its place of the bar."""
        fault = self.common
        if fault is None or (fault.code, fault.voice) != COMMON:
            return False
        return PLACES[fault.item] in [count for _, count in fault.places]


def _place_of_fault(item: int) -> str:
    """Where in the bar the fault is put in, as it is spoken."""
    assessment = file_of(CLASS).assessment
    targets = item_task(assessment, assessment.items[item]).targets()
    (place,) = {int(one) for one in targets.place[_FAULT.at(targets)]}
    written = targets.places[place]
    pattern = assessment.pattern_of(assessment.items[item])
    return pattern.bars[written.bar].meter.count(written.stroke.at)


def skill_of(level: float) -> Skill:
    """A player between a beginner (0) and a professional (1), without habits."""
    low, high = SKILLS["beginner"].without_habits(), SKILLS["professional"]

    def between(first: float, last: float) -> float:
        return first + (last - first) * level

    def touch(first: Touch, last: Touch) -> Touch:
        return replace(
            first,
            spread_db=between(first.spread_db, last.spread_db),
            ghost_db=between(first.ghost_db, last.ghost_db),
            ghost_spread_db=between(first.ghost_spread_db, last.ghost_spread_db),
        )

    return replace(
        low,
        error_ms={
            limb: (
                between(low.error_ms[limb][0], high.error_ms[limb][0]),
                between(low.error_ms[limb][1], high.error_ms[limb][1]),
            )
            for limb in low.error_ms
        },
        touch={limb: touch(low.touch[limb], high.touch[limb]) for limb in low.touch},
        toms=touch(low.toms, high.toms) if low.toms and high.toms else None,
        shared_ms=between(low.shared_ms, high.shared_ms),
        varies=0.0,
        miss=between(low.miss, high.miss),
        extra=between(low.extra, high.extra),
        wrong_drum=between(low.wrong_drum, high.wrong_drum),
    )


def played_class(seed: int, size: int) -> PlayedClass:
    """A class of ``size`` players, whose skills lie evenly between the two ends."""
    chance = np.random.default_rng([seed, size])
    levels = chance.permutation(np.linspace(0.0, 1.0, size))
    with_fault = set(chance.permutation(size)[: round(SHARE * size)].tolist())
    with TemporaryDirectory() as made:
        folder = Path(made)
        for number, level in enumerate(levels.tolist()):
            skill = skill_of(level)
            if number in with_fault:
                skill = replace(skill, habits=(_FAULT,))
            result_of(folder, f"{number:02}", skill, seed=1000 * seed + number, text=CLASS)
        read = [read_one(path).result for path in sorted(folder.glob("*.zip"))]
    (group,) = groups([one for one in read if one is not None])
    scores = {int(one.player): one.score for one in group.latest}
    ranks = spearmanr(levels, [scores[number] for number in range(size)])
    common = group.common()
    return PlayedClass(
        rank_correlation=float(ranks.statistic),
        common=common[0].fault if common else None,
        players_with_it=common[0].players if common else 0,
        size=size,
    )


#: Where the fault is, item by item.
PLACES = tuple(_place_of_fault(item) for item in range(2))
