"""Real MIDI ports, in real time, through JACK."""

import random
import time
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
import pytest
import rtmidi

from playalong.midi.port import Port
from playalong.midi_io import ports
from playalong.midi_io.backend import NO_PORT, PortError
from playalong.midi_io.outputs import Sending, open_output
from playalong.midi_io.rtmidi_port import VirtualOutput
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.simulation.player import perform, send
from tests.helpers.steady_player import STEADY

pytestmark = [pytest.mark.jack, pytest.mark.usefixtures("jack")]

NAME = "practice pad"
GROOVE = (
    'title = "T"\nmeter = "4/4"\ntempo = 100\n[[bar]]\nhi-hat = "xx xo xx xx"\n'
    'snare = "--g- f--g -g-- d---"\nkick = "x--x ---x --x- ----"\n'
)


@pytest.fixture
def output() -> Iterator[VirtualOutput]:
    made = VirtualOutput(NAME)
    yield made
    made.close()


def soon(true: Callable[[], bool]) -> bool:
    """Whether it comes true within a few seconds."""
    end_s = time.monotonic() + 5.0
    while time.monotonic() < end_s:
        if true():
            return True
        time.sleep(0.01)
    return False


@pytest.fixture
def listening() -> Iterator[rtmidi.MidiIn]:
    """An input of another program: where what we send can be heard."""
    client = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="module")
    client.open_virtual_port("in")
    yield client
    client.close_port()
    client.delete()


def heard(output: VirtualOutput, port: Port, velocity: int) -> set[int]:
    """The velocities that arrive when a stroke is sent until it is heard.

    What is sent before the server has joined the two ports goes nowhere.
    """
    found: set[int] = set()

    def arrived() -> bool:
        output.send(bytes((0x99, 38, velocity)))
        found.update(arrival.data[2] for arrival in port.poll())
        return bool(found)

    assert soon(arrived)
    return found


def test_there_is_no_port_before_one_is_made():
    assert ports.port_names() == []
    with pytest.raises(PortError) as caught:
        ports.open_port(None)
    assert str(caught.value) == NO_PORT


def test_a_port_is_found_by_a_part_of_its_name(output):
    assert [NAME in name for name in ports.port_names()] == [True]
    port = ports.open_port("Practice")
    assert NAME in port.name
    port.close()
    with pytest.raises(PortError, match=f'No MIDI port has "nowhere" in its name.*{NAME}'):
        ports.open_port("nowhere")


def test_a_port_that_has_gone_meanwhile_is_told(output):
    with pytest.raises(PortError, match='"gone" does not open'):
        ports.backend().open("gone")


def test_a_performance_arrives_whole_in_order_and_in_time(output):
    """Two bars at 100: about five seconds."""
    performance = perform(lay_out(read(GROOVE, "t"), 100.0, 2), STEADY, 1)
    port = ports.open_port("practice")
    sent_s: list[float] = []

    class Watched:
        def send(self, data: bytes) -> None:
            sent_s.append(time.perf_counter())
            output.send(data)

    arrivals = []

    def wait(seconds: float) -> None:
        time.sleep(seconds)
        arrivals.extend(port.poll())

    try:
        send(performance, Watched(), time.perf_counter() + 0.5, now=time.perf_counter, wait=wait)
        count = len(performance.messages)
        assert soon(lambda: arrivals.extend(port.poll()) or len(arrivals) >= count)
    finally:
        port.close()
    assert [arrival.data for arrival in arrivals] == [data for _, data in performance.messages]

    stamps = StampFilter()
    told_s = np.array([stamps.time_s(item.stamp_s, item.arrival_s) for item in arrivals])
    assert (np.diff(told_s) >= 0.0).all()
    error_s = told_s - np.array(sent_s)
    # A period of this server is 1.3 ms: no message can be told sooner than that before its time.
    assert error_s.min() > -0.002
    # 10 ms unless the machine is too busy to bring the messages themselves so soon.
    late_s = np.array([item.arrival_s for item in arrivals]) - np.array(sent_s)
    assert np.quantile(error_s, 0.99) <= max(0.010, float(np.quantile(late_s, 0.99)))


def test_a_port_that_is_pulled_out_is_noticed():
    output = VirtualOutput(NAME)
    port = ports.open_port("practice")
    assert port.is_there()
    assert heard(output, port, 90) == {90}
    output.close()
    assert soon(lambda: not port.is_there())
    port.poll()  # what was still on its way
    assert port.poll() == []
    port.close()
    assert ports.port_names() == []


def test_200_times_a_port_is_pulled_out_and_comes_back_and_no_hit_is_lost():
    """A hit counts from the first that is heard after the port is back: before, it is joined
    to nothing. And up to the last that crossed the server, which a witness beside it tells."""
    chance = random.Random(8)
    output = VirtualOutput(NAME)
    port = ports.open_port("practice")
    witness = rtmidi.MidiIn(rtmidi.API_UNIX_JACK, name="witness")
    crossed: list[int] = []

    def has_crossed(note: int) -> bool:
        while (event := witness.get_message()) is not None:
            crossed.append(event[0][1])
        return note in crossed

    def witness_joined(velocity: int) -> bool:
        output.send(bytes((0x99, 38, velocity)))
        return has_crossed(38)

    try:
        for round_ in range(200):
            velocity = 1 + round_ % 127
            crossed.clear()
            names = witness.get_ports()
            witness.open_port(next(row for row, name in enumerate(names) if NAME in name))
            assert heard(output, port, velocity) == {velocity}
            assert soon(partial(witness_joined, velocity))
            sent = chance.randrange(1, 12)
            found = []
            for number in range(sent):
                output.send(bytes((0x99, 40 + number, 90)))
                time.sleep(chance.uniform(0.0, 0.004))
                if chance.random() < 0.2:
                    found += port.poll()
            # The cable is not cut while a message is on it.
            assert soon(partial(has_crossed, 40 + sent - 1))
            time.sleep(0.03)
            witness.close_port()
            output.close()
            assert soon(lambda: not port.is_there())
            assert not port.reopen()
            output = VirtualOutput(NAME)
            assert soon(port.reopen)
            found += port.poll()
            notes = [arrival.data[1] for arrival in found if arrival.data[1] != 38]
            assert notes == list(range(40, 40 + sent))
            assert {arrival.stream for arrival in found} == {round_}
    finally:
        witness.delete()
        port.close()
        output.close()


def test_system_messages_take_no_time_from_the_stamps(output):
    """What an input leaves out would be missing in the stamps of all that follows."""
    port = ports.open_port("practice")
    heard(output, port, 90)
    time.sleep(0.05)
    port.poll()
    arrivals = []
    for data in ((0x99, 38, 1), (0xF0, 1, 2, 0xF7), (0xFE,), (0xF8,), (0x99, 38, 2)):
        output.send(bytes(data))
        time.sleep(0.1)
        arrivals += port.poll()
    port.close()
    assert [arrival.data[2] for arrival in arrivals] == [1, 2]
    between_s = arrivals[1].stamp_s - arrivals[0].stamp_s
    assert between_s > 0.3  # three of the four pauses at the least, however busy the machine


def test_messages_go_out_at_their_time_to_an_output_chosen_by_name(listening):
    output = open_output("module")
    sending = Sending(output, time.perf_counter, time.sleep)
    sending.schedule(
        (time.perf_counter() + 0.2 + 0.01 * number, bytes((0x99, 38, 1 + number)))
        for number in range(50)
    )
    found: list[int] = []

    def arrived() -> bool:
        while (event := listening.get_message()) is not None:
            found.append(event[0][2])
        return len(found) >= 51

    assert soon(lambda: arrived() or len(found) == 50)
    sending.close()
    assert soon(arrived)  # what sounds is ended
    assert found == [*range(1, 51), 0]


def test_who_only_lists_takes_leave_of_the_server(output, monkeypatch):
    """JACK's server holds up the next client for seconds where one just goes."""
    from playalong.midi_io import rtmidi_port

    made: list[rtmidi.MidiIn] = []
    make = rtmidi_port.RtMidiBackend._made

    def making(self: rtmidi_port.RtMidiBackend, api: int) -> rtmidi.MidiIn:
        made.append(make(self, api))
        return made[-1]

    monkeypatch.setattr(rtmidi_port.RtMidiBackend, "_made", making)
    ports.port_names()
    with pytest.raises(PortError):
        ports.open_port("attic")
    ports.open_port(NAME).close()
    assert [client.is_deleted for client in made] == [True, True, True]
