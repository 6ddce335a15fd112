"""What a finished lesson offers: the goal tempo, another variation, and the next patterns.

A pattern says what it trains, the chief thing first. The next one is harder by the least among
those that train that thing too; other ways on lead along the other things. Of one that says nothing
it is what it has most of beside the others: strokes, limbs, what lies off the beat, soft and loud,
or speed (the parts of ``pattern.library.difficulty``). How hard is asked at the goal tempo.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from statistics import median

from playalong.pattern.library.difficulty import Difficulty, difficulty
from playalong.pattern.model import Pattern
from playalong.practice.feedback import Line
from playalong.practice.phrases import Code, Said, said
from playalong.practice.plan import Kind, practice_of

#: As much of what is trained, less this.
_AS_MUCH = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """Something to play next: the ``step`` of that number, or another ``pattern``."""

    about: Said
    step: int | None = None
    pattern: Pattern | None = None


def offers(
    plan: Sequence[Line], following: Sequence[Pattern], *, own: Pattern
) -> tuple[Offer, ...]:
    """What is offered after the lesson on ``own`` with that plan; ``following`` are patterns that
    come next.
    """
    found = []
    goal = next((n for n, line in enumerate(plan) if line.step.kind is Kind.CLIMB), None)
    if goal is not None:
        found.append(Offer(about=said(Code.OFFER_GOAL, step=plan[goal].step), step=goal))
    varied = [n for n, line in enumerate(plan) if line.step.kind is Kind.IN_TURN]
    if varied:
        # The least sure; of those, the one that was played least.
        number = min(varied, key=lambda n: (plan[n].record.sure, plan[n].record.repetitions))
        found.append(Offer(about=said(Code.OFFER_VARIATION, step=plan[number].step), step=number))
    for one in following:
        shared = [thing for thing in own.trains if thing in one.trains]
        part = "" if one.trains else trained(one, rated([own]))
        values = {"shared": shared, "trains": list(one.trains), "part": part}
        found.append(Offer(about=said(Code.OFFER_PATTERN, title=one.title, **values), pattern=one))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A thing that a pattern trains, the next easier pattern that trains it, and the harder ones,
    the next one first.
    """

    thing: str
    before: Pattern | None
    after: tuple[Pattern, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rated:
    """A pattern, and how hard it is at its goal tempo."""

    pattern: Pattern
    hard: Difficulty


def rated(patterns: Iterable[Pattern]) -> list[Rated]:
    """``patterns``, the easiest first. It takes its time: to be asked once of a library."""
    found = [Rated(pattern=pattern, hard=_hard(pattern)) for pattern in patterns]
    return sorted(found, key=lambda one: one.hard.figure)


def ways(pattern: Pattern, library: Sequence[Rated]) -> list[Way]:
    """The ways on from ``pattern`` in a ``library``, for each thing that it trains."""
    own = _hard(pattern).figure
    others = [one for one in library if one.pattern.name != pattern.name]
    found = []
    for thing in pattern.trains:
        training = [one for one in others if thing in one.pattern.trains]
        easier = [one.pattern for one in training if one.hard.figure <= own]
        found.append(
            Way(
                thing=thing,
                before=easier[-1] if easier else None,
                after=tuple(one.pattern for one in training if one.hard.figure > own),
            )
        )
    return found


def trained(pattern: Pattern, others: Sequence[Rated]) -> str:
    """The part of ``Difficulty`` that ``pattern`` has most of beside the others."""
    own, rest = _hard(pattern), [other.hard for other in others]
    beyond = {
        part.name: getattr(own, part.name)
        - median(getattr(one, part.name) for one in rest or [own])
        for part in fields(Difficulty)
    }
    return max(beyond, key=beyond.__getitem__)


def after(pattern: Pattern, library: Sequence[Rated]) -> Iterator[Pattern]:
    """The patterns of a ``library`` that come after ``pattern``, the next one first.

    Those that its author names, then the harder ones that train the same, first of all its chief
    thing, the other harder ones, and where there is none of these, the easier ones.
    """
    others = {one.pattern.name: one for one in library if one.pattern.name != pattern.name}
    named = practice_of(pattern).next
    yield from (others.pop(name).pattern for name in named if name in others)
    own, rest = _hard(pattern), list(others.values())
    part = "" if pattern.trains else trained(pattern, rest)

    def distance(one: Rated) -> int:
        if part:
            return int(getattr(one.hard, part) < getattr(own, part) - _AS_MUCH)
        shared = [thing in one.pattern.trains for thing in pattern.trains]
        return 0 if shared[0] else 2 - any(shared)

    harder = [one for one in rest if one.hard.figure > own.figure]
    yield from (one.pattern for one in sorted(harder, key=distance))
    yield from (one.pattern for one in reversed(rest) if one.hard.figure <= own.figure)


def _hard(pattern: Pattern) -> Difficulty:
    return difficulty(pattern, practice_of(pattern).goal_tempo)
