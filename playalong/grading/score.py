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

import numpy as np

from playalong.grading.grade import Score, Steadiness
from playalong.grading.loudness import level_db
from playalong.grading.run import Floats, Run
from playalong.grading.steadiness import STEADY
from playalong.grading.verdicts import Verdict
from playalong.pattern.kit import VOICES
from playalong.pattern.targets import DYNAMICS


def timing_credit(run: Run) -> Floats:
    """(k,) ``timing_i`` of the answered targets."""
    tolerance, capture = run.rules.tolerance_ms, run.rules.capture_ms
    excess = np.abs(run.error_ms) - tolerance
    beyond = np.clip(excess / max(capture - tolerance, 1e-9), 0.0, 1.0)
    return np.where(excess <= 0.0, 1.0, (1.0 - beyond) / 2.0)


def loudness_excess_db(run: Run) -> Floats:
    """(k,) how far outside its band each answer lies, in dB: positive is too loud."""
    bands = [[run.rules.bands.of(v.name, d) for d in DYNAMICS] for v in VOICES]
    low = level_db(np.array([[max(band.low, 1.0) for band in row] for row in bands]))
    high = level_db(np.array([[max(band.high, 1.0) for band in row] for row in bands]))
    place = run.voice, run.dynamic
    return np.maximum(run.level_db - high[place], 0.0) + np.minimum(run.level_db - low[place], 0.0)


def loudness_credit(run: Run) -> Floats:
    """(k,) ``loudness_i`` of the answered targets."""
    excess = np.abs(loudness_excess_db(run))
    return np.where(excess == 0.0, 1.0, np.maximum(0.75 - excess / 16.0, 0.25))


def grace_credit(run: Run) -> Floats:
    """(k,) ``graces_i`` of the answered targets."""
    asked = run.targets.graces[run.target]
    if not asked.any():
        return np.ones(len(asked))
    rows = np.flatnonzero(run.verdicts.grace)
    played = np.bincount(run.verdicts.target[rows], minlength=len(run.targets))[run.target]
    return 1.0 - (asked - played) / np.maximum(asked, 1) / 2.0


def score(run: Run, steadiness: Steadiness, followed: bool) -> Score:
    """The score of a run; ``followed`` where the targets went along with the player."""
    wrong = len(run.rows(Verdict.WRONG_DRUM))
    others = len(run.rows(Verdict.MISSED, Verdict.EXTRA))
    worth = len(run.target) + others + 1.25 * wrong
    if not worth:
        return Score(0.0, 0.0, 0.0, 0.0, 0.0)
    steady = 1.0
    if followed and steadiness.trend != STEADY and steadiness.first_bpm and steadiness.last_bpm:
        change = 100.0 * abs(steadiness.last_bpm / steadiness.first_bpm - 1.0)
        steady = max(0.5, 1.0 - change / 20.0)
    on_time, loud = timing_credit(run), loudness_credit(run)
    won = float(np.sum(on_time * loud * grace_credit(run)))
    k = max(len(run.target), 1)
    return Score(
        100.0 * steady * won / worth,
        100.0 * len(run.target) / worth,
        100.0 * float(on_time.sum()) / k,
        100.0 * float(loud.sum()) / k,
        100.0 * steady,
    )
