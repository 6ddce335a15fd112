"""MIDI ports through python-rtmidi.

Its callback runs in the driver's thread and may have to wait for the interpreter: it only puts
the message aside, with the driver's own time since the message before.
"""

import os
import time
from collections import deque
from contextlib import suppress
from pathlib import Path
from typing import Any

import rtmidi

from playalong.kit.ports import Arrival, PortError
from playalong.quiet import quiet


class RtMidiBackend:
    """The first of the machine's MIDI systems that answers."""

    def __init__(self) -> None:
        self._api = _working_api()

    def names(self) -> list[str]:
        """The inputs there are."""
        if self._api is None:
            return []
        with quiet():
            return _named(self._api)

    def open(self, name: str) -> "RtMidiPort":
        """Open the input ``name``."""
        if self._api is None:
            raise PortError("There is no MIDI system on this machine.")
        return RtMidiPort(self._api, name)


class RtMidiPort:
    """An open input; see ``ports.Port``."""

    def __init__(self, api: int, name: str) -> None:
        self.name = name
        self._arrivals: deque[Arrival] = deque()
        self._stamp_s = 0.0
        with quiet():
            self._input = rtmidi.MidiIn(api, name="playalong")
            try:
                self._input.open_port(self._input.get_ports().index(name), name="kit")
            except (ValueError, rtmidi.RtMidiError):
                self._input.delete()
                raise PortError(
                    f'The MIDI port "{name}" does not open: another program may hold it.'
                ) from None
        self._input.ignore_types(sysex=True, timing=True, active_sense=True)
        self._input.set_callback(self._arrived)

    def _arrived(self, event: tuple[list[int], float], _: object) -> None:
        message, since_last_s = event
        self._stamp_s += since_last_s
        self._arrivals.append(Arrival(self._stamp_s, time.perf_counter(), bytes(message)))

    def poll(self) -> list[Arrival]:
        """What has arrived since the last call."""
        found = []
        with suppress(IndexError):
            while True:
                found.append(self._arrivals.popleft())
        return found

    def is_there(self) -> bool:
        """Whether the port is still listed. Asks the open input: a new one would take long."""
        with quiet():
            return self.name in self._input.get_ports()

    def close(self) -> None:
        """Let go of the port."""
        self._input.cancel_callback()
        self._input.close_port()
        self._input.delete()


class VirtualOutput:
    """A MIDI output of our own that others can connect to."""

    def __init__(self, name: str) -> None:
        api = _working_api()
        if api is None:
            raise PortError("There is no MIDI system on this machine to make a port in.")
        with quiet():
            self._output = rtmidi.MidiOut(api, name=name)
            try:
                self._output.open_virtual_port(name)
            except (NotImplementedError, rtmidi.RtMidiError, SystemError):
                raise PortError("This machine's MIDI system has no virtual ports.") from None

    def send(self, data: bytes) -> None:
        """Send one message at once."""
        self._output.send_message(data)

    def close(self) -> None:
        """Take the port away."""
        self._output.close_port()
        self._output.delete()


def _named(api: int) -> list[str]:
    listener: Any = rtmidi.MidiIn(api, name="playalong list")
    try:
        return [str(name) for name in listener.get_ports()]
    finally:
        listener.delete()


def _working_api() -> int | None:
    """The first compiled MIDI system that can be opened, None when none can."""
    os.environ.setdefault("JACK_NO_START_SERVER", "1")
    for api in rtmidi.get_compiled_api():
        if api == rtmidi.API_LINUX_ALSA and not Path("/dev/snd/seq").exists():
            continue
        if api == rtmidi.API_RTMIDI_DUMMY:
            continue
        with quiet():
            try:
                rtmidi.MidiIn(api).delete()
            except (rtmidi.RtMidiError, SystemError):
                continue
        return int(api)
    return None
