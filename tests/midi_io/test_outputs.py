"""MIDI outputs: choosing one, and messages sent at their time, on a stepped clock."""

import threading
import time
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.midi_io import outputs
from playalong.midi_io.backend import PortError
from playalong.midi_io.outputs import NO_OUTPUT, Sending

ON, OFF = bytes((0x99, 38, 90)), bytes((0x89, 38, 0))


class Stepped:
    """A clock that goes on when somebody waits, and an output that notes what it is told when."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.sent: list[tuple[float, bytes]] = []
        self.closed = 0
        self.going = threading.Event()
        self.going.set()

    def now(self) -> float:
        return self.now_s

    def wait(self, seconds: float) -> None:
        self.going.wait()
        self.now_s += max(seconds, 1e-6)

    def send(self, data: bytes) -> None:
        self.sent.append((self.now_s, data))

    def close(self) -> None:
        self.closed += 1


def soon(true: Callable[[], bool]) -> bool:
    """Whether it comes true; the program's own clock does not run here."""
    end_s = time.monotonic() + 20.0
    while time.monotonic() < end_s:
        if true():
            return True
        time.sleep(0.001)
    return False


@settings(max_examples=30, deadline=None)
@given(st.lists(st.lists(st.floats(0.001, 5.0), max_size=20), min_size=1, max_size=4))
def test_all_is_sent_in_order_and_in_time(portions):
    stepped = Stepped()
    stepped.going.clear()  # it stands still until all is scheduled
    sending = Sending(stepped, stepped.now, stepped.wait)
    messages = []
    for portion in portions:
        numbered = [
            (time_s, (len(messages) + place).to_bytes(3, "big"))
            for place, time_s in enumerate(portion)
        ]
        messages += numbered
        sending.schedule(numbered)
    stepped.going.set()
    assert soon(lambda: len(stepped.sent) == len(messages))
    sending.close()
    expected = sorted(messages, key=lambda message: message[0])  # of one time: as scheduled
    assert [data for _, data in stepped.sent] == [data for _, data in expected]
    late_s = [at_s - due_s for (at_s, _), (due_s, _) in zip(stepped.sent, expected, strict=True)]
    # The clock only goes on by waiting: how long the thread slept too long.
    assert all(0.0 <= late <= 1e-5 for late in late_s)


def test_a_message_whose_time_has_passed_is_sent_at_once():
    stepped = Stepped()
    stepped.now_s = 100.0
    sending = Sending(stepped, stepped.now, stepped.wait)
    sending.schedule([(1.0, ON)])
    assert soon(lambda: len(stepped.sent) == 1)
    assert stepped.sent == [(100.0, ON)]
    sending.close()


def test_what_is_cleared_is_not_sent_and_what_sounds_is_ended():
    stepped = Stepped()
    sending = Sending(stepped, stepped.now, stepped.wait)
    stepped.going.clear()
    silent_on = bytes((0x91, 40, 0))
    other = bytes((0x91, 40, 70))
    sending.schedule([(0.0, ON), (0.0, other), (0.0, silent_on), (9.0, OFF), (9.0, other)])
    assert soon(lambda: len(stepped.sent) == 3)
    sending.clear()
    assert [data for _, data in stepped.sent] == [ON, other, silent_on, OFF]
    sending.clear()
    stepped.going.set()
    sending.schedule([(20.0, ON)])
    assert soon(lambda: len(stepped.sent) == 5)
    assert stepped.sent[4][1] == ON
    sending.close()
    assert stepped.sent[5][1] == OFF
    assert len(stepped.sent) == 6
    assert stepped.closed == 1


class Fixed:
    """A library with outputs of fixed names."""

    def __init__(self, *names: str) -> None:
        self.listed = list(names)
        self.stepped = Stepped()
        self.closed = 0

    def names(self) -> list[str]:
        return list(self.listed)

    def open(self, name: str) -> Stepped:
        if name not in self.listed:
            raise PortError("it does not open")
        return self.stepped

    def close(self) -> None:
        self.closed += 1


def test_an_output_is_chosen_by_a_part_of_its_name_and_may_come_back(monkeypatch):
    library = Fixed("Through:0", "Pad Box:MIDI 1")
    monkeypatch.setattr(outputs, "outputs", lambda: library)
    assert outputs.output_names() == ["Through:0", "Pad Box:MIDI 1"]
    assert library.closed == 1  # who only lists lets go at once
    output = outputs.open_output("pad")
    assert output.name == "Pad Box:MIDI 1"
    output.send(ON)
    library.listed.pop()
    assert not output.is_there()
    assert not output.reopen()
    library.listed.append("Pad Box:MIDI 1")
    assert output.reopen()
    output.send(OFF)
    assert [data for _, data in library.stepped.sent] == [ON, OFF]
    assert library.closed == 1
    output.close()
    assert library.closed == 2


def test_where_there_is_no_output_it_says_so(monkeypatch):
    monkeypatch.setattr(outputs, "outputs", Fixed)
    with pytest.raises(PortError) as caught:
        outputs.open_output(None)
    assert str(caught.value) == NO_OUTPUT
