"""How the frames of a sound device lie on the program's clock.

The device asks for frames when it has room. A request may come late, when Python was busy, but
never early: so the smallest (clock - frame / rate) of the last ``WINDOW_S`` seconds ties the two
together. The window is short, so that a device whose clock drifts, or that stood still for a
moment, is followed. Error: how late the least late request in the window was, plus what the
clocks drift apart within it (0.1 ms at 100 ppm).
"""

from math import isnan, nan

from playalong.support.sliding_min import SlidingMin

WINDOW_S = 1.0


class DeviceClock:
    """Ties frames at ``rate`` a second to the clock.

    A frame is heard ``latency_s`` after the moment at which it is asked for.
    """

    def __init__(self, rate: int, latency_s: float) -> None:
        self.rate = rate
        self.latency_s = latency_s
        self._least = SlidingMin(WINDOW_S)
        # One float, so that another thread always reads a whole one.
        self._offset_s = nan

    @property
    def is_running(self) -> bool:
        """Whether the device has asked for anything yet; before that, there are no times."""
        return not isnan(self._offset_s)

    def add_request(self, frame: int, at_s: float) -> None:
        """Add a request for the frames from ``frame`` on, made at ``at_s`` on the clock."""
        self._offset_s = self._least.add(at_s, at_s - frame / self.rate)

    def late_s(self, frame: int, at_s: float) -> float:
        """How much later than due ``at_s`` is for handing ``frame`` over, in seconds.

        Due is when a request as prompt as the promptest of the window would have come.
        """
        return at_s - frame / self.rate - self._offset_s

    def frame_at(self, time_s: float) -> int:
        """The frame that is heard at ``time_s`` on the clock."""
        return round((time_s - self.latency_s - self._offset_s) * self.rate)

    def time_of(self, frame: int) -> float:
        """When ``frame`` is heard, in seconds on the clock."""
        return frame / self.rate + self._offset_s + self.latency_s
