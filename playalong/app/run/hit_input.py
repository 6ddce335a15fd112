"""The way in of a hit: the only place where bytes from a port become a hit with a time.

Each message goes through these steps, in this order:

| step | by what | what is known then |
| --- | --- | --- |
| arrival | ``midi.port.Port`` | the bytes, and the driver's stamp |
| time | ``midi_io.timestamps.StampFilter`` | seconds on the program's clock |
| latency | what was measured with the player | when the player struck |
| origin | where the take's second 0 is on the clock | seconds of the take |
| keeping | ``records.takes.Recording`` | the time that the take's file will give back |
| meaning | ``midi.mapping.Mapper`` | the hit, or why it is none |

Whoever listens without a take leaves out what is not needed; the way is the same. Whether the
port is there is known here too, so that nobody but this module holds on to it.
"""

from playalong.midi.mapping import Heard, Mapper
from playalong.midi.pads import Pads
from playalong.midi.port import Arrival, Port
from playalong.midi_io.hotplug import Lookout
from playalong.midi_io.timestamps import StampFilter
from playalong.records.takes import Recording


class HitInput:
    """Listens on ``port``; the driver's stamps are tied to the clock by ``stamps``."""

    def __init__(
        self,
        port: Port,
        stamps: StampFilter,
        pads: Pads,
        *,
        latency_ms: float = 0.0,
        origin_s: float = 0.0,
        recording: Recording | None = None,
    ) -> None:
        """``pads`` say what notes mean, ``latency_ms`` is taken off, second 0 is at ``origin_s``
        on the clock. ``recording`` keeps every message.
        """
        self._port, self._stamps, self._recording = port, stamps, recording
        self._late_s, self._origin_s = latency_ms / 1000.0, origin_s
        self._pads, self._mapper = pads, Mapper(pads)
        self._lookout = Lookout(port)

    @property
    def name(self) -> str:
        """What the port is called."""
        return self._port.name

    @property
    def pads(self) -> Pads:
        """What the notes mean. Where that changes, what came before decides nothing any more."""
        return self._pads

    @pads.setter
    def pads(self, pads: Pads) -> None:
        if pads != self._pads:
            self._pads, self._mapper = pads, Mapper(pads)

    @property
    def is_there(self) -> bool:
        """Whether the port was there when it was last looked after."""
        return self._lookout.is_there

    @property
    def there_s(self) -> float:
        """When it was last known to be there, in seconds on the clock."""
        return self._lookout.there_s

    def look(self, now_s: float) -> bool:
        """Whether the port is there now; it is reopened where it can be. To be asked each frame."""
        return self._lookout.look(now_s)

    def read(self) -> list[Heard]:
        """What came since it was last read, in order; never waits.

        Times are when the player struck: in seconds of the take, or on the clock without one.
        """
        return [self._heard(arrival) for arrival in self._port.poll()]

    def discard(self) -> None:
        """Forget what came since it was last read."""
        self._port.poll()

    def _heard(self, arrival: Arrival) -> Heard:
        clock_s = self._stamps.time_s(arrival.stamp_s, arrival.arrival_s, arrival.stream)
        time_s = clock_s - self._late_s - self._origin_s
        if self._recording is not None:
            time_s = self._recording.keep(time_s, arrival.data)
        return self._mapper.heard(time_s, arrival.data)
