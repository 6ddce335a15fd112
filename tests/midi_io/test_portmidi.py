"""The port through PortMidi, on a small stand-in for ``pygame.midi``."""

import json
import sys
from importlib import import_module
from io import StringIO
from types import ModuleType, SimpleNamespace

import pytest

from playalong.midi.port import Arrival
from playalong.midi_io import outputs, ports
from playalong.midi_io.backend import PortError


class FakeMidi(ModuleType):
    """What ``pygame.midi`` offers: devices, and one input with events in wait."""

    class MidiException(Exception):  # noqa: N818 - its name there
        pass

    def __init__(self) -> None:
        super().__init__("pygame.midi")
        self.started = 0
        #: interface, name, is input, is output, is opened: as get_device_info tells.
        self.devices = [
            (b"ALSA", b"Through", 0, 1, 0),
            (b"ALSA", b"Through", 1, 0, 0),
            (b"ALSA", b"Pad Box \xff", 1, 0, 0),
        ]
        self.waiting: list[list[object]] = []
        self.reads: list[int] = []
        self.opened: list[int] = []
        self.closed = 0
        self.fails = False
        self.sent: list[tuple[int, ...]] = []
        #: What is plugged in: listed when PortMidi starts anew.
        self.plugged = list(self.devices)

        outer = self

        class Input:
            def __init__(self, device: int, buffer_size: int = 4096) -> None:
                if outer.fails:
                    raise outer.MidiException("device is busy")
                outer.opened.append(device)

            def poll(self) -> bool:
                if outer.fails:
                    raise outer.MidiException("buffer overflow")
                return bool(outer.waiting)

            def read(self, count: int) -> list[list[object]]:
                outer.reads.append(count)
                taken, outer.waiting = outer.waiting[:count], outer.waiting[count:]
                return taken

            def close(self) -> None:
                outer.closed += 1

        class Output:
            def __init__(self, device: int) -> None:
                outer.opened.append(device)

            def write_short(self, *data: int) -> None:
                outer.sent.append(data)

            def close(self) -> None:
                outer.closed += 1

        self.Input, self.Output = Input, Output

    def init(self) -> None:
        self.started += 1
        self.devices = list(self.plugged)

    def quit(self) -> None:
        assert len(self.opened) == self.closed, "PortMidi ends while a port is open"

    def get_count(self) -> int:
        return len(self.devices)

    def get_device_info(self, number: int) -> tuple[bytes, bytes, int, int, int]:
        return self.devices[number]


class watched:  # noqa: N801 - a stand-in for a process
    """What another process would tell: what is plugged in now."""

    def __init__(self, midi: FakeMidi) -> None:
        self._midi = midi

    @property
    def latest(self) -> tuple[list[str], list[str]]:
        found: tuple[list[str], list[str]] = ([], [])
        for _, name, is_input, _, _ in self._midi.plugged:
            found[0 if is_input else 1].append(name.decode(errors="replace"))
        return found


@pytest.fixture
def midi(monkeypatch):
    """The stand-in, in place before the port's module is read."""
    import pygame

    fake = FakeMidi()
    monkeypatch.setattr(pygame, "midi", fake, raising=False)
    monkeypatch.setitem(sys.modules, "pygame.midi", fake)
    monkeypatch.delitem(sys.modules, "playalong.midi_io.portmidi_port", raising=False)
    monkeypatch.setitem(sys.modules, "playalong.midi_io.rtmidi_port", None)  # it does not load
    module = import_module("playalong.midi_io.portmidi_port")
    monkeypatch.setattr(module, "Watch", lambda: watched(fake))
    yield fake
    sys.modules.pop("playalong.midi_io.portmidi_port", None)


def test_it_stands_in_where_the_other_does_not_load(midi):
    assert type(ports.backend()).__name__ == "PortMidiBackend"
    assert type(outputs.outputs()).__name__ == "PortMidiOutputs"


def test_only_inputs_are_listed(midi):
    assert ports.port_names() == ["Through", "Pad Box \ufffd"]


def test_a_port_is_opened_by_its_own_number(midi):
    port = ports.open_port("pad")
    assert port.name == "Pad Box \ufffd"
    assert midi.opened == [2]
    assert port.is_there()
    port.close()
    assert midi.closed == 1


def test_all_that_waits_is_read_in_order_with_stamps_in_seconds(midi, monkeypatch):
    port = ports.open_port("pad")
    module = sys.modules["playalong.midi_io.portmidi_port"]
    monkeypatch.setattr(module, "time", SimpleNamespace(perf_counter=lambda: 12.5))
    midi.waiting = [[[0x99, 38, 1 + number % 127, 0], 1000 + number] for number in range(150)]
    assert port.poll() == [
        Arrival(
            stamp_s=(1000 + number) / 1000.0,
            arrival_s=12.5,
            data=bytes((0x99, 38, 1 + number % 127)),
        )
        for number in range(150)
    ]
    assert len(midi.reads) > 1
    assert max(midi.reads) < 4096
    assert port.poll() == []


def test_a_port_that_is_held_by_another_program_is_told(midi):
    backend = ports.backend()
    midi.fails = True
    with pytest.raises(PortError, match='"Through" does not open: another program may hold it'):
        backend.open("Through")


def test_a_port_that_has_gone_meanwhile_is_told(midi):
    backend = ports.backend()
    midi.plugged.pop()
    with pytest.raises(PortError, match="does not open"):
        backend.open("Pad Box \ufffd")


def test_an_overflow_ends_no_run(midi):
    port = ports.open_port("pad")
    midi.fails = True
    assert port.poll() == []
    midi.fails = False
    midi.waiting = [[[0x99, 38, 90, 0], 5]]
    assert [arrival.data for arrival in port.poll()] == [bytes((0x99, 38, 90))]


def test_it_goes_and_comes_back_in_another_place_of_the_list(midi):
    port = ports.open_port("pad")
    assert port.is_there()
    pad = midi.plugged.pop()
    midi.waiting = [[[0x99, 38, 90, 0], 5]]
    assert not port.is_there()
    assert not port.reopen()
    midi.plugged = [(b"ALSA", b"Keys", 1, 0, 0), *midi.plugged, pad]
    assert port.reopen()
    assert port.is_there()
    assert midi.opened == [2, 3]
    assert midi.closed == 1
    midi.waiting = [[[0x99, 38, 91, 0], 5]]
    assert [(arrival.data[2], arrival.stream) for arrival in port.poll()] == [(90, 0), (91, 1)]


def test_an_output_is_taken_up_again_when_the_list_is_made_anew(midi):
    output = outputs.open_output("thr")
    output.send(bytes((0x99, 38, 90)))
    midi.plugged.insert(0, (b"ALSA", b"Keys", 0, 1, 0))
    port = ports.open_port("pad")
    output.send(bytes((0x89, 38, 0)))
    assert midi.opened == [0, 1, 3]
    assert midi.sent == [(0x99, 38, 90), (0x89, 38, 0)]
    output.close()
    port.close()
    assert midi.closed == 3


def test_two_devices_of_one_name_are_both_had(midi):
    midi.plugged.append((b"ALSA", b"Through", 1, 0, 0))
    assert ports.port_names() == ["Through", "Pad Box \ufffd", "Through (2)"]
    ports.open_port("through (2)")
    assert midi.opened == [3]


def test_the_process_that_watches_tells_what_is_plugged_in_until_nobody_listens(
    midi, monkeypatch, capsys
):
    monkeypatch.setattr(sys, "stdin", StringIO())
    import_module("playalong.midi_io.portmidi_port").main()
    lines = capsys.readouterr().out.splitlines()
    assert [json.loads(line) for line in lines] == [[["Through", "Pad Box \ufffd"], ["Through"]]]
