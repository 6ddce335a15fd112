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
from playalong.grading.measures.ornaments import graces, rolls
from playalong.grading.measures.score import Credits, score
from playalong.grading.measures.steadiness import Strokes, steadiness
from playalong.grading.measures.timing import timing
from playalong.grading.measures.unison import unison
from playalong.grading.verdicts import HI_HATS, MATCHED, HiHat, Rules, Verdict
from playalong.midi.hits import Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets
from playalong.pattern.voices import folded

# What is counted of hi-hat, grace strokes and rolls, by its field in ``Counts``.
_HI_HATS = {"not_open": HiHat.NOT_OPEN, "not_closed": HiHat.NOT_CLOSED}
_ORNAMENTS = {
    "flam_flat": Ornament.FLAT,
    "flam_wide": Ornament.WIDE,
    "drag_open": Ornament.OPEN,
    "grace_loud": Ornament.GRACE_LOUD,
    "grace_missing": Ornament.GRACE_MISSING,
    "roll_short": Ornament.ROLL_SHORT,
    "roll_long": Ornament.ROLL_LONG,
    "roll_broken": Ornament.ROLL_BROKEN,
    "roll_uneven": Ornament.ROLL_UNEVEN,
}


def grade(
    pattern: Pattern,
    tempo_bpm: float,
    *,
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
    found = findings(pattern, run, course, steady=steady, total=scored.total)
    return (
        Grade(
            pattern=pattern.name,
            tempo_bpm=tempo_bpm,
            bars=targets.bars,
            level=rules.level,
            counts=counts(run),
            timing=timing(run),
            steadiness=steady,
            dynamics=dynamics(run),
            unison=unison(run),
            swing=swing(run, meters, pattern.swing),
            graces=graces(run),
            rolls=rolls(run),
            score=scored,
            findings=found,
            advice=found[0].text,
            places=places(run, meters),
        ),
        run,
    )


def counts(run: MatchedRun) -> Counts:
    """How many of each verdict."""
    n = {verdict: len(run.by_verdict[verdict]) for verdict in Verdict}
    fit = run.verdicts.loudness[run.answered]
    matched = sum(n[verdict] for verdict in MATCHED)
    return Counts(
        targets=matched + n[Verdict.MISSED] + n[Verdict.WRONG_DRUM],
        matched=matched,
        on_time=n[Verdict.ON_TIME],
        early=n[Verdict.EARLY],
        late=n[Verdict.LATE],
        missed=n[Verdict.MISSED],
        extra=n[Verdict.EXTRA],
        wrong_drum=n[Verdict.WRONG_DRUM],
        too_loud=int((fit == LOUDNESSES.index(Loudness.TOO_LOUD)).sum()),
        too_soft=int((fit == LOUDNESSES.index(Loudness.TOO_SOFT)).sum()),
        **{name: int((run.hi_hat == HI_HATS.index(kind)).sum()) for name, kind in _HI_HATS.items()},
        **{
            name: int((run.graced.ornament == ORNAMENTS.index(kind)).sum())
            for name, kind in _ORNAMENTS.items()
        },
    )


def judged_hits(run: MatchedRun) -> list[JudgedHit]:
    """Every hit of a run, in order, and what became of it."""
    event_of = {event.hit: event for event in run.verdicts.events() if event.hit is not None}
    found = []
    for number in range(len(run.hits)):
        hit, event = run.hits[number], event_of.get(number)
        found.append(
            JudgedHit(
                time_s=hit.time_s,
                voice=folded(hit.voice, run.targets.voices),
                velocity=hit.velocity,
                target=event.target if event else None,
                error_ms=event.error_ms if event else None,
                verdict=event.verdict if event else None,
                loudness=event.loudness if event else None,
                grace=bool(event and event.grace),
                hi_hat=event.hi_hat if event else None,
                ornament=event.ornament if event else None,
            )
        )
    return found
