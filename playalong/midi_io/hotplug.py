"""Ports that may be pulled out, and come back under the same name.

What is remembered of a port is its plain name: the numbers that the system puts behind it change
when it is plugged in again.
"""

import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from math import inf
from typing import Generic, TypeVar

from playalong.midi.messages import SYSTEM, is_sensing, kind_of
from playalong.midi.port import Arrival, Port
from playalong.midi_io.backend import Backend, Closes, OpenPort, PortError, plain_names

#: How often a port is asked whether it is still there: no cable is out for a shorter time, as a USB
#: device that was plugged in must rest for 100 ms before it is spoken to (USB 2.0, 7.1.7.3, from
#: memory).
LOOK_S = 0.09

#: How often a port that has gone is sought: some systems take long to open one.
SEEK_S = 0.4

#: A kit that sends active sensing does so every 0.3 s (MIDI 1.0). Silent for this long, it has
#: gone, though the system may list it again already.
SILENCE_S = 1.0

_Opened = TypeVar("_Opened", bound=Closes)


class Plugged(Generic[_Opened]):
    """An open port, and the way back to it; ``name`` is its plain name."""

    def __init__(self, library: Backend[_Opened], listed: str) -> None:
        """Open the port that ``library`` lists as ``listed``."""
        plain = {name: plain for plain, name in plain_names(library.names()).items()}
        self._library, self._listed = library, listed
        self._port = library.open(listed)
        self.name = plain.get(listed, listed)
        self._lost = False

    def is_there(self) -> bool:
        """Whether the port is still plugged in; to be asked every ``LOOK_S``.

        Once it was not, only ``reopen`` can bring it back: a port of the same name may be another.
        """
        self._lost = self._lost or self._listed not in self._library.names()
        return not self._lost

    def reopen(self) -> bool:
        """Open the port again if it can be had; whether it is there now. Never waits."""
        if self.is_there():
            return True
        listed = plain_names(self._library.names()).get(self.name)
        if listed is None:
            return False
        self._let_go()
        try:
            self._port = self._library.open(listed)
        except PortError:
            return False
        self._listed, self._lost = listed, False
        return True

    def close(self) -> None:
        """Let go of the port, and of the library."""
        self._let_go()
        self._library.close()

    def _let_go(self) -> None:
        self._port.close()


class PluggedPort(Plugged[OpenPort]):
    """An input that may be pulled out; see ``ports.Port``.

    What had arrived before it went is still given. Stamps of the port opened again are of
    another stream. System messages say nothing of drums and are left out.
    """

    def __init__(
        self,
        library: Backend[OpenPort],
        listed: str,
        now: Callable[[], float] = time.perf_counter,
    ) -> None:
        super().__init__(library, listed)
        self._now = now
        self._waiting: deque[Arrival] = deque()
        self._stream = 0
        #: When anything came last from a kit that sends active sensing.
        self._sensed_s: float | None = None

    def poll(self) -> list[Arrival]:
        """What has arrived since the last call."""
        self._pull()
        found = list(self._waiting)
        self._waiting.clear()
        return found

    def is_there(self) -> bool:
        """Whether the port is plugged in, and not silent where it never should be."""
        self._pull()
        if self._sensed_s is not None and self._now() - self._sensed_s > SILENCE_S:
            self._lost = True
        return super().is_there()

    def reopen(self) -> bool:
        """Open the port again if it can be had; whether it is there now. Never waits."""
        was_there = self.is_there()
        is_there = was_there or super().reopen()
        if is_there and not was_there:
            self._stream += 1
            self._sensed_s = None
        return is_there

    def _let_go(self) -> None:
        super()._let_go()
        self._pull()

    def _pull(self) -> None:
        for arrival in self._port.poll():
            if is_sensing(arrival.data) or self._sensed_s is not None:
                self._sensed_s = arrival.arrival_s
            if arrival.data and kind_of(arrival.data) != SYSTEM:
                self._waiting.append(replace(arrival, stream=self._stream))


class Lookout:
    """Looks after ``port``: knows whether it is there, and reopens it when it comes back.

    A port that was away is always told to be gone first, however soon it is back: what it sends
    then has another beginning.
    """

    def __init__(self, port: Port) -> None:
        self._port, self._look_s = port, -inf
        self.is_there = True
        #: When it was last found there, in seconds on the clock of ``look``.
        self.there_s = -inf

    def look(self, now_s: float) -> bool:
        """Whether the port is there at ``now_s``, in seconds on any clock; called in each frame."""
        if now_s >= self._look_s:
            self._look_s = now_s + (LOOK_S if self.is_there else SEEK_S)
            self.is_there = self._port.is_there() if self.is_there else self._port.reopen()
            if self.is_there:
                self.there_s = now_s
        return self.is_there
