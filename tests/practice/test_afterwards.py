"""What a finished lesson offers, and which pattern comes next."""

from dataclasses import replace

from playalong.pattern.library.difficulty import difficulty
from playalong.practice.afterwards import after, offers, trained
from playalong.practice.feedback import Line, Record, State
from playalong.practice.phrases import text
from playalong.practice.plan import Kind, plan, practice_of
from tests.helpers.shipped import SHIPPED

ALL = list(SHIPPED.values())
BUS = SHIPPED["late-bus-home"]


def test_it_offers_the_goal_the_least_sure_variation_and_the_next_pattern() -> None:
    steps = plan(BUS)
    varied = [step for step in steps if step.kind is Kind.IN_TURN]
    lines = [
        Line(step, Record(state=State.LEARNED, lately="01" if step is varied[1] else "11"), False)
        for step in steps
    ]
    goal, variation, next_one = offers(lines, ALL[0], trains="dynamics")
    assert steps[goal.step].kind is Kind.CLIMB
    assert f"{practice_of(BUS).goal_tempo:g} bpm, the goal" in text(goal.about)
    assert steps[variation.step] == varied[1]
    assert varied[1].variation in text(variation.about)
    assert next_one.pattern == ALL[0]
    assert ALL[0].title in text(next_one.about)
    assert "soft strokes" in text(next_one.about)


def test_the_next_pattern_is_harder_by_the_least_and_trains_as_much_of_the_same() -> None:
    def hard(one):
        return difficulty(one, practice_of(one).goal_tempo)

    own = SHIPPED["comb-teeth"]
    part = trained(own, [one for one in ALL if one is not own])
    assert part == "dynamics"
    first, least = next(after(own, ALL)), hard(own)
    nearer = [
        one
        for one in ALL
        if least.figure < hard(one).figure < hard(first).figure
        and getattr(hard(one), part) >= getattr(least, part)
    ]
    assert hard(first).figure > least.figure
    assert getattr(hard(first), part) >= getattr(least, part) - 0.02
    assert not nearer
    assert sorted(one.name for one in after(own, ALL)) == sorted(SHIPPED.keys() - {own.name})


def test_an_author_says_what_comes_next() -> None:
    asked = replace(BUS, practice=replace(practice_of(BUS), next=("mill-wheel", "not-there")))
    assert next(after(asked, ALL)).name == "mill-wheel"
