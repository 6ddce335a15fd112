"""MIDI ports through pygame's PortMidi: the way where python-rtmidi does not load.

PortMidi keeps arriving messages itself with its own stamps, in whole milliseconds. It makes its
list of devices once, when it starts, and cannot start again while anything is open. So a process
of its own (``python -m playalong.midi_io.portmidi_port``) starts PortMidi twice a second and tells
what is plugged in; here PortMidi starts anew whenever an input is to be opened and none is open.
Outputs are then taken up again under their names.
"""

import json
import subprocess
import sys
import time
from contextlib import suppress
from threading import Thread
from typing import Any
from weakref import WeakSet

import pygame.midi

from playalong.midi.port import Arrival
from playalong.midi_io.backend import PortError, distinct_names, plain_names
from playalong.support.system.quiet_stderr import quiet_stderr

_BATCH, _BUFFER = 64, 1 << 14
_LOOK_S = 0.5

Names = tuple[list[str], list[str]]
"""The names of the inputs and of the outputs."""


class Watch:
    """The process that tells what is plugged in; ``latest`` is None until it has answered."""

    def __init__(self) -> None:
        self.latest: Names | None = None
        # It ends when its standard input does: with this process, however that ends.
        self._process = subprocess.Popen(
            [sys.executable, "-m", "playalong.midi_io.portmidi_port"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
        Thread(target=self._read, name="MIDI ports", daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            with suppress(ValueError):
                inputs, outputs = json.loads(line)
                self.latest = inputs, outputs
        self.latest = None  # it has ended: PortMidi's own list is all there is


class _Devices:
    """What this process shares: PortMidi itself, what is open, and the watch over the ports."""

    def __init__(self) -> None:
        self.inputs: WeakSet[PortMidiPort] = WeakSet()
        self.outputs: WeakSet[PortMidiOutput] = WeakSet()
        self.watch: Watch | None = None

    def names(self) -> Names:
        """What is plugged in now, as far as can be told."""
        if not self.inputs and not self.outputs:
            self.renew()
        elif self.watch is not None and self.watch.latest is not None:
            return self.watch.latest
        return _listed(inputs=True), _listed(inputs=False)

    def renew(self) -> None:
        """Start PortMidi anew, so that its list is of now; no input is open."""
        for output in self.outputs:
            output.put_down()
        with quiet_stderr():
            pygame.midi.quit()
            pygame.midi.init()
        for output in self.outputs:
            output.take_up()

    def look(self) -> None:
        """From now on something is open: have the ports watched."""
        if self.watch is None:
            self.watch = Watch()


class PortMidiBackend:
    """The inputs; see ``ports.Backend``."""

    def names(self) -> list[str]:
        """Those there are."""
        return _devices.names()[0]

    def open(self, name: str) -> "PortMidiPort":
        """Open the input ``name``."""
        if not _devices.inputs:
            _devices.renew()
        port = PortMidiPort(name)
        _devices.look()
        return port

    def close(self) -> None:
        """Nothing is to be let go of: PortMidi is shared."""


class PortMidiOutputs:
    """The outputs; see ``ports.Backend``."""

    def names(self) -> list[str]:
        """Those there are."""
        return _devices.names()[1]

    def open(self, name: str) -> "PortMidiOutput":
        """Open the output ``name``."""
        if not _devices.inputs:
            _devices.renew()
        output = PortMidiOutput(name)
        _devices.look()
        return output

    def close(self) -> None:
        """Nothing is to be let go of: PortMidi is shared."""


class PortMidiPort:
    """An open input; see ``ports.OpenPort``."""

    def __init__(self, name: str) -> None:
        try:
            self._input = pygame.midi.Input(_numbers(inputs=True)[name], _BUFFER)
        except (KeyError, pygame.midi.MidiException):
            raise _does_not_open(name) from None
        _devices.inputs.add(self)

    def poll(self) -> list[Arrival]:
        """What has arrived since the last call."""
        events: list[Any] = []
        if self not in _devices.inputs:
            return []
        with suppress(pygame.midi.MidiException):
            while self._input.poll():
                events += self._input.read(_BATCH)
        now_s = time.perf_counter()
        return [
            Arrival(stamp_s=stamp_ms / 1000.0, arrival_s=now_s, data=bytes(data[:3]))
            for data, stamp_ms in events
        ]

    def close(self) -> None:
        """Let go of the port."""
        if self in _devices.inputs:
            _devices.inputs.discard(self)
            with suppress(pygame.midi.MidiException):
                self._input.close()


class PortMidiOutput:
    """An open output; see ``outputs.Output``."""

    def __init__(self, name: str) -> None:
        plain = {listed: plain for plain, listed in plain_names(_listed(inputs=False)).items()}
        self._plain = plain.get(name, name)
        self._output: Any = None
        if not self.take_up():
            raise _does_not_open(name)
        _devices.outputs.add(self)

    def send(self, data: bytes) -> None:
        """Send one message at once."""
        with suppress(pygame.midi.MidiException):
            if self._output is not None:
                self._output.write_short(*data)

    def close(self) -> None:
        """Let go of the output."""
        self.put_down()
        _devices.outputs.discard(self)

    def put_down(self) -> None:
        """Close it for a moment."""
        if self._output is not None:
            with suppress(pygame.midi.MidiException):
                self._output.close()
            self._output = None

    def take_up(self) -> bool:
        """Open it, if it is there; whether it is open now."""
        listed = plain_names(_listed(inputs=False)).get(self._plain)
        with suppress(pygame.midi.MidiException):
            if listed is not None:
                self._output = pygame.midi.Output(_numbers(inputs=False)[listed])
        return self._output is not None


def _does_not_open(name: str) -> PortError:
    return PortError(f'The MIDI port "{name}" does not open: another program may hold it.')


def _listed(inputs: bool) -> list[str]:
    return list(_numbers(inputs))


def _numbers(inputs: bool) -> dict[str, int]:
    """PortMidi's number of each input, or of each output."""
    numbers, names = [], []
    for number in range(pygame.midi.get_count()):
        _, name, is_input, _, _ = pygame.midi.get_device_info(number)
        if bool(is_input) is inputs:
            numbers.append(number)
            names.append(name.decode(errors="replace"))
    return dict(zip(distinct_names(names), numbers, strict=True))


_devices = _Devices()


def main() -> None:
    """Tell what is plugged in, a line whenever it changes, until nobody listens any more."""
    ended = Thread(target=sys.stdin.read, daemon=True)
    ended.start()
    reported = ""
    while True:
        pygame.midi.init()
        line = json.dumps((_listed(inputs=True), _listed(inputs=False)))
        pygame.midi.quit()
        if line != reported:
            to_program = sys.stdout  # noqa: TID251 - a pipe to the program, no terminal
            to_program.write(f"{line}\n")
            to_program.flush()
            reported = line
        ended.join(_LOOK_S)
        if not ended.is_alive():
            return


if __name__ == "__main__":
    main()
