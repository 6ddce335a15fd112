"""MIDI ports through pygame's PortMidi: the way where python-rtmidi does not load.

PortMidi keeps arriving messages itself with its own stamps, in whole milliseconds.
"""

import time
from contextlib import suppress
from typing import Any

import pygame.midi

from playalong.kit.ports import Arrival, PortError

_BATCH = 64


class PortMidiBackend:
    """The inputs that PortMidi finds."""

    def __init__(self) -> None:
        pygame.midi.init()

    def names(self) -> list[str]:
        """The inputs there are."""
        return list(_inputs())

    def open(self, name: str) -> "PortMidiPort":
        """Open the input ``name``."""
        return PortMidiPort(name)


class PortMidiPort:
    """An open input; see ``ports.Port``."""

    def __init__(self, name: str) -> None:
        self.name = name
        try:
            self._input = pygame.midi.Input(_inputs()[name], 4096)
        except (KeyError, pygame.midi.MidiException):
            raise PortError(
                f'The MIDI port "{name}" does not open: another program may hold it.'
            ) from None

    def poll(self) -> list[Arrival]:
        """What has arrived since the last call."""
        found: list[Arrival] = []
        with suppress(pygame.midi.MidiException):
            while self._input.poll():
                now_s = time.perf_counter()
                events: list[Any] = self._input.read(_BATCH)
                found += [
                    Arrival(stamp_ms / 1000.0, now_s, bytes(data[:3])) for data, stamp_ms in events
                ]
        return found

    def is_there(self) -> bool:
        """Whether the port is still listed. PortMidi's list is made once: trust it."""
        return self.name in _inputs()

    def close(self) -> None:
        """Let go of the port."""
        self._input.close()


def _inputs() -> dict[str, int]:
    found = {}
    for number in range(pygame.midi.get_count()):
        _, name, is_input, _, _ = pygame.midi.get_device_info(number)
        if is_input:
            found[name.decode(errors="replace")] = number
    return found
