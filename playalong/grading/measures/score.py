"""Score: one number from 0 to 100.

Every target is worth one point; every extra hit adds a point, and every wrong drum a quarter of
one, that cannot be won:

    total = 100 * steady * sum(timing_i * loudness_i * graces_i) / worth
    worth = targets + extras + wrong drums / 4

over the answered targets, where with excess_i = |error_i| - tolerance, in ms,

* ``timing_i``   = 1 where excess_i <= 0, else 1 - (1 + excess_i / (capture - tolerance)) / 2,
  and never below 0: just outside the tolerance half a point, at the edge of the window none;
* ``loudness_i`` = 1 inside the band, else 3/4 less 1/16 for each dB outside, never below 1/4;
* ``graces_i``   = 1 less half the share of its grace strokes that are missing;
* ``steady``     = 1 for a run to a click, where drift shows as early and late. Where the grader
  followed the player: 1 less 1/20 for each per cent between the tempo at the start and the end
  of the curved fit, if that trend is more than chance, never below 1/2.

A missed target and a wrong drum win nothing. So a faultless take has 100, a missed, worse timed or
worse weighted stroke and a hit that answers nothing lower it, and nothing leads out of 0 to 100.

The parts are told apart, each 0 to 100: ``strokes`` = answered / worth; ``timing``
and ``loudness`` the means of timing_i and loudness_i over the answered; ``steadiness`` = steady.
A take with no targets and no extras has nothing to grade: its score is 0.
"""

from dataclasses import dataclass

import numpy as np

from playalong.grading.grade import Score
from playalong.grading.loudness import LOUDNESSES, Loudness, level_db
from playalong.grading.matching.matched_run import Floats, MatchedRun
from playalong.grading.measures.steadiness import STEADY, Strokes, steadiness
from playalong.grading.verdicts import Verdict
from playalong.pattern.targets import DYNAMICS
from playalong.pattern.voices import VOICES


@dataclass(frozen=True, slots=True)
class Credits:
    """What each answered target wins, and how far it is outside its band; arrays of k.

    ``timing``, ``loudness``, ``graces``: float64, 0 to 1, see the head of this module.
    ``excess_db``: float64, positive is too loud, 0 inside the band.
    """

    timing: Floats
    loudness: Floats
    graces: Floats
    excess_db: Floats

    @classmethod
    def of(cls, run: MatchedRun) -> "Credits":
        """The credits of a run."""
        excess_db = _excess_db(run)
        loudness = np.ones(len(run.target))
        outside = np.flatnonzero(excess_db)
        loudness[outside] = np.maximum(0.75 - np.abs(excess_db[outside]) / 16.0, 0.25)
        return cls(_timing(run), loudness, _graces(run), excess_db)


def _timing(run: MatchedRun) -> Floats:
    tolerance, capture = run.rules.tolerance_ms, run.rules.capture_ms
    credit = np.ones(len(run.target))
    excess = np.abs(run.error_ms)
    excess -= tolerance
    late = np.flatnonzero(excess > 0.0)
    beyond = np.minimum(excess[late] / max(capture - tolerance, 1e-9), 1.0)
    credit[late] = (1.0 - beyond) / 2.0
    return credit


def _excess_db(run: MatchedRun) -> Floats:
    excess = np.zeros(len(run.target))
    fit = run.verdicts.loudness[run.answered]
    outside = np.flatnonzero(fit != LOUDNESSES.index(Loudness.RIGHT))
    bands = [[run.rules.bands.of(v.name, d) for d in DYNAMICS] for v in VOICES]
    edges = level_db(
        np.array([[(max(b.low, 1.0), max(b.high, 1.0)) for b in row] for row in bands])
    )
    low, high = edges[run.voice[outside], run.dynamic[outside]].T
    level = run.level_db[outside]
    excess[outside] = np.maximum(level - high, 0.0) + np.minimum(level - low, 0.0)
    return excess


def _graces(run: MatchedRun) -> Floats:
    credit = np.ones(len(run.target))
    asked = run.targets.graces[run.target]
    main = np.flatnonzero(asked)
    if len(main):
        rows = np.flatnonzero(run.verdicts.grace)
        played = np.bincount(run.verdicts.target[rows], minlength=len(run.targets))
        credit[main] -= (asked[main] - played[run.target[main]]) / asked[main] / 2.0
    return credit


def score(run: MatchedRun, credits: Credits | None = None) -> Score:
    """The score of a run; its ``credits`` may be given where they are known already."""
    credits = credits or Credits.of(run)
    wrong = len(run.told[Verdict.WRONG_DRUM])
    others = len(run.told[Verdict.MISSED]) + len(run.told[Verdict.EXTRA])
    worth = len(run.target) + others + 1.25 * wrong
    if not worth:
        return Score(0.0, 0.0, 0.0, 0.0, 0.0)
    steady = _steady(run)
    won = float(np.sum(credits.timing * credits.loudness * credits.graces))
    k = max(len(run.target), 1)
    return Score(
        100.0 * steady * won / worth,
        100.0 * len(run.target) / worth,
        100.0 * float(credits.timing.sum()) / k,
        100.0 * float(credits.loudness.sum()) / k,
        100.0 * steady,
    )


def _steady(run: MatchedRun) -> float:
    if not run.targets.followed:
        return 1.0
    quarters_bpm = 240.0 / run.targets.seconds_per_whole
    kept = steadiness(Strokes.of(run), quarters_bpm)  # only the share by which it changes counts
    if kept.trend == STEADY or not kept.first_bpm or not kept.last_bpm:
        return 1.0
    change = 100.0 * abs(kept.last_bpm / kept.first_bpm - 1.0)
    return max(0.5, 1.0 - change / 20.0)
