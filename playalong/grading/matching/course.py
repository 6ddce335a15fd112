"""The player's own course through a run on the click, where it leaves the click's windows.

A tempo that creeps, or a place that was lost, takes a player out of the capture windows; what the
windows then hold is chance. The grade stays with the click, but what is said of the tempo, and of
where the player went, needs the strokes that were meant: those that answer when the targets are
laid along the player's course (see ``tempo_following``).
"""

from dataclasses import dataclass

from playalong.grading.matching.lag_path import LagPath, lag_path
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.matching.tempo_following import along
from playalong.grading.verdicts import Verdict

#: The click is left where less than this part of the targets is answered, or so many hits are
#: extra; and the course is taken where it answers this part of the targets more.
ANSWERED, EXTRA, MORE = 0.95, 0.05, 0.05

#: How far a course may lead away: this many seconds, and this part of the run.
_REACH_S, _REACH = 1.5, 0.06


@dataclass(frozen=True)
class Course:
    """A player's path, and the hits matched with the targets laid along it."""

    path: LagPath
    run: MatchedRun

    @classmethod
    def of(cls, run: MatchedRun) -> "Course | None":
        """The course of a run on the click; None where it says no more than the click does."""
        targets, asked = run.targets, len(run.targets)
        matched, extra = len(run.target), len(run.told[Verdict.EXTRA])
        if targets.followed or (matched >= ANSWERED * asked and extra <= EXTRA * asked):
            return None
        if not len(run.hits) or not asked:
            return None
        reach_s = _REACH_S + _REACH * targets.end_s
        path = lag_path(targets, run.hits, reach_s=reach_s, leaps=True)
        followed = MatchedRun.of(along(targets, run.hits, path), run.hits, run.rules)
        return cls(path, followed) if len(followed.target) >= matched + MORE * asked else None
