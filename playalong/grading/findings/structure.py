"""Causes that break the run as a whole: nothing played, stopped, lost, another tempo by half or
twice, another pattern.

Each is tried: the hits are laid where they would be without it, and who answers whom is asked anew.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from playalong.grading.findings.candidate import Candidate, Floats, Mend
from playalong.grading.findings.certainty import of_share, slope
from playalong.grading.findings.look import Look
from playalong.grading.grade import Code, Spot
from playalong.grading.matching.lag_path import counted_voices, lag_path
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.quantiles import median
from playalong.grading.verdicts import Verdict

#: Where the click answers less than this, other explanations are tried.
_POOR = 0.75

#: A stop is so many strokes and so much of a bar at the end.
_STOP_STROKES, _STOP_BARS = 4, 0.6

#: So many strokes on either side say how far a leap leads; and so much earlier a hit already
#: belongs to what comes after it, in seconds.
_NEAR, _BEFORE_S = 40, 0.05

#: A course lies far beside the click from this part of an eighth on; a stroke is on it within so
#: many ms; and so many strokes more speak for a leap.
_FAR, _ON_CLICK_MS, _STROKES_MORE = 0.6, 60.0, 3

#: Half of the 95 % interval of a difference of medians, in its standard errors of means.
_HALF = 1.96 * 1.2533

#: A leap within this of a multiple of an eighth note is a place that was lost, in seconds.
_NEAR_S = 0.03

#: So far half or twice the tempo may lead away, in seconds and as a part of the run.
_REACH_S, _REACH = 0.3, 0.03

#: Another tempo answers at least this share of the strokes, and of the hits.
_ANSWERS = 0.75

#: Another pattern: so little agrees, although hits enough were played, and so many of them
#: elsewhere.
_OTHER, _ENOUGH_HITS, _ELSEWHERE = 0.85, 0.4, 0.1


def structure(look: Look) -> Iterator[Candidate]:
    """All causes of this family; alone where nothing was played."""
    if not _hits(look.run):
        yield Candidate(code=Code.NOTHING_PLAYED, mend=Mend(), points=np.inf, beside=100.0)
        return
    yield from stopped(look)
    yield from leaps(look)
    yield from other_tempo(look)
    yield from other_pattern(look)


def _spot(look: Look, at_s: float) -> Spot:
    """Where in the run a second lies: the bar, and the beat before it."""
    bar = int(np.searchsorted(look.targets.bar_starts_s, at_s + 1e-6, side="right")) - 1
    bar = max(bar, 0)
    meter = look.layout.meters[bar % len(look.layout.meters)]
    into = (at_s - float(look.targets.bar_starts_s[bar])) / look.targets.seconds_per_whole
    beat = max(
        (n for n, start in enumerate(meter.beat_starts) if float(start) <= into + 1e-6), default=0
    )
    return Spot(bar + 1, str(beat + 1))


def stopped(look: Look) -> Iterator[Candidate]:
    """Nothing more after some bar."""
    targets, run = look.targets, look.run
    if targets.followed or not len(run.hits):
        return
    written = counted_voices(targets, run.hits)
    known = np.isin(written, targets.voice)
    if not known.any():
        return
    last_s = float(run.hits.time_s[known].max())
    after = (targets.time_s > last_s + run.rules.capture_ms / 1000.0) & ~targets.optional
    bar_s = (targets.end_s - targets.start_s) / targets.bars
    first_s = float(targets.time_s[after].min()) if after.any() else targets.end_s
    if after.sum() < _STOP_STROKES or targets.end_s - first_s < _STOP_BARS * bar_s:
        return
    until = targets.until(first_s - 1e-6)
    if len(until) < _STOP_STROKES:
        return
    yield Candidate(
        code=Code.STOPPED,
        mend=Mend(targets=until),
        points=np.inf,
        beside=0.0,
        places=(_spot(look, first_s),),
        n=int(after.sum()),
        of=int((~targets.optional).sum()),
        value=(first_s - targets.start_s) / bar_s,
        unit="bars",
        # Somewhere between the last stroke that was heard and the first that was not.
        low=min(max(last_s - targets.start_s, 0.0), first_s - targets.start_s) / bar_s,
        high=(first_s - targets.start_s) / bar_s,
    )


def leaps(look: Look) -> Iterator[Candidate]:
    """A place that was lost, or a stop after which it went on."""
    meant = look.meant
    if not meant.leaps:
        yield from _early_leap(look)
        return
    time_s = look.run.hits.time_s
    later_s, spots, leapt = np.zeros(len(time_s)), [], []
    for number in range(1, meant.leaps + 1):
        before, after = meant.stretch == number - 1, meant.stretch == number
        if before.sum() < 3 or after.sum() < 3:
            continue
        off_before, off_after = meant.off_s[before][-_NEAR:], meant.off_s[after][:_NEAR]
        later = median(off_after)
        by_s = later - median(off_before)
        at_s = float(meant.written_s[after][0])
        later_s[time_s > at_s + later - _BEFORE_S] -= by_s
        spots.append(_spot(look, at_s))
        unsure = off_before.var() / len(off_before) + off_after.var() / len(off_after)
        leapt.append((by_s, _HALF * float(np.sqrt(unsure))))
    if leapt:
        yield _leapt(look, later_s, spots=spots, leapt=leapt)


def _early_leap(look: Look) -> Iterator[Candidate]:
    """A place that was lost so soon that the course seems to lie beside the click from the start:
    where a groove resembles itself, the bars before the leap fit almost as well.
    """
    off_s = look.meant.off_s
    eighth_s = look.targets.seconds_per_whole / 8.0
    if look.course is None or not len(off_s) or abs(median(off_s)) < _FAR * eighth_s:
        return
    by_s = median(off_s)
    more = np.zeros(len(look.targets))
    more[look.run.target[np.abs(look.run.error_ms) < _ON_CLICK_MS]] += 1.0
    there = np.abs(off_s - by_s) < _ON_CLICK_MS / 1000.0
    if not there.any():  # the median lies between two groups of strokes
        return
    more[look.course.run.target[there]] -= 1.0
    gained = np.cumsum(more)
    last = int(gained.argmax())
    if gained[last] < _STROKES_MORE or last + 1 >= len(gained):
        return
    at_s = float(look.targets.time_s[last + 1])
    later_s = np.where(look.run.hits.time_s > at_s + by_s - _BEFORE_S, -by_s, 0.0)
    half = _HALF * float(off_s[there].std()) / np.sqrt(min(len(off_s), _NEAR))
    yield _leapt(look, later_s, spots=[_spot(look, at_s)], leapt=[(by_s, half)])


def _leapt(
    look: Look, later_s: Floats, *, spots: list[Spot], leapt: list[tuple[float, float]]
) -> Candidate:
    """``leapt``: how far, and half of its interval, in seconds, at each of ``spots``."""
    most, half = max(leapt, key=lambda each: abs(each[0]))
    eighth_s = look.targets.seconds_per_whole / 8.0
    eighths = round(most / eighth_s)
    lost = most < 0 or (eighths != 0 and abs(most - eighths * eighth_s) <= _NEAR_S)
    return Candidate(
        code=Code.LOST_PLACE if lost else Code.HESITATED,
        mend=Mend(later_s=later_s, anew=True),
        points=np.inf,
        beside=0.0,
        places=tuple(spots),
        n=len(leapt),
        of=len(leapt),
        value=most,
        unit="s",
        low=most - half,
        high=most + half,
    )


def other_tempo(look: Look) -> Iterator[Candidate]:
    """Half or twice the tempo."""
    run, targets = look.run, look.targets
    agrees = max(
        _agrees(look.run, look.expected),
        _agrees(look.course.run, look.expected) if look.course else 0.0,
    )
    if agrees > _POOR:
        return
    for ratio, code in ((0.5, Code.HALF_TEMPO), (2.0, Code.DOUBLE_TEMPO)):
        end_s = targets.end_s - targets.start_s
        held = targets.until(targets.start_s + end_s * ratio) if ratio < 1.0 else targets
        path = lag_path(
            held,
            run.hits,
            ratio=ratio,
            start_s=targets.start_s * (1 - 1 / ratio),
            reach_s=_REACH_S + _REACH * end_s,
        )
        moved = held.time_s / ratio + path.lags_s(held.time_s)
        until_s = float(moved[-1]) + 0.1 if len(moved) else 0.0
        laid = replace(
            held,
            time_s=moved,
            bar_starts_s=held.bar_starts_s / ratio,
            end_s=held.end_s / ratio,
            seconds_per_whole=held.seconds_per_whole / ratio,
        )
        tried = MatchedRun.of(laid, run.hits, run.rules)
        expected = int((~held.optional).sum())
        within = run.hits.time_s <= until_s
        hits = int(np.isin(counted_voices(targets, run.hits)[within], targets.voice).sum())
        if 2.0 * len(tried.target) / max(expected + hits, 1) < max(_ANSWERS, agrees + 0.15):
            continue
        if len(tried.target) < _STOP_STROKES:
            continue
        slower = slope(held.time_s[tried.target], run.hits.time_s[tried.hit])
        written_bpm = 60.0 / (targets.seconds_per_whole * float(look.layout.meters[0].unit))
        yield Candidate(
            code=code,
            mend=Mend(targets=laid),
            points=np.inf,
            beside=0.0,
            n=len(tried.target),
            of=expected,
            value=written_bpm / slower.value,
            unit="bpm",
            low=written_bpm / slower.high,
            high=written_bpm / slower.low,
        )


def _hits(run: MatchedRun) -> int:
    by_verdict = run.by_verdict
    return len(run.target) + len(by_verdict[Verdict.EXTRA]) + len(by_verdict[Verdict.WRONG_DRUM])


def _agrees(run: MatchedRun, expected: int) -> float:
    """How far hits and strokes agree, 0 to 1: twice the answers, of both."""
    return 2.0 * len(run.target) / max(expected + _hits(run), 1)


def other_pattern(look: Look) -> Iterator[Candidate]:
    """Something else was played: as many strokes, elsewhere, again and again."""
    meant = look.course.run if look.course else look.run
    both, hits = _agrees(meant, look.expected), _hits(meant)
    elsewhere = hits - len(meant.target)
    if hits < _ENOUGH_HITS * look.expected or elsewhere < _ELSEWHERE * hits or both > _OTHER:
        return
    if len(meant.target) >= look.expected:  # all is there, and something else besides
        return
    share = of_share(2 * len(meant.target), look.expected + hits)
    yield Candidate(
        code=Code.OTHER_PATTERN,
        mend=Mend(),
        points=0.0,
        beside=0.0,
        n=len(meant.target),
        of=look.expected,
        value=100.0 * both,
        unit="%",
        low=100.0 * share.low,
        high=100.0 * share.high,
    )
