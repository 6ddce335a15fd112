"""What a finished lesson offers, and which pattern comes next."""

from dataclasses import replace

import pytest

from playalong.pattern.library.difficulty import Difficulty, difficulty
from playalong.pattern.model import Pattern
from playalong.practice.afterwards import after, offers, rated, trained, ways
from playalong.practice.feedback import Line, Record, State
from playalong.practice.phrases import text
from playalong.practice.plan import Kind, plan, practice_of
from tests.helpers.shipped import SHIPPED

ALL = list(SHIPPED.values())
RATED = rated(ALL)
BUS = SHIPPED["late-bus-home"]


def test_it_offers_the_goal_the_least_sure_variation_and_the_next_pattern() -> None:
    steps = plan(BUS)
    varied = [step for step in steps if step.kind is Kind.IN_TURN]
    lines = [
        Line(step, Record(state=State.LEARNED, lately="01" if step is varied[1] else "11"), False)
        for step in steps
    ]
    following = [SHIPPED["coins-in-a-jar"], SHIPPED["noon-heat"], _unsaid(SHIPPED["comb-teeth"])]
    goal, variation, next_one, other, unsaid = offers(lines, following, own=BUS)
    assert steps[goal.step].kind is Kind.CLIMB
    assert f"{practice_of(BUS).goal_tempo:g} bpm, the goal" in text(goal.about)
    assert steps[variation.step] == varied[1]
    assert varied[1].variation in text(variation.about)
    assert next_one.pattern == following[0]
    assert text(next_one.about) == (
        "The next pattern: Coins in a Jar. "
        "It goes on with ghost notes, kick off the beat and sixteenths."
    )
    assert text(other.about).endswith("It trains cross-stick, time keeping, first beats and swing.")
    assert "It trains" in text(unsaid.about)


def _unsaid(pattern: Pattern) -> Pattern:
    """The same, that says nothing of what it trains."""
    return replace(pattern, trains=())


def hard(one: Pattern) -> Difficulty:
    return difficulty(one, practice_of(one).goal_tempo)


@pytest.mark.parametrize("name", ["boots-by-the-door", "late-bus-home", "five-stroke-roll"])
def test_the_next_pattern_is_harder_by_the_least_and_trains_the_same_thing(name: str) -> None:
    own = SHIPPED[name]
    found = list(after(own, RATED))
    assert sorted(one.name for one in found) == sorted(SHIPPED.keys() - {name})
    chief = [
        one for one in ALL if own.trains[0] in one.trains and hard(one).figure > hard(own).figure
    ]
    chief.sort(key=lambda one: hard(one).figure)
    assert chief
    assert found[: len(chief)] == chief
    then = found[len(chief)]
    assert set(then.trains) & set(own.trains)
    assert hard(then).figure > hard(own).figure


def test_ways_lead_on_along_each_thing() -> None:
    own = SHIPPED["late-bus-home"]
    for way in ways(own, RATED):
        assert own not in way.after
        figures = [hard(one).figure for one in way.after]
        assert figures == sorted(figures)
        assert all(way.thing in one.trains for one in way.after)
        assert way.before is not None
        assert hard(way.before).figure <= hard(own).figure < figures[0]
    assert [way.thing for way in ways(own, RATED)] == list(own.trains)


def test_of_one_that_says_nothing_the_next_has_as_much_of_what_it_has_most_of() -> None:
    own = _unsaid(SHIPPED["comb-teeth"])
    part = trained(own, [one for one in RATED if one.pattern.name != own.name])
    assert part == "dynamics"
    first, least = next(after(own, RATED)), hard(own)
    nearer = [
        one
        for one in ALL
        if least.figure < hard(one).figure < hard(first).figure
        and getattr(hard(one), part) >= getattr(least, part)
    ]
    assert hard(first).figure > least.figure
    assert getattr(hard(first), part) >= getattr(least, part) - 0.02
    assert not nearer
    assert sorted(one.name for one in after(own, RATED)) == sorted(SHIPPED.keys() - {own.name})


def test_an_author_says_what_comes_next() -> None:
    asked = replace(BUS, practice=replace(practice_of(BUS), next=("mill-wheel", "not-there")))
    assert next(after(asked, RATED)).name == "mill-wheel"
