"""What a grade says, as codes: the findings in their order."""

from playalong.grading.grade import Grade
from playalong.grading.grade_run import grade
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets


def codes(grade: Grade) -> list[str]:
    """The codes of all findings, the first being that of the advice."""
    return [str(finding.code) for finding in grade.findings]


def trend(grade: Grade) -> str:
    """The trend that is told, "" for none."""
    told = grade.steadiness.trend
    return "" if told in (None, "steady", "unknown") else str(told)


def graded(pattern: Pattern, targets: Targets, hits: Hits, *, rules: Rules | None = None) -> Grade:
    """The grade on the click, at the default settings unless others are given."""
    tempo_bpm = targets.tempo_bpm(pattern.meter)
    return grade(pattern, tempo_bpm, targets=targets, hits=hits, rules=rules or Rules())[0]
