"""Score: one number from 0 to 100.

Each target that was asked, and each hit that answers none, has a credit. From them

    total = 100 * played * complete * clean * settled * steady

* ``played``: every voice and dynamic that the pattern asks for is a layer of the groove: hi-hat,
  snare, ghost notes of the snare, kick; open hi-hats are one beside the closed ones. A layer's
  share is the mean credit of its targets, and
  ``played`` = (sum of w * sqrt(share))^2, where w is proportional to n^0.7 of a layer with n
  targets, and adds up to 1. So a fault costs what its stroke is worth, and who leaves out a
  whole layer loses more than who leaves out as many strokes here and there.
* ``complete`` = mean of how far each target was played at all: 1 where its hit is on time or not
  far from it, 0 where it was missed.
* ``clean`` = 0.95 / (1 + 0.4 x + (4 x)^2.2) + 0.05 / (1 + 0.3 x), where x is the sum of what extra
  hits weigh, over the targets asked: a few cost little, and a stream that strikes everything
  wins next to nothing. An
  extra hit weighs 1, one just beyond the window of a missed target of its voice a twentieth for
  each millisecond; a wrong drum is its target missed and its hit extra.
* ``settled`` = 1 less what certain, audible habits cost, see ``habits``.
* ``steady`` = 1 for a run to a click, where drift shows as early and late. Where the grader
  followed the player: 1 less 1/20 for each per cent between the tempo at the start and the end of
  the curved fit, if that trend is more than chance, never below 1/2.

The credit of an answered target is timing * loudness * hi-hat * ornament:

* ``timing`` = (1 - excess / width)^2, 1 within the tolerance, where excess = |error| - tolerance
  and width = the edge of its window - tolerance, at least two fifths of the capture window,
  40 ms. So a millisecond costs at most a twentieth, also over the edge of the window: a missed
  target with an extra hit of its voice
  just beyond keeps the credit that follows. How far it was played at all is twice the root of
  this, and at most 1.
* ``loudness`` = 1 less what ``contrast`` says it loses; ``hi-hat`` = 1/2 where it was not open, or
  not closed, as written; ``ornament`` = 1 less what ``graces`` says.

A missed target and a wrong drum win nothing. So a faultless take has 100, a stroke that is missed,
further off in time or of worse loudness and a hit that answers nothing lower it, and nothing
leads out of 0 to 100. A take with no targets has nothing to grade: its score is 0.

The parts are told as well, each 0 to 100: ``strokes`` = answered of asked, ``timing``,
``loudness``, ``hi_hat`` and ``ornaments`` the means over the answered, ``extras`` = clean,
``habits`` = settled, ``steadiness`` = steady. The figures in the formula are this project's own,
chosen so that faults rank as a teacher would rank them (the tests say how).
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from playalong.grading.grade import Score
from playalong.grading.matching.matched_run import Floats, Ints, MatchedRun
from playalong.grading.matching.windows import HALF_NS_PER_MS, half_ns
from playalong.grading.measures.habits import habits_cost
from playalong.grading.measures.steadiness import STEADY, Strokes, steadiness
from playalong.grading.verdicts import HI_HATS, HiHat, Verdict
from playalong.pattern.targets import DYNAMICS

#: The least width over which the credit for timing falls from 1 to 0, and how far beyond the
#: window of a missed target an extra hit is quite another one; in parts of the capture window.
_WIDTH, _BESIDE = 0.4, 0.2

#: What a stroke on the hi-hat that was not open, or not closed, as written keeps.
_OTHER_HAT = 0.5

_NOT_OPEN, _NOT_CLOSED = (HI_HATS.index(hat) for hat in (HiHat.NOT_OPEN, HiHat.NOT_CLOSED))

#: How the weight of a layer grows with the number of its targets.
_WEIGHT = 0.7
#: What extra hits cost: a first few, more of them; and what is left of next to nothing, and how it
#: shrinks (see the head of this module).
_FIRST, _MORE, _GROWTH = 0.4, 4.0, 2.2
_LEFT, _SHRINKS = 0.05, 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Credits:
    """What each target wins, and what each extra hit weighs.

    Of the k answered targets: ``timing``, ``loudness``, ``hi_hat``, ``ornament``, float64, 0 to 1.
    ``expected`` bool (n,): the targets that count, which optional ones do only where they were
    played. ``target`` float64 (n,): what each of them wins, 0 for those that do not count;
    ``there`` the same, how far it was played at all. ``extra`` float64 (x,): what each extra hit
    weighs, and each wrong drum.
    """

    timing: Floats
    loudness: Floats
    hi_hat: Floats
    ornament: Floats
    expected: NDArray[np.bool_]
    target: Floats
    there: Floats
    extra: Floats

    @classmethod
    def of(cls, run: MatchedRun) -> "Credits":
        """The credits of a run."""
        targets, verdicts = run.targets, run.verdicts
        tolerance_ms = run.tolerance / HALF_NS_PER_MS
        capture_ms, edges_ms = run.rules.capture_ms, run.edges / HALF_NS_PER_MS
        width_ms = np.maximum(edges_ms.min(axis=0) - tolerance_ms, _WIDTH * capture_ms)

        def timing(target: Ints, error_ms: Floats) -> Floats:
            excess = np.maximum(np.abs(error_ms) - tolerance_ms[target], 0.0) / width_ms[target]
            share: Floats = 1.0 - np.minimum(excess, 1.0)
            return share * share

        in_time = timing(run.target, run.error_ms)
        velocity = run.hits.velocity[run.hit]
        loudness = 1.0 - run.borders.losses(run.voice, run.dynamic, velocity)
        hi_hat = np.ones(len(run.target))
        hat = verdicts.hi_hat[run.answered]
        hi_hat[(hat == _NOT_OPEN) | (hat == _NOT_CLOSED)] = _OTHER_HAT
        ornament = np.ones(len(run.target))
        ornament[run.graced.row] -= run.graced.lost

        missed = verdicts.target[run.by_verdict[Verdict.MISSED]]
        expected = np.zeros(len(targets), np.bool_)
        for gone in (run.target, missed, verdicts.target[run.by_verdict[Verdict.WRONG_DRUM]]):
            expected[gone] = True
        won, extra = np.zeros(len(targets)), np.ones(len(run.by_verdict[Verdict.EXTRA]))
        won[run.target] = in_time
        target, row, error_ms = _just_beyond(run, missed)
        won[target] = timing(target, error_ms)
        beyond_ms = np.abs(error_ms) - np.where(error_ms < 0.0, *edges_ms[:, target])
        extra[row] = np.clip(beyond_ms / (_BESIDE * capture_ms), 0.0, 1.0)
        there = np.minimum(2.0 * np.sqrt(won), 1.0)
        won[run.target] *= loudness * hi_hat * ornament
        return cls(
            timing=in_time,
            loudness=loudness,
            hi_hat=hi_hat,
            ornament=ornament,
            expected=expected,
            target=won,
            there=there,
            extra=np.append(extra, np.ones(len(run.by_verdict[Verdict.WRONG_DRUM]))),
        )


def _just_beyond(run: MatchedRun, missed: Ints) -> tuple[Ints, Ints, Floats]:
    """Missed targets, the extra hit of their voice nearest to each, and its error in ms.

    The hits are given by their place among the extra ones; none stands beside two targets.
    """
    extras = run.verdicts.hit[run.by_verdict[Verdict.EXTRA]]
    if not len(missed) or not len(extras):
        none = np.empty(0, np.int64)
        return none, none, none.astype(np.float64)
    # The times of different voices are moved far apart, so that one search does for all.
    apart = np.int64(2**54)
    at = half_ns(run.hits.time_s)[extras] + apart * run.targets.counts_as[run.hits.voice[extras]]
    written = half_ns(run.targets.time_s)[missed] + apart * run.targets.voice[missed]
    order = np.argsort(at, kind="stable")
    after = np.searchsorted(at[order], written)
    sides = order[np.clip(np.stack([after - 1, after]), 0, len(extras) - 1)]
    errors = at[sides] - written
    nearer = np.argmin(np.abs(errors), axis=0)
    columns = np.arange(len(missed))
    row, error = sides[nearer, columns], errors[nearer, columns]
    first = np.lexsort((np.abs(error), row))
    first = first[np.flatnonzero(np.diff(row[first], prepend=-1))]
    return missed[first], row[first], error[first] / HALF_NS_PER_MS


def score(run: MatchedRun, credits: Credits | None = None) -> Score:
    """The score of a run; its ``credits`` may be given where they are known already."""
    credits = credits or Credits.of(run)
    expected = int(credits.expected.sum())
    if not expected:
        return Score(**{part.name: 0.0 for part in fields(Score)})
    layer = run.targets.voice.astype(np.int64) * len(DYNAMICS) + run.targets.dynamic
    layer = 2 * layer + run.targets.is_open
    count = np.bincount(layer, credits.expected)
    won = np.bincount(layer, credits.target)
    there = count > 0
    weight = count[there] ** _WEIGHT
    played = float(np.sum(weight * np.sqrt(won[there] / count[there])) / weight.sum()) ** 2
    complete = float(credits.there.sum()) / expected
    x = float(credits.extra.sum()) / expected
    clean = (1.0 - _LEFT) / (1.0 + _FIRST * x + (_MORE * x) ** _GROWTH)
    clean += _LEFT / (1.0 + _SHRINKS * x)
    settled, steady = 1.0 - habits_cost(run), _steady(run)

    def mean(values: Floats) -> float:
        return 100.0 * float(values.sum()) / max(len(values), 1)

    return Score(
        total=100.0 * played * complete * clean * settled * steady,
        strokes=100.0 * len(run.target) / expected,
        timing=mean(credits.timing),
        loudness=mean(credits.loudness),
        hi_hat=mean(credits.hi_hat),
        ornaments=mean(credits.ornament),
        extras=100.0 * clean,
        habits=100.0 * settled,
        steadiness=100.0 * steady,
    )


def _steady(run: MatchedRun) -> float:
    if not run.targets.followed:
        return 1.0
    quarters_bpm = 240.0 / run.targets.seconds_per_whole
    found = steadiness(Strokes.of(run), quarters_bpm)  # only the share by which it changes counts
    if found.trend == STEADY or not found.first_bpm or not found.last_bpm:
        return 1.0
    change = 100.0 * abs(found.last_bpm / found.first_bpm - 1.0)
    return max(0.5, 1.0 - change / 20.0)
