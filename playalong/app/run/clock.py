"""The program's clock: one for all, real or stepped."""

import time
from typing import Protocol


class Clock(Protocol):
    """A clock in seconds, from any start."""

    def now(self) -> float:
        """The time."""
        ...

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        ...


class RealClock:
    """The clock on the wall."""

    def now(self) -> float:
        """``time.perf_counter``."""
        return time.perf_counter()

    def wait(self, seconds: float) -> None:
        """Sleep."""
        time.sleep(max(0.0, seconds))


class SteppedClock:
    """A clock that goes only when it is waited for: a run on it is the same every time."""

    def __init__(self) -> None:
        self._now_s = 0.0

    def now(self) -> float:
        """The sum of all that was waited."""
        return self._now_s

    def wait(self, seconds: float) -> None:
        """Go on at once."""
        self._now_s += max(0.0, seconds)
