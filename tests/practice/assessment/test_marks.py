"""What an attempt is worth: limits, the teacher's own marks, and which attempt counts."""

from dataclasses import replace
from typing import Any

import pytest

from playalong.grading.grade import Code
from playalong.practice.assessment.marks import item_marks
from playalong.practice.assessment.measures import MEASURES
from playalong.practice.assessment.model import (
    Assessment,
    Counts,
    Item,
    Kind,
    Limit,
    Requirement,
)
from playalong.practice.assessment.phrases import FOUND, finding, limits
from tests.helpers.shipped import SHIPPED
from tests.helpers.simulated_takes import take_grade

PATTERN = SHIPPED["late-bus-home"]
ITEM = Item(title="An item", pattern="late-bus-home", tempo_bpm=84.0, bars=8)


def grade(score: float, missed: int = 0, *codes: str, contrast: float | None = -14.0) -> Any:
    return {
        "score": {"total": score},
        "counts": {"missed": missed, "targets": 100, "on_time": 90},
        "dynamics": {"ghost_contrast_db": {"snare": contrast, "hi-hat": None}},
        "findings": [{"code": code} for code in codes],
    }


def marked(item: Item, *grades: Any, kind: Kind = Kind.TIMED) -> Any:
    assessment = Assessment(
        name="a", title="A", kind=kind, items=(item,), patterns={"late-bus-home": PATTERN}
    )
    return item_marks(assessment, item, grades)


SCORE = Requirement("score", (Limit("very good", 90.0), Limit("good", 75.0)))
MISSED = Requirement("missed", (Limit("reached", 2.0),))


@pytest.mark.parametrize(
    ("score", "mark"), [(95.0, "very good"), (90.0, "very good"), (89.9, "good"), (70.0, "not yet")]
)
def test_a_figure_has_the_best_mark_that_it_reaches(score: float, mark: str) -> None:
    found = marked(replace(ITEM, requirements=(SCORE,)), grade(score))
    assert found.mark == found.marks[0].mark == mark
    assert found.is_reached is (score >= 75.0)


def test_what_is_not_reached_outweighs_a_good_mark() -> None:
    found = marked(replace(ITEM, requirements=(SCORE, MISSED)), grade(95.0, 3))
    assert [mark.mark for mark in found.marks] == ["very good", "not yet"]
    assert (found.mark, found.is_reached) == ("not yet", False)


def test_a_finding_must_not_occur() -> None:
    item = replace(ITEM, without=(Code.GHOST_LOUD,))
    assert marked(item, grade(80.0)).mark == "reached"
    assert marked(item, grade(80.0, 0, "ghost_loud")).mark == "not yet"


def test_a_figure_that_cannot_be_had_is_not_reached() -> None:
    item = replace(ITEM, requirements=(Requirement("ghost-contrast", (Limit("reached", 10.0),)),))
    assert marked(item, grade(90.0, contrast=-12.0)).mark == "reached"
    found = marked(item, grade(90.0, contrast=None))
    assert (found.marks[0].value, found.mark) == (None, "not yet")


def test_the_best_the_last_or_the_mean_counts() -> None:
    grades = (grade(70.0, 0), grade(92.0, 5), grade(81.0, 1))
    item = replace(ITEM, requirements=(SCORE, MISSED), attempts=3)
    best = marked(replace(item, counts=Counts.BEST), *grades)
    assert best.counted == (2,), "the best marks, before the highest score"
    assert marked(replace(item, requirements=()), *grades).counted == (1,)
    assert marked(replace(item, counts=Counts.LAST), *grades).score == 81.0
    mean = marked(replace(item, counts=Counts.MEAN), *grades)
    assert mean.counted == (0, 1, 2)
    assert mean.score == pytest.approx((70.0 + 92.0 + 81.0) / 3)
    assert mean.marks[1].value == 2.0
    assert marked(item, *grades, kind=Kind.HOMEWORK).counted == (2,)


def test_with_the_mean_a_finding_occurs_where_it_does_in_more_than_half() -> None:
    item = replace(ITEM, without=(Code.EXTRA,), counts=Counts.MEAN, attempts=2)
    assert marked(item, grade(80.0, 0, "extra"), grade(80.0)).is_reached
    assert not marked(item, grade(80.0, 0, "extra"), grade(80.0, 0, "extra")).is_reached


def test_nothing_played_is_not_yet_and_nothing_asked_has_no_mark() -> None:
    assert marked(ITEM).mark == "not yet"
    assert marked(ITEM, grade(50.0)).mark == ""
    assert marked(replace(ITEM, requirements=(SCORE,))).marks[0].value is None


def test_every_measure_is_a_figure_of_a_grade() -> None:
    plain = take_grade(PATTERN, "professional", 3)
    for name, measure in MEASURES.items():
        value = measure.figure(plain)
        assert value is not None, name
        assert measure.low <= value <= measure.high, name
        assert measure.reaches(value, value)
        worse = value - 1.0 if measure.at_least else value + 1.0
        assert measure.reaches(value, worse)
        assert not measure.reaches(worse, value)


def test_every_cause_and_every_measure_has_words() -> None:
    assert set(FOUND) == set(Code)
    assert len(set(FOUND.values())) == len(FOUND)
    assert finding("ghost_loud") == "ghost notes too loud"
    assert finding("of_a_later_version") == "of a later version"
    score = Requirement("score", (Limit("good", 80.0), Limit("pass", 65.0)))
    assert limits(score) == "score: good 80, pass 65 points"
    assert limits(Requirement("spread", (Limit("reached", 30.0),))) == "spread: at most 30 ms"
