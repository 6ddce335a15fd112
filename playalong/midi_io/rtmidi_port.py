"""MIDI ports through python-rtmidi.

Arriving messages wait in rtmidi's own queue until they are asked for. A callback would need the
interpreter in the driver's thread: while a window draws, the driver then waits for Python, which
makes the stamps of what follows late, and over JACK can hold up the server. A thread
of ours that empties the queue does no better: it waits for the interpreter as well, and takes it
from who draws (tests/bench/stamps.py measures the way that was kept). The stamps are the
driver's either way; asking several times within a frame brings the arrival near to them.

Nothing is left out by rtmidi: its stamps are the time since the message before, and some
of its systems lose the time up to a message that is left out.

Making a client of a MIDI system may take long, opening a port on one that is there does not. So
the client that lists the ports is the one that opens them, and is kept when a port is closed.
"""

import os
import time
from abc import ABC, abstractmethod
from pathlib import Path
from typing import Any, Generic, TypeVar

import rtmidi

from playalong.midi.port import Arrival
from playalong.midi_io.backend import PortError, distinct_names
from playalong.midi_io.hangup import Line
from playalong.support.system.quiet_stderr import quiet_stderr

#: More than a kit can send while a program is held up for seconds: a cable carries about a
#: thousand messages a second.
_QUEUE = 1 << 14

#: What our clients are called: some systems list our own inputs among the outputs.
_INPUT, _OUTPUT = "playalong", "playalong out"

#: What rtmidi raises, also where a system does not answer any more.
_FAILS = (rtmidi.RtMidiError, SystemError)

_Port = TypeVar("_Port")


class _Clients(ABC, Generic[_Port]):
    """Clients of the first of the machine's MIDI systems that answers, one for each open port."""

    def __init__(self) -> None:
        self._api = _working_api()
        self._client: Any = None
        self._line = Line([])
        self._free = True

    def names(self) -> list[str]:
        """Those there are; none once the MIDI system's server has gone, until it is back."""
        if self._api is None:
            return []
        if self._line.hangs_up:
            self._delete()
        try:
            with quiet_stderr():
                return list(_numbers(self._query_client(self._api)))
        except _FAILS:
            return []

    def _query_client(self, api: int) -> Any:
        """The client that lists the ports, made where there is none."""
        if self._client is None:
            self._client, self._line = Line.of(lambda: self._made(api))
            self._free = True
        return self._client

    def _delete(self) -> None:
        self._line.close()
        if self._client is not None:
            with quiet_stderr():
                self._client.delete()
            self._client = None

    def open(self, name: str) -> _Port:
        """Open ``name``."""
        if self._api is None:
            raise PortError("There is no MIDI system on this machine.")
        try:
            with quiet_stderr():
                client = self._query_client(self._api) if self._free else self._made(self._api)
                client.open_port(_numbers(client)[name], name="kit")
        except (KeyError, *_FAILS):
            raise PortError(
                f'The MIDI port "{name}" does not open: another program may hold it.'
            ) from None
        self._client, self._free = client, False
        return self._opened(client)

    def close(self) -> None:
        """Take leave of the MIDI system: JACK's server waits for seconds for one who just goes."""
        self._delete()

    def closed(self, client: Any) -> None:
        """A port was closed: its client is free for another, if its server is still there."""
        if not client.is_deleted:
            self._client, self._free = client, True

    @abstractmethod
    def _made(self, api: int) -> Any:
        """A client of the MIDI system."""

    @abstractmethod
    def _opened(self, client: Any) -> _Port:
        """The port that ``client`` has open."""


class RtMidiBackend(_Clients["RtMidiPort"]):
    """The inputs; see ``ports.Backend``."""

    def _made(self, api: int) -> Any:
        with quiet_stderr():
            client = rtmidi.MidiIn(api, name=_INPUT, queue_size_limit=_QUEUE)
        client.ignore_types(sysex=False, timing=False, active_sense=False)
        return client

    def _opened(self, client: Any) -> "RtMidiPort":
        return RtMidiPort(self, client)


class RtMidiOutputs(_Clients["RtMidiOutput"]):
    """The outputs; see ``ports.Backend``."""

    def _made(self, api: int) -> Any:
        with quiet_stderr():
            return rtmidi.MidiOut(api, name=_OUTPUT)

    def _opened(self, client: Any) -> "RtMidiOutput":
        return RtMidiOutput(self, client)


class _Opened:
    """What ``client`` has open."""

    def __init__(self, clients: _Clients[Any], client: Any) -> None:
        self._clients, self._client, self._closed = clients, client, False

    def close(self) -> None:
        """Let go of it."""
        if not self._closed:
            self._closed = True
            if not self._client.is_deleted:
                with quiet_stderr():
                    self._client.close_port()
            self._clients.closed(self._client)


class RtMidiPort(_Opened):
    """An open input; see ``ports.OpenPort``. After ``close`` what had arrived can be polled."""

    _stamp_s = 0.0

    def poll(self) -> list[Arrival]:
        """What has arrived since the last call."""
        found: list[tuple[float, bytes]] = []
        if self._client.is_deleted:
            return []
        while (event := self._client.get_message()) is not None:
            message, since_last_s = event
            self._stamp_s += since_last_s
            found.append((self._stamp_s, bytes(message)))
        now_s = time.perf_counter()
        return [Arrival(stamp_s=stamp_s, arrival_s=now_s, data=data) for stamp_s, data in found]


class RtMidiOutput(_Opened):
    """An open output; see ``outputs.Output``."""

    def send(self, data: bytes) -> None:
        """Send one message at once; PortError where the MIDI system does not take it."""
        try:
            self._client.send_message(data)
        except _FAILS as error:
            raise PortError(f"The MIDI output takes nothing ({error}).") from None


class VirtualOutput:
    """A MIDI output of our own that others can connect to."""

    def __init__(self, name: str) -> None:
        api = _working_api()
        if api is None:
            raise PortError("There is no MIDI system on this machine to make a port in.")
        with quiet_stderr():
            try:
                self._output = rtmidi.MidiOut(api, name=name)
                self._output.open_virtual_port(name)
            except (NotImplementedError, *_FAILS):
                raise PortError("This machine's MIDI system has no virtual ports.") from None

    def send(self, data: bytes) -> None:
        """Send one message at once."""
        self._output.send_message(data)

    def close(self) -> None:
        """Take the port away."""
        self._output.close_port()
        self._output.delete()


def _numbers(client: Any) -> dict[str, int]:
    """The number of each port that is not our own, by its name."""
    names = distinct_names([str(name) for name in client.get_ports()])
    ours = (f"{_INPUT}:", f"{_OUTPUT}:")
    return {name: number for number, name in enumerate(names) if not name.startswith(ours)}


def _working_api() -> int | None:
    """The first compiled MIDI system that can be opened, None when none can."""
    os.environ.setdefault("JACK_NO_START_SERVER", "1")
    for api in rtmidi.get_compiled_api():
        if api == rtmidi.API_LINUX_ALSA and not Path("/dev/snd/seq").exists():
            continue
        if api == rtmidi.API_RTMIDI_DUMMY:
            continue
        with quiet_stderr():
            try:
                rtmidi.MidiIn(api).delete()
            except _FAILS:
                continue
        return int(api)
    return None
