"""All measures of one run: from targets and hits to the grade.

Live play, grading a file, and grading a kept take again all end here.
"""

from playalong.grading.findings.find import findings
from playalong.grading.graces import ORNAMENTS, Ornament
from playalong.grading.grade import Counts, Grade, JudgedHit
from playalong.grading.loudness import LOUDNESSES, Loudness
from playalong.grading.matching.course import Course
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.by_position import places, swing
from playalong.grading.measures.dynamics import dynamics
from playalong.grading.measures.ornaments import graces
from playalong.grading.measures.score import Credits, score
from playalong.grading.measures.steadiness import Strokes, steadiness
from playalong.grading.measures.timing import timing
from playalong.grading.measures.unison import unison
from playalong.grading.verdicts import HI_HATS, MATCHED, HiHat, Rules, Verdict
from playalong.midi.hits import Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.pattern.voices import folded

_HI_HATS = (HiHat.NOT_OPEN, HiHat.NOT_CLOSED)
_ORNAMENTS = (
    Ornament.FLAT,
    Ornament.WIDE,
    Ornament.OPEN,
    Ornament.GRACE_LOUD,
    Ornament.GRACE_MISSING,
)


def grade(
    pattern: Pattern,
    tempo_bpm: float,
    targets: Targets,
    hits: Hits,
    rules: Rules,
) -> tuple[Grade, MatchedRun]:
    """The grade of ``hits`` against ``targets``, and the matched run behind it."""
    run = MatchedRun.of(targets, hits, rules)
    meters = tuple(bar.meter for bar in pattern.bars)
    course = Course.of(run)
    steady = steadiness(Strokes.of(run, course), tempo_bpm)
    credits = Credits.of(run)
    scored = score(run, credits)
    found = findings(pattern, run, course, scored.total)
    return (
        Grade(
            pattern.name,
            tempo_bpm,
            targets.bars,
            rules.level,
            counts(run),
            timing(run),
            steady,
            dynamics(run),
            unison(run),
            swing(run, meters, pattern.swing),
            graces(run),
            scored,
            found,
            found[0].text,
            places(run, meters),
        ),
        run,
    )


def counts(run: MatchedRun) -> Counts:
    """How many of each verdict."""
    n = {verdict: len(run.told[verdict]) for verdict in Verdict}
    fit = run.verdicts.loudness[run.answered]
    matched = sum(n[verdict] for verdict in MATCHED)
    return Counts(
        matched + n[Verdict.MISSED] + n[Verdict.WRONG_DRUM],
        matched,
        n[Verdict.ON_TIME],
        n[Verdict.EARLY],
        n[Verdict.LATE],
        n[Verdict.MISSED],
        n[Verdict.EXTRA],
        n[Verdict.WRONG_DRUM],
        int((fit == LOUDNESSES.index(Loudness.TOO_LOUD)).sum()),
        int((fit == LOUDNESSES.index(Loudness.TOO_SOFT)).sum()),
        *(int((run.hi_hat == HI_HATS.index(kind)).sum()) for kind in _HI_HATS),
        *(int((run.graced.ornament == ORNAMENTS.index(kind)).sum()) for kind in _ORNAMENTS),
    )


def judged_hits(run: MatchedRun) -> list[JudgedHit]:
    """Every hit of a run, in order, and what became of it."""
    told = {word.hit: word for word in run.verdicts.words() if word.hit is not None}
    found = []
    for number in range(len(run.hits)):
        hit, word = run.hits[number], told.get(number)
        found.append(
            JudgedHit(
                hit.time_s,
                folded(hit.voice, run.targets.voices),
                hit.velocity,
                word.target if word else None,
                word.error_ms if word else None,
                word.verdict if word else None,
                word.loudness if word else None,
                bool(word and word.grace),
                word.hi_hat if word else None,
                word.ornament if word else None,
            )
        )
    return found
