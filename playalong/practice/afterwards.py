"""What a finished lesson offers: the goal tempo, another variation, and the next pattern.

A pattern trains what it has most of beside the others: strokes, limbs, what lies off the beat,
soft and loud, or speed (the parts of ``pattern.library.difficulty``). The next one is harder by
the least among those that have as much of it.
"""

from collections.abc import Iterator, Sequence
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


def offers(plan: Sequence[Line], following: Pattern | None, *, trains: str) -> tuple[Offer, ...]:
    """What is offered after the lesson with that plan; ``following`` is the next pattern, which
    ``trains`` that part of its difficulty.
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
    if following is not None:
        about = said(Code.OFFER_PATTERN, title=following.title, trains=trains)
        found.append(Offer(about=about, pattern=following))
    return tuple(found)


def trained(pattern: Pattern, others: Sequence[Pattern]) -> str:
    """The part of ``Difficulty`` that ``pattern`` has most of beside the others."""
    own, rest = _hard(pattern), [_hard(other) for other in others]
    beyond = {
        part.name: getattr(own, part.name)
        - median(getattr(one, part.name) for one in rest or [own])
        for part in fields(Difficulty)
    }
    return max(beyond, key=beyond.__getitem__)


def after(pattern: Pattern, others: Sequence[Pattern]) -> Iterator[Pattern]:
    """The patterns that come after ``pattern``, the next one first.

    Those that its author names, then the harder ones that train as much of the same, the other
    harder ones, and where there is none of these, the easier ones.
    """
    named = practice_of(pattern).next
    by_name = {other.name: other for other in others if other.name != pattern.name}
    yield from (by_name.pop(name) for name in named if name in by_name)
    own, part = _hard(pattern), trained(pattern, list(by_name.values()))
    harder = sorted(
        ((_hard(other), other) for other in by_name.values()), key=lambda pair: pair[0].figure
    )
    easier = [other for hard, other in harder if hard.figure <= own.figure]
    harder = [pair for pair in harder if pair[0].figure > own.figure]
    least = getattr(own, part) - _AS_MUCH
    yield from (other for hard, other in harder if getattr(hard, part) >= least)
    yield from (other for hard, other in harder if getattr(hard, part) < least)
    yield from reversed(easier)


def _hard(pattern: Pattern) -> Difficulty:
    return difficulty(pattern, practice_of(pattern).goal_tempo)
