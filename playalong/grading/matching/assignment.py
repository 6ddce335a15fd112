"""Exact one-to-one answers in small groups: the most pairs, then the least total distance.

Two problems, both over whole numbers so that ties are ties and sums do not depend on order:

* ``align``: strokes and hits of one voice. Windows come in order, so a best answer need never
  cross, and a dynamic programme over both rows finds it.
* ``pair``: missed targets and extra hits of any voices, windows of any width. A best answer may
  have to cross, so this is the general assignment problem, solved by shortest augmenting paths
  (Kuhn 1955; Jonker and Volgenant 1987), which stay short because windows do.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from heapq import heappop, heappush

_NONE = -1


def align(strokes: Sequence[tuple[int, int, int]], hits: Sequence[int]) -> list[int | None]:
    """For each stroke the index of the hit that answers it, or None.

    ``strokes`` holds (time, window start, window end), both ends inside; neither starts nor
    ends ever go back. ``hits`` holds times, sorted. All in one unit.
    """
    # value[j - low] is (pairs, -distance) at best of the strokes so far with hits before j;
    # chosen[j - low] is the hit that the last of them then takes. Hits before a stroke's window
    # are out of reach for all later strokes, so only the window's own span is kept.
    table: list[tuple[int, list[int]]] = []
    low, value = 0, [(0, 0)]
    for time, start, end in strokes:
        first, last = bisect_left(hits, start), bisect_right(hits, end)
        without = [value[min(j - low, len(value) - 1)] for j in range(first, last + 1)]
        low, value, chosen = first, [without[0]], [_NONE]
        for j in range(first, last):
            pairs, minus_distance = without[j - first]
            options = (
                (without[j - first + 1], _NONE),
                (value[-1], chosen[-1]),
                ((pairs + 1, minus_distance - abs(hits[j] - time)), j),
            )
            best, choice = max(options, key=lambda option: option[0])
            value.append(best)
            chosen.append(choice)
        table.append((low, chosen))

    answers: list[int | None] = []
    before = len(hits)
    for low, chosen in reversed(table):
        choice = chosen[min(before - low, len(chosen) - 1)]
        answers.append(None if choice == _NONE else choice)
        before = before if choice == _NONE else choice
    answers.reverse()
    return answers


def pair(costs: Sequence[Mapping[int, int]]) -> list[int | None]:
    """For each row the column that it takes, or None.

    ``costs`` holds for each row its possible columns with their distances (0 or more).
    """
    # Every row may also stay alone, in a column of its own that costs more than all pairs
    # together: so first the most pairs count, then the least distance.
    alone = 1 + sum(max(row.values(), default=0) for row in costs)
    columns = [{**row, ~index: alone} for index, row in enumerate(costs)]
    row_price: list[int] = [0] * len(costs)
    column_price: dict[int, int] = {}
    taken: dict[int, int] = {}  # column -> row
    held = [_NONE] * len(costs)  # row -> column
    for start in range(len(costs)):
        # The cheapest way from the new row over rows that give way to a free column.
        distance: dict[int, int] = {}
        came_from: dict[int, int] = {}
        done: dict[int, int] = {}
        queue: list[tuple[int, int]] = []
        row, so_far = start, 0
        while True:
            for column, cost in columns[row].items():
                length = so_far + cost - row_price[row] - column_price.get(column, 0)
                if column not in done and length < distance.get(column, length + 1):
                    distance[column] = length
                    came_from[column] = row
                    heappush(queue, (length, column))
            so_far, column = heappop(queue)
            while column in done:
                so_far, column = heappop(queue)
            done[column] = so_far
            if column not in taken:
                break
            row = taken[column]
        for visited, length in done.items():
            if visited in taken:
                row_price[taken[visited]] += so_far - length
            column_price[visited] = column_price.get(visited, 0) - (so_far - length)
        row_price[start] += so_far
        row = _NONE
        while row != start:
            row = came_from[column]
            taken[column] = row
            column, held[row] = held[row], column
    return [column if column >= 0 else None for column in held]
