"""A port that is pulled out and comes back, on a stand-in for a MIDI library."""

import random
from collections import deque

import pytest

from playalong.midi.port import Arrival
from playalong.midi_io import backend
from playalong.midi_io.backend import PortError
from playalong.midi_io.hotplug import SILENCE_S, PluggedPort

KIT = "Pad Box:MIDI 1 24:0"
STROKE = bytes((0x99, 38, 90))
SENSING = bytes((0xFE,))


@pytest.fixture(autouse=True)
def _numbered_as_alsa_does(monkeypatch):
    """The names here are those of one system, whichever the tests run on."""
    monkeypatch.setattr(backend.plain_name, "__defaults__", (backend.ALSA_NUMBERS,))


class Input:
    """An open input: what was sent and not yet polled."""

    def __init__(self) -> None:
        self.waiting: deque[Arrival] = deque()
        self.closed = False

    def poll(self) -> list[Arrival]:
        found = list(self.waiting)
        self.waiting.clear()
        return found

    def close(self) -> None:
        self.closed = True


class Library:
    """A MIDI library and the kit at its other end."""

    def __init__(self) -> None:
        self.listed = ["Through:0 14:0", KIT]
        self.opened: list[tuple[str, Input]] = []
        self.held = False
        self.closed = False
        self.now_s = 0.0

    def names(self) -> list[str]:
        return list(self.listed)

    def open(self, name: str) -> Input:
        if self.held or name not in self.listed:
            raise PortError("it does not open")
        self.opened.append((name, Input()))
        return self.opened[-1][1]

    def close(self) -> None:
        assert all(port.closed for _, port in self.opened)
        self.closed = True

    def pull_out(self) -> None:
        self.listed = self.listed[:1]

    def plug_in(self, name: str) -> None:
        self.listed = [*self.listed[:1], name]

    def send(self, data: bytes) -> None:
        """It arrives where the input is open on the kit as it is plugged in now."""
        name, port = self.opened[-1]
        if name in self.listed and not port.closed:
            port.waiting.append(Arrival(stamp_s=self.now_s, arrival_s=self.now_s, data=data))


def opened(library: Library) -> PluggedPort:
    return PluggedPort(library, KIT, lambda: library.now_s)


def test_its_name_is_what_does_not_change():
    assert opened(Library()).name == "Pad Box:MIDI 1"


def test_it_comes_back_under_its_name_though_its_numbers_changed():
    library = Library()
    port = opened(library)
    assert port.is_there()
    assert port.reopen()
    library.pull_out()
    assert not port.is_there()
    assert not port.reopen()
    library.plug_in("Pad Box:MIDI 1 32:0")
    assert not port.is_there()
    assert port.reopen()
    assert port.is_there()
    assert [name for name, _ in library.opened] == [KIT, "Pad Box:MIDI 1 32:0"]
    assert [port.closed for _, port in library.opened] == [True, False]


def test_what_came_before_it_went_is_still_given_and_what_comes_after_is_another_stream():
    library = Library()
    port = opened(library)
    library.send(bytes((0x99, 38, 1)))
    library.pull_out()
    assert not port.is_there()
    library.plug_in(KIT)
    assert port.reopen()
    library.send(bytes((0x99, 38, 2)))
    assert [(arrival.data[2], arrival.stream) for arrival in port.poll()] == [(1, 0), (2, 1)]
    assert port.poll() == []


def test_another_port_is_not_taken_for_it():
    library = Library()
    port = opened(library)
    library.plug_in("Pad Box:MIDI 2 24:0")
    assert not port.reopen()
    assert len(library.opened) == 1


def test_a_port_that_does_not_open_yet_is_tried_again():
    library = Library()
    port = opened(library)
    library.pull_out()
    assert not port.is_there()
    library.plug_in(KIT)
    library.held = True
    assert not port.reopen()
    assert not port.is_there()
    library.held = False
    assert port.reopen()


def test_system_messages_are_left_out():
    library = Library()
    port = opened(library)
    for data in (SENSING, STROKE, bytes((0xF8,)), bytes((0xF0, 1, 0xF7)), bytes((0xB9, 4, 64))):
        library.send(data)
    assert [arrival.data for arrival in port.poll()] == [STROKE, bytes((0xB9, 4, 64))]


def test_a_kit_that_stops_its_active_sensing_has_gone_though_it_is_listed():
    """Pulled out and in again between two looks: listed as ever, and joined to nothing."""
    library = Library()
    port = opened(library)
    library.send(SENSING)
    assert port.is_there()
    library.now_s = SILENCE_S
    assert port.is_there()
    library.send(STROKE)  # any message is a sign of life
    library.now_s = 2 * SILENCE_S
    assert port.is_there()
    library.now_s += 0.1
    assert not port.is_there()
    assert port.reopen()
    library.now_s += 10.0
    assert port.is_there()  # opened again, it is not silent before it has been heard


def test_a_kit_without_active_sensing_may_be_silent():
    library = Library()
    port = opened(library)
    library.send(STROKE)
    library.now_s = 3600.0
    assert port.is_there()


@pytest.mark.parametrize("seed", range(10))
def test_200_plug_outs_at_random_moments_lose_no_hit(seed):
    """Whatever is sent while the port is plugged in and open arrives once, in order."""
    chance = random.Random(seed)
    library = Library()
    port = opened(library)
    sent, heard, outs = 0, [], 0

    def strike() -> None:
        nonlocal sent
        library.send(sent.to_bytes(3, "big"))
        sent += 1

    while outs < 200:
        for _ in range(chance.randrange(6)):
            strike()
            if chance.random() < 0.3:
                heard += port.poll()
        library.pull_out()
        outs += 1
        if chance.random() < 0.5:
            heard += port.poll()
        assert not port.is_there()
        while chance.random() < 0.5:
            assert not port.reopen()
        library.plug_in(f"Pad Box:MIDI 1 {chance.randrange(16, 128)}:0")
        assert port.reopen()
    heard += port.poll()
    assert [int.from_bytes(arrival.data, "big") for arrival in heard] == list(range(sent))
    streams = [arrival.stream for arrival in heard]
    assert streams == sorted(streams)


def test_closing_lets_go_of_the_port_and_then_of_the_library():
    library = Library()
    port = opened(library)
    assert not library.closed
    port.close()
    assert library.closed
