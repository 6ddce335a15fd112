"""MIDI outputs, and messages sent at their time: a click that the kit's own module sounds."""

from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from heapq import heappop, heappush
from threading import Event, Lock, Thread
from typing import Protocol

from playalong.midi.messages import NOTE_OFF, NOTE_ON, channel_of, is_stroke, kind_of, note_off
from playalong.midi_io.backend import Backend, Closes, PortError, choose
from playalong.midi_io.hotplug import Plugged

#: How long the sender sleeps at most while something is to be sent: as late as a message can be
#: that is scheduled for sooner.
LOOK_S = 0.005

NO_OUTPUT = "There is no MIDI output: plug the kit in by USB, switch it on, and try again."


class Output(Closes, Protocol):
    """An open MIDI output."""

    def send(self, data: bytes) -> None:
        """Send one message at once."""
        ...


class PluggedOutput(Plugged[Output]):
    """An output that may be pulled out; what is sent while it is away goes nowhere."""

    def send(self, data: bytes) -> None:
        """Send one message at once."""
        with suppress(PortError):
            self._port.send(data)


def outputs() -> Backend[Output]:
    """The outputs of the library that works here."""
    try:
        from playalong.midi_io.rtmidi_port import RtMidiOutputs

        return RtMidiOutputs()
    except ImportError:
        from playalong.midi_io.portmidi_port import PortMidiOutputs

        return PortMidiOutputs()


def output_names() -> list[str]:
    """The names of the MIDI outputs."""
    with closing(outputs()) as library:
        return library.names()


def open_output(part: str | None, remembered: str | None = None) -> PluggedOutput:
    """Open the output whose name has ``part`` in it, or the only one; PortError says which.

    ``remembered`` is the ``name`` of an output that was opened before: it goes before others.
    """
    library = outputs()
    try:
        names = library.names()
        if not names:
            raise PortError(NO_OUTPUT)
        return PluggedOutput(library, choose(names, part, remembered))
    except PortError:
        library.close()
        raise


class Sending:
    """Sends messages when their time comes, from a thread of its own; closes its output.

    ``now`` tells the program's clock and ``wait`` sleeps, both in seconds.
    """

    def __init__(
        self, output: Output, now: Callable[[], float], wait: Callable[[float], None]
    ) -> None:
        self._output, self._now, self._wait = output, now, wait
        self._lock, self._more = Lock(), Event()
        #: (when, how many were scheduled before, message): in order of time, then as scheduled.
        self._waiting: list[tuple[float, int, bytes]] = []
        self._scheduled = 0
        self._sounding: set[tuple[int, int]] = set()
        self._closed = False
        self._thread = Thread(target=self._run, name="MIDI out", daemon=True)
        self._thread.start()

    def schedule(self, messages: Iterable[tuple[float, bytes]]) -> None:
        """Send each message at its time on the program's clock; at once if that has passed."""
        with self._lock:
            for time_s, data in messages:
                heappush(self._waiting, (time_s, self._scheduled, data))
                self._scheduled += 1
        self._more.set()

    def clear(self) -> None:
        """Forget what is still to be sent, and end what sounds."""
        with self._lock:
            self._waiting.clear()
            for channel, note in sorted(self._sounding):
                self._output.send(note_off(channel, note))
            self._sounding.clear()

    def close(self) -> None:
        """Clear, and let go of the output."""
        self.clear()
        self._closed = True
        self._more.set()
        self._thread.join()
        self._output.close()

    def _run(self) -> None:
        while not self._closed:
            next_s = self._send_due()
            if next_s is None:
                self._more.wait()
            else:
                self._wait(min(max(0.0, next_s - self._now()), LOOK_S))

    def _send_due(self) -> float | None:
        """Send what is due; when the next is, None for never."""
        with self._lock:
            while self._waiting and self._waiting[0][0] <= self._now():
                self._send(heappop(self._waiting)[2])
            if self._waiting:
                return self._waiting[0][0]
            self._more.clear()
            return None

    def _send(self, data: bytes) -> None:
        self._output.send(data)
        if is_stroke(data):
            self._sounding.add((channel_of(data), data[1]))
        elif kind_of(data) in (NOTE_ON, NOTE_OFF):
            self._sounding.discard((channel_of(data), data[1]))
