"""The figures of the warm-up: one of each exercise, over some bars of a run.

All but the last three are of answered strokes. Errors are in milliseconds, each less the player's
mean over these bars, so that a latency that was never measured warms nobody and cools nobody.

* ``spread``: standard deviation of the errors.
* ``step``: standard deviation of the change of the error from one stroke to the next, where they
  are written at most an eighth note apart: how alike the steps are from hand to hand.
* ``together``: root mean square of the time between two voices that are written at one instant.
* ``width of flams``: standard deviation of the time from grace stroke to main stroke.
* ``time carried``: root mean square, over bars without click, of how far the bar's mean error went
  from that of the bars with it.
* ``entries``: root mean square error of the first strokes after half a bar of rest or more.
* ``changes``: root mean square error in the first beat of each bar, where its parts change.

Loudness needs no measured kit: a kit's curve stretches all levels on one voice, and a share of two
distances stays. So these are in per cent, less is better, and 100 is no difference:

* ``evenness``: standard deviation of the level of plain strokes, of the way from their median to
  that of the accents.
* ``stairs``: of all pairs of a stroke that is written softer and one that is written louder, how
  many were not played so. Half of them is chance, and 100.
* ``softness``: the median level of the strokes that are no ghost notes of that of the ghost notes,
  both below full force; ``softness over the kick`` of those that fall together with a kick.
* ``what was not played back``: missed, extra and wrong strokes, and half of what was early or late,
  of those asked.

A figure is None where there are too few strokes to have it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.matching.windows import half_ns
from playalong.grading.verdicts import Verdict
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS
from playalong.pattern.voices import STAFF_ORDER
from playalong.practice.warm_up.exercises import Exercise, Measure

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Fewer strokes than this have no spread.
_FEW = 3

#: Neighbouring strokes up to this far apart make a step, in whole notes.
_STEP = 1.0 / 8.0 + 1e-9

#: A rest that is followed by an entry, in whole notes.
_REST = 1.0 / 2.0 - 1e-9

_GHOST, _NORMAL, _ACCENT = (DYNAMICS.index(dynamic) for dynamic in Dynamic)
_KICK = STAFF_ORDER["kick"]


@dataclass(frozen=True)
class Passage:
    """Some bars of a run: from bar ``first`` up to bar ``end`` (0 is the first bar of the run)."""

    run: MatchedRun
    first: int
    end: int

    @property
    def rows(self) -> Ints:
        """The answered strokes of these bars, in order of time."""
        bar = self.run.targets.bar[self.run.target]
        return np.flatnonzero((bar >= self.first) & (bar < self.end))

    @property
    def expected(self) -> int:
        """How many strokes these bars ask for."""
        bar = self.run.targets.bar
        return int(((bar >= self.first) & (bar < self.end)).sum())

    @property
    def beside(self) -> int:
        """How many hits answered nothing, or were on a wrong drum."""
        run = self.run
        rows = np.concatenate([run.by_verdict[Verdict.EXTRA], run.by_verdict[Verdict.WRONG_DRUM]])
        at_s = run.hits.time_s[run.verdicts.hit[rows]]
        return int(((at_s >= self._starts_s(self.first)) & (at_s < self._starts_s(self.end))).sum())

    def _starts_s(self, bar: int) -> float:
        starts_s = self.run.targets.bar_starts_s
        if bar <= 0:
            return -np.inf
        return float(starts_s[bar]) if bar < len(starts_s) else np.inf

    @property
    def error_ms(self) -> Floats:
        """The errors of ``rows``, less their mean."""
        errors = self.run.error_ms[self.rows]
        return errors - errors.mean() if len(errors) else errors

    @property
    def written(self) -> Floats:
        """Where ``rows`` are written, in whole notes from the start of the run."""
        return self.run.targets.written[self.run.target[self.rows]]

    @property
    def level_db(self) -> Floats:
        """The levels of ``rows``."""
        return self.run.level_db[self.rows]

    @property
    def dynamic(self) -> NDArray[np.int8]:
        """The dynamics that ``rows`` are written with."""
        return self.run.dynamic[self.rows]


def figure(passage: Passage, exercise: Exercise) -> float | None:
    """The figure by which ``exercise`` is warmed, over these bars; less is better."""
    if exercise.measure is Measure.CARRIED:
        return _carried(passage, exercise.silent)
    return _FIGURES[exercise.measure](passage)


def scatter_db(passage: Passage) -> float | None:
    """The standard deviation of the level of plain strokes, in decibel."""
    return _sd(passage.level_db[passage.dynamic == _NORMAL])


def _spread(passage: Passage) -> float | None:
    return _sd(passage.error_ms)


def _step(passage: Passage) -> float | None:
    near = np.diff(passage.written) <= _STEP
    return _sd(np.diff(passage.error_ms)[near])


def _together(passage: Passage) -> float | None:
    _, number, count = np.unique(
        passage.run.instant[passage.rows], return_inverse=True, return_counts=True
    )
    errors = passage.error_ms
    pairs = np.flatnonzero(count == 2)
    order = np.argsort(number, kind="stable")
    first = np.searchsorted(number[order], pairs)
    return _rms(errors[order[first + 1]] - errors[order[first]]) if len(pairs) else None


def _flam_width(passage: Passage) -> float | None:
    graced = passage.run.graced
    here = np.isin(graced.row, passage.rows) & ~np.isnan(graced.apart_ms)
    return _sd(graced.apart_ms[here])


def _carried(passage: Passage, silent: int) -> float | None:
    run = passage.run
    bar = run.targets.bar[run.target]
    strays = []
    for first in range(passage.first, passage.end, 2 * silent):
        with_click = run.error_ms[(bar >= first) & (bar < first + silent)]
        if not len(with_click):
            continue
        for alone in range(first + silent, min(first + 2 * silent, passage.end)):
            errors = run.error_ms[bar == alone]
            if len(errors):
                strays.append(float(errors.mean() - with_click.mean()))
    return _rms(np.array(strays)) if strays else None


def _entries(passage: Passage) -> float | None:
    written = passage.written
    enters = np.flatnonzero(np.diff(written) >= _REST) + 1
    return _rms(passage.error_ms[enters]) if len(enters) else None


def _changes(passage: Passage) -> float | None:
    run = passage.run
    target = run.target[passage.rows]
    starts = run.targets.bar_starts_s[run.targets.bar[target]]
    beat_s = run.targets.seconds_per_whole / 4.0
    first = run.targets.time_s[target] < starts + beat_s - 1e-9
    first &= run.targets.bar[target] > passage.first
    return _rms(passage.error_ms[first]) if first.sum() >= _FEW else None


def _evenness(passage: Passage) -> float | None:
    plain = passage.level_db[passage.dynamic == _NORMAL]
    accents = passage.level_db[passage.dynamic == _ACCENT]
    scatter = _sd(plain)
    if scatter is None or not len(accents):
        return None
    way = float(np.median(accents) - np.median(plain))
    return 100.0 * scatter / way if way > 0.01 * scatter else 10_000.0


def _stairs(passage: Passage) -> float | None:
    dynamic, level = passage.dynamic, passage.level_db
    kinds = [level[dynamic == kind] for kind in (_GHOST, _NORMAL, _ACCENT)]
    kinds = [levels for levels in kinds if len(levels)]
    if len(kinds) < 2:
        return None
    wrong, pairs = 0.0, 0
    for number, softer in enumerate(kinds):
        for louder in kinds[number + 1 :]:
            apart = louder[:, None] - softer
            wrong += float((apart < 0.0).sum()) + 0.5 * float((apart == 0.0).sum())
            pairs += apart.size
    return min(200.0 * wrong / pairs, 100.0)


def _softness(passage: Passage) -> float | None:
    return _soft(passage, np.ones(len(passage.rows), np.bool_))


def _soft_over_kick(passage: Passage) -> float | None:
    instant = passage.run.instant[passage.rows]
    kick = passage.run.voice[passage.rows] == _KICK
    return _soft(passage, np.isin(instant, instant[kick]))


def _soft(passage: Passage, there: NDArray[np.bool_]) -> float | None:
    ghost, voice = passage.dynamic == _GHOST, passage.run.voice[passage.rows]
    soft = passage.level_db[ghost & there]
    others = passage.level_db[~ghost & np.isin(voice, voice[ghost])]
    if len(soft) < _FEW or not len(others):
        return None
    below_db = float(np.median(soft))
    return 100.0 * min(float(np.median(others)) / below_db, 1.0) if below_db < 0.0 else 100.0


def _recalled(passage: Passage) -> float | None:
    expected = passage.expected
    if not expected:
        return None
    errors = half_ns(np.abs(passage.run.error_ms[passage.rows]) / 1000.0)
    off = int((errors > passage.run.tolerance[passage.run.target[passage.rows]]).sum())
    return 100.0 * (expected - len(passage.rows) + passage.beside + 0.5 * off) / expected


def _sd(values: Floats) -> float | None:
    return float(values.std()) if len(values) >= _FEW else None


def _rms(values: Floats) -> float:
    return sqrt(float(np.mean(values * values)))


_FIGURES: Mapping[Measure, Callable[[Passage], float | None]] = {
    Measure.SPREAD: _spread,
    Measure.STEP: _step,
    Measure.EVENNESS: _evenness,
    Measure.STAIRS: _stairs,
    Measure.SOFTNESS: _softness,
    Measure.SOFT_OVER_KICK: _soft_over_kick,
    Measure.TOGETHER: _together,
    Measure.FLAM_WIDTH: _flam_width,
    Measure.ENTRIES: _entries,
    Measure.CHANGES: _changes,
    Measure.RECALLED: _recalled,
}
