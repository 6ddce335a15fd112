"""From the driver's stamps to the program's clock.

A message gets here some time after its stamp: never sooner than the least delay, often later,
when Python was busy. So the stamp is trusted, and the two clocks are tied together by the
smallest (arrival - stamp) seen in the last ``WINDOW_S`` seconds. Error: what the least delay in
the window is above the least possible one, plus what the clocks drift apart within the window
(1 ms at 100 ppm). A stamp that jumps by more than ``JUMP_S`` against the arrival starts afresh.
Times never go back.
"""

from math import inf

from playalong.least import Least

WINDOW_S = 10.0
JUMP_S = 1.0


class StampFilter:
    """Ties one port's stamps to the program's clock."""

    def __init__(self) -> None:
        self._offset = Least(WINDOW_S)
        self._last_s = -inf

    def time_s(self, stamp_s: float, arrival_s: float) -> float:
        """The time of a message on the program's clock, in seconds; both stamps in seconds."""
        offset, least = arrival_s - stamp_s, self._offset.value
        if least is not None and abs(offset - least) > JUMP_S:
            self._offset.clear()
        self._last_s = max(self._last_s, stamp_s + self._offset.add(arrival_s, offset))
        return self._last_s
