"""What an attempt is worth, which attempt counts, and the mark of an item.

A figure has the best of its marks that it reaches, and the teacher's word for "not yet" where it
reaches none, or where the grade has no such figure. A finding that must not occur is reached where
it does not. The mark of an item is "not yet" where anything asked is not reached; else that of the
first figure with marks of the teacher's own; else "reached". An item of which nothing is asked has
none.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Any

from playalong.practice.assessment.measures import MEASURES, Plain
from playalong.practice.assessment.model import Assessment, Counts, Item, Requirement


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What one asked figure came to.

    ``criterion`` is the measure's name, or the code of a finding that must not occur; ``value`` its
    figure, None where there is none (of a finding the share of attempts in which it occurs).
    ``rank`` is 0 where it is not reached, and rises with the mark. ``is_own``: the mark is one of
    several of the teacher's own.
    """

    criterion: str
    value: float | None
    mark: str
    rank: int
    is_own: bool = False

    def as_plain(self) -> dict[str, Any]:
        """As plain objects for JSON."""
        return {
            "asked": self.criterion,
            "value": self.value,
            "mark": self.mark,
            "reached": self.rank > 0,
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemMarks:
    """What one item came to.

    ``counted`` are the numbers of the attempts that count (0 is the first); ``score`` that of what
    counts, None where nothing was played. ``mark`` is the item's, empty where nothing is asked.
    """

    counted: tuple[int, ...]
    score: float | None
    marks: tuple[Mark, ...]
    mark: str
    is_reached: bool

    def as_plain(self) -> dict[str, Any]:
        """As plain objects for JSON."""
        return {
            "counted": list(self.counted),
            "score": self.score,
            "marks": [mark.as_plain() for mark in self.marks],
            "mark": self.mark,
            "reached": self.is_reached,
        }


def item_marks(assessment: Assessment, item: Item, grades: Sequence[Plain]) -> ItemMarks:
    """What the attempts at an item come to; ``grades`` are theirs, as JSON, in order."""
    counted = _counted(assessment, item, grades)
    chosen = [grades[number] for number in counted]
    marks = _marks(assessment, item, chosen)
    missing = any(not mark.rank for mark in marks) or not chosen
    own = next((mark.mark for mark in marks if mark.is_own), assessment.reached)
    no_requirements = not item.requirements and not item.without
    word = assessment.not_yet if missing else own
    return ItemMarks(
        counted=counted,
        score=_mean([MEASURES["score"].figure(grade) for grade in chosen]),
        marks=marks,
        mark="" if no_requirements and chosen else word,
        is_reached=not missing,
    )


def _counted(assessment: Assessment, item: Item, grades: Sequence[Plain]) -> tuple[int, ...]:
    if not grades:
        return ()
    if item.counts is Counts.MEAN and not assessment.is_homework:
        return tuple(range(len(grades)))
    if item.counts is Counts.LAST and not assessment.is_homework:
        return (len(grades) - 1,)

    def worth(number: int) -> tuple[int, int, float]:
        marks = _marks(assessment, item, [grades[number]])
        reached = sum(mark.rank > 0 for mark in marks)
        score = MEASURES["score"].figure(grades[number]) or 0.0
        return reached, sum(mark.rank for mark in marks), score

    return (max(range(len(grades)), key=worth),)


def _marks(assessment: Assessment, item: Item, grades: Sequence[Plain]) -> tuple[Mark, ...]:
    figures = [_figure_mark(assessment, requirement, grades) for requirement in item.requirements]
    findings = []
    for code in item.without:
        share = _mean([float(code in _codes(grade)) for grade in grades])
        is_reached = share is not None and share <= 0.5
        findings.append(
            Mark(
                criterion=code.value,
                value=share,
                mark=assessment.reached if is_reached else assessment.not_yet,
                rank=int(is_reached),
            )
        )
    return (*figures, *findings)


def _figure_mark(assessment: Assessment, requirement: Requirement, grades: Sequence[Plain]) -> Mark:
    measure = MEASURES[requirement.measure]
    value = _mean([measure.figure(grade) for grade in grades])
    limits, count = requirement.limits, len(requirement.limits)
    place = next(
        (
            place
            for place, limit in enumerate(limits)
            if value is not None and measure.reaches(value, limit.value)
        ),
        count,
    )
    return Mark(
        criterion=requirement.measure,
        value=value,
        mark=limits[place].name if place < count else assessment.not_yet,
        rank=count - place,
        is_own=count > 1 or limits[0].name != assessment.reached,
    )


def _codes(grade: Mapping[str, Any]) -> set[str]:
    return {finding["code"] for finding in grade["findings"]}


def _mean(values: Sequence[float | None]) -> float | None:
    """The mean, None where one of them cannot be had."""
    known = [value for value in values if value is not None]
    return fmean(known) if known and len(known) == len(values) else None
