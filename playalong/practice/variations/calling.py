"""Called mixing: which variation comes when, and the pattern with them in place."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from random import Random
from typing import TypeVar

from playalong.pattern.model import Pattern
from playalong.practice.excerpts import Names, excerpt, whole_bars

Name = TypeVar("Name")


def called(names: Sequence[Name], count: int, seed: int) -> list[Name]:
    """``count`` of ``names`` in an order by chance, the same for the same ``seed``.

    None comes again before half of the others (rounded up) were called, and none falls more than
    two calls behind another.
    """
    chance = Random(seed)
    order: list[int] = []
    times = [0] * len(names)
    apart = len(names) // 2
    for _ in range(count if names else 0):
        recent = order[-apart:] if apart else []
        free = [number for number in range(len(names)) if number not in recent]
        least = min(times)
        order.append(chance.choice([number for number in free if times[number] <= least + 1]))
        times[order[-1]] += 1
    return [names[number] for number in order]


def freely(names: Sequence[Name], count: int, seed: int) -> list[Name]:
    """``count`` of ``names`` as somebody plays them who means to play all: each once, where there
    is room, in an order by chance, the same for the same ``seed``; the rest is ``called``.
    """
    order = list(names)
    Random(seed).shuffle(order)
    return (order + called(names, max(0, count - len(order)), seed))[:count]


def mixed(pattern: Pattern, rounds: Iterable[Names]) -> Pattern:
    """The whole pattern once for each of ``rounds``, with the variations named there in place.

    To be laid out and graded as it is: the bars of a called or a freely mixed run, written out.
    """
    written = excerpt(pattern, whole_bars(pattern), tuple(rounds))
    return replace(written, title=pattern.title)
