"""The least of what was seen lately: how two clocks are tied where messages may only be late."""

from collections import deque


class SlidingMin:
    """The least value of the last ``window_s`` seconds; each step costs the same on average."""

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        #: (when, value), values growing from left to right: the left is the least.
        self._candidates: deque[tuple[float, float]] = deque()

    @property
    def value(self) -> float | None:
        """The least, None before anything was seen."""
        return self._candidates[0][1] if self._candidates else None

    def add(self, at_s: float, value: float) -> float:
        """One more, seen at ``at_s``, which never goes back; returns the least."""
        while self._candidates and self._candidates[-1][1] >= value:
            self._candidates.pop()
        self._candidates.append((at_s, value))
        while self._candidates[0][0] < at_s - self._window_s:
            self._candidates.popleft()
        return self._candidates[0][1]

    def clear(self) -> None:
        """Start afresh."""
        self._candidates.clear()
