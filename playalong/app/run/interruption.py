"""The cable that is out, and back: the time of a run that stands still meanwhile.

A run has its own time line, second 0 being the start of bar 1; it is moved against the program's
clock here and nowhere else. The take's time line is the same until the kit goes away: it goes on
while the run's stands still.

| state | the kit has gone | the kit is back | nobody waits any longer | it is broken off |
| --- | --- | --- | --- | --- |
| PLAYING | WAITING; LOST where nothing is left to play, or nobody is to wait | - | - | PLAYING |
| WAITING | - | PLAYING, after a count-in | LOST | LOST |
| LOST | - | - | - | LOST |

It goes on at the bar line after the one in which it stopped. In the last bar that is this bar,
once more. LOST is the end: nothing that comes after is expected.
"""

from enum import Enum

import numpy as np

from playalong.grading.matching.pauses import EndedPause, LastPause, OpenPause, Pauses
from playalong.pattern.targets import Targets

#: A pause begins this long after the last hit before it.
_AFTER_S = 0.001


class State(Enum):
    """Where a run stands."""

    PLAYING = "playing"
    WAITING = "waiting for the kit"
    LOST = "the kit is lost"


class Interruption:
    """Whether a run goes on, and its time. ``expected`` are all targets of the run.

    ``start_s`` is second 0 on the clock, ``capture_s`` the capture window. It ``waits``, or not,
    for a kit that has gone, for ``patience_s`` seconds.
    """

    def __init__(
        self,
        expected: Targets,
        start_s: float,
        *,
        capture_s: float,
        waits: bool,
        patience_s: float,
    ) -> None:
        self.state = State.PLAYING
        self.pauses = Pauses()
        #: Second 0 on the clock, of the run: a pause moves it.
        self.start_s = start_s
        self._expected, self._take_start_s, self._capture_s = expected, start_s, capture_s
        self._waits, self._patience_s = waits, patience_s
        #: Where it stood still last, in seconds of the run; and since when on the clock.
        self.stopped_s = self._since_s = 0.0
        #: The pause that is open, while it waits.
        self._open: OpenPause | None = None

    def run_s(self, clock_s: float) -> float:
        """The run's time: in a pause that of the moment at which it stopped."""
        return clock_s - self.start_s if self.state is State.PLAYING else self.stopped_s

    @property
    def bar_s(self) -> float:
        """Where it goes on once the kit is back, in seconds of the run."""
        if self._open is None:
            raise ValueError("The run does not wait.")
        return self._open.bar_s

    def gone(self, now_s: float, there_s: float, last_hit_s: float | None) -> None:
        """The kit has gone, seen at ``now_s`` and there at ``there_s``, both on the clock.

        ``last_hit_s`` is when the last hit was, in seconds of the run, None where there was none.
        """
        if self.state is not State.PLAYING:
            return
        stopped_s = there_s - self.start_s
        if last_hit_s is not None:
            stopped_s = max(stopped_s, last_hit_s + _AFTER_S)
        bar_s = None
        if self._waits and bool(np.any(self._expected.time_s > stopped_s)):
            bars_s = self._expected.bar_starts_s
            ahead_s = bars_s[bars_s >= stopped_s + self._capture_s]
            bar_s = float(ahead_s[0] if len(ahead_s) else bars_s[-1])
            if not len(ahead_s):  # the last bar, once more: it stands still just before it
                stopped_s = bar_s - self._capture_s
        self.stopped_s, self._since_s = stopped_s, now_s
        from_s = stopped_s + self.start_s - self._take_start_s
        if bar_s is None:
            self.state = State.LOST
            self.pauses = self.pauses.and_then(LastPause(from_s=from_s, stopped_s=stopped_s))
        else:
            self.state = State.WAITING
            self._open = OpenPause(from_s=from_s, stopped_s=stopped_s, bar_s=bar_s)
            self.pauses = self.pauses.and_then(self._open)

    def back(self, bar_at_s: float) -> None:
        """The kit is back: the bar with which it goes on begins at ``bar_at_s`` on the clock."""
        pause = self._open
        if pause is None:
            return
        self.start_s = bar_at_s - pause.bar_s
        on_s = pause.bar_s - self._capture_s
        ended = EndedPause(
            from_s=pause.from_s,
            stopped_s=pause.stopped_s,
            until_s=on_s + self.start_s - self._take_start_s,
            on_s=on_s,
            bar_s=pause.bar_s,
        )
        self.pauses = self.pauses.with_last(ended)
        self.state, self._open = State.PLAYING, None

    def time_passed(self, now_s: float) -> None:
        """It waits no longer than it is to."""
        if self.state is State.WAITING and now_s - self._since_s >= self._patience_s:
            self._lose()

    def broken_off(self, now_s: float) -> float:
        """It ends here; the time of the run from which on nothing is expected, 0 at least."""
        if self.state is State.WAITING:
            self._lose()
        return max(0.0, self.run_s(now_s))

    def _lose(self) -> None:
        pause, self._open = self._open, None
        self.state = State.LOST
        if pause is not None:
            lost = LastPause(from_s=pause.from_s, stopped_s=pause.stopped_s)
            self.pauses = self.pauses.with_last(lost)
