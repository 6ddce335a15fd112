"""What a grade says, as codes: the findings in their order."""

import re
from typing import Any

from playalong.grading.grade import Grade
from playalong.grading.grade_run import grade
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets

#: Until findings are there: the one that an advice speaks of.
_SPOKEN = (
    (r"^No hit answers", "nothing_played"),
    (r"speeding up", "speeding_up"),
    (r"slowing down", "slowing_down"),
    (r"too many on", "extra"),
    (r"lands? on another drum", "wrong_drum"),
    (r"strokes of the .* are missed", "missed_voice"),
    (r"is missed", "missed_stroke"),
    (r"rushes", "limb_early"),
    (r"drags", "limb_late"),
    (r"comes .* early", "stroke_early"),
    (r"comes .* late", "stroke_late"),
    (r"ghost note.* too loud", "ghost_loud"),
    (r"ghost note.* too soft", "ghost_soft"),
    (r"accent.* too soft", "accent_flat"),
    (r"too loud", "stroke_loud"),
    (r"too soft", "stroke_soft"),
    (r"lacks? its grace|grace strokes .* missing", "grace_missing"),
    (r"gets .* louder with", "ghost_loud_over_kick"),
    (r"softer under", "kick_soft_under_ghost"),
    (r"^All clean", "clean"),
)


def findings(grade: Grade) -> list[Any]:
    """All findings, the first being the advice."""
    return list(getattr(grade, "findings", ()))


def codes(grade: Grade) -> list[str]:
    """Their codes."""
    found = findings(grade)
    if found:
        return [str(finding.code) for finding in found]
    return [next((code for words, code in _SPOKEN if re.search(words, grade.advice)), "?")]


def trend(grade: Grade) -> str:
    """The trend that is told, "" for none."""
    told = grade.steadiness.trend
    return "" if told in (None, "steady", "unknown") else str(told)


def graded(pattern: Pattern, targets: Targets, hits: Hits, *, rules: Rules | None = None) -> Grade:
    """The grade on the click, at the default settings unless others are given."""
    tempo_bpm = targets.tempo_bpm(pattern.meter)
    return grade(pattern, tempo_bpm, targets=targets, hits=hits, rules=rules or Rules())[0]
