"""The player's own course through a run on the click, where it leaves the click's windows.

A tempo that creeps, or a place that was lost, takes a player out of the capture windows; what the
windows then hold is chance. The grade stays with the click, but what is said of the tempo, and of
where the player went, needs the strokes that were meant: those that answer when the targets are
laid along the player's course (see ``tempo_following``).
"""

from dataclasses import dataclass

import numpy as np

from playalong.grading.matching.lag_path import LagPath, lag_path
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.matching.tempo_following import along
from playalong.grading.verdicts import Verdict

#: The click may be left where less than this part of the targets is answered, or so many hits are
#: extra, or in two bars together less than this part is.
ANSWERED, EXTRA, BARS_ANSWERED = 0.95, 0.05, 0.75

#: The course is taken where it answers this part of the targets more, and so many.
MORE, STROKES_MORE = 0.015, 4

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
        targets, matched = run.targets, len(run.target)
        if targets.followed or not len(run.hits) or not len(targets) or not _leaves(run):
            return None
        reach_s = _REACH_S + _REACH * targets.end_s
        path = lag_path(targets, run.hits, reach_s=reach_s, leaps=True)
        followed = MatchedRun.of(along(targets, run.hits, path), run.hits, run.rules)
        more = len(followed.target) - matched
        return cls(path, followed) if more >= max(STROKES_MORE, MORE * len(targets)) else None


def _leaves(run: MatchedRun) -> bool:
    """Whether the player may have left the click."""
    targets = run.targets
    missed = run.verdicts.target[run.by_verdict[Verdict.MISSED]]
    gone = np.append(missed, run.verdicts.target[run.by_verdict[Verdict.WRONG_DRUM]])
    expected = len(run.target) + len(gone)
    extra = len(run.by_verdict[Verdict.EXTRA])
    if len(gone) > (1.0 - ANSWERED) * expected or extra > EXTRA * expected:
        return True
    in_bar = np.bincount(targets.bar[run.target], minlength=targets.bars)
    lost = np.bincount(targets.bar[gone], minlength=targets.bars)
    two, lost_two = in_bar[1:] + in_bar[:-1], lost[1:] + lost[:-1]
    return bool((lost_two > (1.0 - BARS_ANSWERED) * (two + lost_two)).any())
