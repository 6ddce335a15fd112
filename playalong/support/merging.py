"""Plain objects of which two changed copies are put together."""

from collections.abc import Mapping
from typing import Any

#: Stands for what is not there.
ABSENT: Any = object()


def merged(before: Any, after: Any, stored: Any) -> Any:
    """``stored``, with all that changed from ``before`` to ``after``; ``ABSENT`` for nothing.

    In tables each key by itself; a list that only grew adds what ``stored`` does not have yet, but
    for one of numbers, which is a figure in several parts.
    """
    if after is ABSENT or before == after:
        return stored
    if isinstance(after, Mapping) and isinstance(stored, Mapping):
        was = before if isinstance(before, Mapping) else {}
        found = {
            key: merged(was.get(key, ABSENT), after.get(key, ABSENT), stored.get(key, ABSENT))
            for key in dict.fromkeys([*stored, *after])
            if key in after or key not in was  # what was taken out goes
        }
        return {key: value for key, value in found.items() if value is not ABSENT}
    if isinstance(after, list) and isinstance(stored, list):
        base = before if isinstance(before, list) else []
        is_figure = all(isinstance(one, int | float) for one in after)
        if after[: len(base)] == base and not is_figure:
            return [*stored, *(one for one in after[len(base) :] if one not in stored)]
    return after
