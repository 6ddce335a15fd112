"""Findings: the causes behind a grade, the one that mending would win most first.

Each family of causes proposes candidates with an estimate of what mending them is worth: points of
the score, and beside these what is heard though it costs little. The best few are mended, each
alone, and judged again; the one that wins most is told, and the search goes on in the run without
it. So one offset of everything is one finding, and what it explained is gone.
"""

from collections.abc import Collection, Iterator
from dataclasses import replace

import numpy as np

from playalong.grading.findings.candidate import Candidate, Mend
from playalong.grading.findings.certainty import interval
from playalong.grading.findings.dynamics import loudness
from playalong.grading.findings.look import Layout, Look
from playalong.grading.findings.missing import missing
from playalong.grading.findings.offsets import HOME_MS, offsets, timing_loss
from playalong.grading.findings.ornaments import ornaments
from playalong.grading.findings.rolls import rolls
from playalong.grading.findings.structure import structure
from playalong.grading.findings.text import sentence
from playalong.grading.findings.whole_kit import whole
from playalong.grading.grade import Code, Finding, Steadiness
from playalong.grading.matching.course import Course
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.score import score
from playalong.grading.verdicts import Verdict
from playalong.pattern.model import Pattern

#: How many are told at most, the first and the next two, and what one must be worth in points.
MOST, WORTH = 3, 0.12

#: How many candidates are mended besides those that can only be weighed so: their ``points`` are
#: infinite, and what they are worth beside the points is what is lost smoothly.
_MENDED = 2

#: Another pattern is told where no other cause explains this share of what is lost.
_EXPLAINS = 0.7


def findings(
    pattern: Pattern,
    run: MatchedRun,
    course: Course | None,
    *,
    steady: Steadiness,
    total: float,
) -> tuple[Finding, ...]:
    """What is told of a run of ``pattern``, the first to work on first.

    ``course`` is that of the run (see ``Course.of``), ``steady`` its steadiness along this, and
    ``total`` its score.
    """
    meters = tuple(bar.meter for bar in pattern.bars)
    layout = Layout.of(run.targets, meters, pattern.swing)
    reported: list[Finding] = []
    look = first = Look(run, layout, course, steadiness=steady)
    standing = total
    while True:
        found = _best(look, standing)
        if found is None or not _may_follow(found[0], {each.code for each in reported}):
            break
        candidate, mended, won = found
        alone = won if look is first else _total(candidate.mend.of(run)) - total
        reported.append(_finding(replace(candidate, bars=layout.bars), max(alone, 0.0)))
        if len(reported) == MOST or candidate.code in (Code.NOTHING_PLAYED, Code.OTHER_PATTERN):
            break
        look, standing = Look.at(mended, layout), standing + won
    return tuple(reported) or (_clean(first),)


def _total(run: MatchedRun) -> float:
    return score(run).total


def _lost(run: MatchedRun) -> float:
    """What is lost smoothly, in points: each stroke that is missing or too many, and each by how
    far it is from where drummers are."""
    missed, extra, wrong_drum = (
        len(run.by_verdict[kind]) for kind in (Verdict.MISSED, Verdict.EXTRA, Verdict.WRONG_DRUM)
    )
    expected, other = len(run.target) + missed + wrong_drum, missed + extra + 2 * wrong_drum
    return 100.0 * (float(timing_loss(run.error_ms - HOME_MS).sum()) + other) / max(expected, 1)


def _candidates(look: Look) -> Iterator[Candidate]:
    found = list(structure(look))
    yield from found
    gone = look.expected - len(look.run.target)
    stops = any(each.code is Code.STOPPED and 2 * each.n >= gone for each in found)
    for family in (whole, offsets, missing, loudness, ornaments, rolls):
        if not (stops and family is missing):  # what is missing after a stop is not so by itself
            yield from family(look)


def _may_follow(candidate: Candidate, told: Collection[Code]) -> bool:
    """Whether a cause may be told behind others: what mending a tempo leaves of the time of the
    whole kit is no cause of its own, and a run that had other causes was no other pattern. Where
    that wins most, what is behind it is not to be trusted either."""
    if candidate.code is Code.OTHER_PATTERN:
        return not told
    return candidate.code not in (*_WHOLE_KIT, *_TEMPO) or not set(told) & set(_TEMPO)


def _best(look: Look, standing: float) -> tuple[Candidate, MatchedRun, float] | None:
    """The candidate that wins most, the run without it, and what it wins in points."""
    found = list(_candidates(look))
    whole_run = {each.code: each for each in found if each.code in _ALONE}
    if Code.NOTHING_PLAYED in whole_run:
        return whole_run[Code.NOTHING_PLAYED], look.run, 100.0 - standing
    weighed = sorted(
        (each for each in found if each.code not in _ALONE),
        key=lambda each: -(each.points + each.beside),
    )
    tried = [each for each in weighed if np.isinf(each.points)]
    tried += [each for each in weighed if not np.isinf(each.points)][:_MENDED]
    best, most = None, WORTH
    for candidate in tried:
        mended = candidate.mend.of(look.run)
        won = _total(mended) - standing
        beside = candidate.beside
        if np.isinf(candidate.points):
            beside = max(0.0, _lost(look.run) - _lost(mended))
        if won + beside > most:
            best, most = (candidate, mended, won), won + beside
    other = whole_run.get(Code.OTHER_PATTERN)
    lost = 100.0 - standing
    explained = best and (best[0].code in _TEMPI or best[2] >= _EXPLAINS * lost)
    if other and not explained:
        return other, look.run, lost
    return best


_ALONE = (Code.NOTHING_PLAYED, Code.OTHER_PATTERN)
#: Tempi at which any pattern looks like another one.
_TEMPI = (Code.HALF_TEMPO, Code.DOUBLE_TEMPO)
#: All that is said of a tempo, and of the whole kit beside the click.
_TEMPO = (*_TEMPI, Code.FASTER, Code.SLOWER, Code.SPEEDING_UP, Code.SLOWING_DOWN)
_WHOLE_KIT = (Code.ALL_EARLY, Code.ALL_LATE)


def _finding(candidate: Candidate, gain: float) -> Finding:
    return Finding(
        code=candidate.code,
        voice=candidate.voice,
        limb=candidate.limb,
        places=candidate.places,
        n=candidate.n,
        of=candidate.of,
        value=candidate.value,
        unit=candidate.unit,
        low=candidate.low,
        high=candidate.high,
        gain=gain,
        text=sentence(candidate),
    )


def _clean(look: Look) -> Finding:
    """Nothing stands out: the spread is told."""
    errors = look.less_limb
    spread = float(np.sqrt(np.mean(errors**2))) if len(errors) else None
    low = high = None
    square = interval(look.bar_means(errors**2))  # bars are the witnesses
    if spread is not None and np.isfinite(square.half):
        parts = np.array([max(square.low, 0.0), square.high]) / max(square.value, 1e-12)
        low, high = (spread * np.sqrt(parts)).tolist()
    candidate = Candidate(
        code=Code.CLEAN,
        mend=Mend(),
        points=0.0,
        beside=0.0,
        n=len(errors),
        of=look.expected,
        value=spread,
        unit="ms",
        low=low,
        high=high,
    )
    return _finding(candidate, 0.0)
