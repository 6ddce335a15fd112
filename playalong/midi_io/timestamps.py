"""From the driver's stamps to the program's clock.

A message gets here some time after its stamp: never sooner than the least delay, often later,
when Python was busy. So the stamp is trusted, and the two clocks are tied together by the
smallest (arrival - stamp) seen lately: the least of each second is kept, and the last ``SECONDS``
of those with messages count, none older than ``LONG_S``.

Where the driver's clock runs slow, (arrival - stamp) grows, and what was seen before has to grow
with it: by the slope of the lower edge of all that is kept (Moon, Skelly and Towsley, Estimation
and removal of clock skew from network delay measurements, INFOCOM 1999, from memory), at most
``FASTEST``. Where it runs fast, each new least is smaller by itself, and nothing is corrected:
so without drift no time is ever before its message was sent, whatever the delays.

A stamp that is not credible (more than ``LATE_S`` late, or ``EARLY_S`` before anything seen) is
put aside; as soon as ``CERTAIN`` arrivals in a row are like that, the stamps have jumped for
good, and those messages are the new beginning. Until then such a message gets its time from its
arrival, or from its stamp where it may only be late (up to ``LOST_S``). Times never go back.
"""

from collections import deque
from collections.abc import Sequence
from math import inf

#: How many of the last seconds with messages tie the clocks, and how old they may be.
SECONDS = 10
LONG_S = 60.0
#: The drift is not known before so much has been seen.
SETTLED_S = 20.0
#: How much slower than ours a driver's clock may run.
FASTEST = 300e-6

#: What is not credible of a stamp, against the least delay seen; a message that is later than
#: ``LOST_S`` is told by its arrival.
LATE_S, EARLY_S, LOST_S = 0.25, 0.02, 1.0
#: So many arrivals in a row that are not credible are a jump.
CERTAIN = 4

_Point = tuple[float, float]
"""When a message arrived, and (arrival - stamp), in seconds."""


class StampFilter:
    """Ties one port's stamps to the program's clock."""

    def __init__(self) -> None:
        self._last_s = -inf
        self._stream = 0
        self._begin()

    def _begin(self, points: Sequence[_Point] = ()) -> None:
        self._points: deque[_Point] = deque()
        self._strange: list[_Point] = []
        self._second_s, self._drift = -inf, 0.0
        for point in points:
            self._keep(point)

    def time_s(self, stamp_s: float, arrival_s: float, stream: int = 0) -> float:
        """The time of a message on the program's clock, in seconds; both stamps in seconds.

        ``arrival_s`` never goes back. Stamps of another ``stream`` have another beginning.
        """
        if stream != self._stream:
            self._stream = stream
            self._begin()
        point = (arrival_s, arrival_s - stamp_s)
        self._last_s = max(self._last_s, min(stamp_s + self._behind(point), arrival_s))
        return self._last_s

    def _behind(self, point: _Point) -> float:
        """How far the stamps are behind the program's clock, now that ``point`` is seen."""
        if self._points:
            least = self._least(point[0])
            if not -EARLY_S <= point[1] - least <= LATE_S:
                return self._doubted(point, least)
        self._strange.clear()
        self._keep(point)
        return self._least(point[0])

    def _doubted(self, point: _Point, least: float) -> float:
        # What arrived together was kept waiting together: it speaks once.
        if self._strange and self._strange[-1][0] == point[0]:
            self._strange[-1] = min(self._strange[-1], point)
        else:
            self._strange.append(point)
        if len(self._strange) == CERTAIN:
            self._begin(self._strange)
            return self._least(point[0])
        return least if least < point[1] <= least + LOST_S else point[1]

    def _keep(self, point: _Point) -> None:
        if self._points and point[0] - self._second_s < 1.0:
            if point[1] < self._aged(self._points[-1], point[0]):
                self._points[-1] = point
            return
        self._second_s = point[0]
        self._points.append(point)
        while self._points[0][0] < point[0] - LONG_S:
            self._points.popleft()
        self._drift = _drift(self._points)

    def _least(self, now_s: float) -> float:
        places = range(max(0, len(self._points) - SECONDS), len(self._points))
        return min(self._aged(self._points[place], now_s) for place in places)

    def _aged(self, point: _Point, now_s: float) -> float:
        return point[1] + self._drift * (now_s - point[0])


def _drift(points: Sequence[_Point]) -> float:
    """The slope of the lower edge of ``points`` over their middle, from 0 to ``FASTEST``."""
    first_s, last_s = points[0][0], points[-1][0]
    if last_s - first_s < SETTLED_S:
        return 0.0
    edge: list[_Point] = []
    for point in points:
        while len(edge) > 1 and _slope(edge[-1], point) <= _slope(edge[-2], edge[-1]):
            edge.pop()
        edge.append(point)
    middle_s = (first_s + last_s) / 2.0
    right = next(place for place, point in enumerate(edge) if point[0] >= middle_s)
    return min(max(_slope(edge[right - 1], edge[right]), 0.0), FASTEST)


def _slope(left: _Point, right: _Point) -> float:
    return (right[1] - left[1]) / (right[0] - left[0])
