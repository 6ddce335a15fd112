"""From a stroke to its sound over real MIDI ports, with JACK's dummy server.

A kit in a process of its own, a client of the server, strikes at chance; its messages come in by
the program's own port, and sound as pads do that sound through the program, on miniaudio's null
device, which runs in real time. When a stroke was sent the kit knows itself: it is in the server's
period in which it went out. When its sound is heard is known from the frames of the device and all
its requests around, not from the clock by which the program placed it. Cases are strokes. Those
around which the machine held up the server, or this process, for longer than ``HELD_S`` are told
apart: other programs had the cores then.
"""

import os
import random
import shutil
import subprocess
import sys
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from playalong.app.run.clock import RealClock
from playalong.app.run.context import LISTEN_S
from playalong.app.run.echo import Echo
from playalong.app.run.hit_input import HitInput
from playalong.midi.pads import Pads
from playalong.midi_io.ports import open_port
from playalong.midi_io.timestamps import StampFilter
from playalong.sound.device import output
from playalong.sound.device.devices import PADS_BUFFER_MS, null
from playalong.sound.device.output import DeviceOutput, Sound
from playalong.sound.timeline import RATE, Frames, Placed
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 400, 40

KIT, SNARE = "struck kit", 38

#: So far apart strokes are, in seconds, and how much of a spread is asked for, in ms.
GAP_S, SPREAD_MS = (0.06, 0.24), 1.0

#: The first strokes teach the port its least delay.
LEARNED = 10

#: A process that is to run every 2 ms or oftener, and did not for so long, was held up.
HELD_S = 0.008

#: Within so many seconds on both sides the promptest request tells where frames lie in time.
AROUND_S = 2.0

Floats = NDArray[np.float64]


def offsets_s(at_s: Floats, frames: Floats, when_s: Floats) -> Floats:
    """Second minus frame at each of ``when_s``, from the promptest of the requests around it."""
    late = at_s - frames / RATE
    low = np.searchsorted(at_s, when_s - AROUND_S)
    high = np.searchsorted(at_s, when_s + AROUND_S)
    return np.array([late[begin:end].min() for begin, end in zip(low, high, strict=True)])


def held_around(sent_s: Floats, ran_s: Floats) -> NDArray[np.bool_]:
    """(n,) whether a process that ``ran_s`` was held up around each of ``sent_s``."""
    ends_s = ran_s[1:][np.diff(ran_s) > HELD_S]
    begins_s = ran_s[:-1][np.diff(ran_s) > HELD_S]
    low, high = sent_s[:, None] - 0.02, sent_s[:, None] + 0.04
    return np.asarray(((ends_s > low) & (begins_s < high)).any(axis=1))


def strike(count: int) -> None:
    """The kit: begins when it is told to, and tells at last when it struck."""
    import jack

    client = jack.Client(KIT)
    out = client.midi_outports.register("out")
    waiting: deque[bytes] = deque()
    sent_s: list[float] = []
    periods_s: list[float] = []

    def period(_frames: int) -> None:
        now_s = time.perf_counter()
        periods_s.append(now_s)
        out.clear_buffer()
        while waiting:
            out.write_midi_event(0, waiting.popleft())
            sent_s.append(now_s)

    client.set_process_callback(period)
    with client:
        print("there", flush=True)
        sys.stdin.readline()
        chance = random.Random(1)
        for number in range(count):
            time.sleep(chance.uniform(*GAP_S))
            waiting.append(bytes((0x99, SNARE, 40 + number % 80)))
        time.sleep(0.5)
    print(" ".join(map(repr, sent_s)), flush=True)
    held = held_around(np.array(sent_s), np.array(periods_s))
    print(" ".join(map(str, held.astype(int).tolist())), flush=True)


class Listening:
    """A device's requests, and the sounds that were placed on it."""

    def __init__(self, device: DeviceOutput) -> None:
        self.device = device
        self.at_s: list[float] = []
        self.frames: list[int] = []
        self.placed: list[int] = []
        render, answer = device.timeline.render, device.answer

        def rendering(count: int) -> Frames:
            self.at_s.append(time.perf_counter())
            self.frames.append(device.timeline.rendered)
            return render(count)

        def answering(struck_s: float, sound: Sound) -> Placed:
            placed = answer(struck_s, sound)
            self.placed.append(placed.start)
            return placed

        device.timeline.render = rendering  # type: ignore[method-assign]
        device.answer = answering  # type: ignore[method-assign]

    def heard_s(self) -> Floats:
        """When each sound is heard."""
        at_s, frames = np.array(self.at_s), np.array(self.frames, np.float64)
        placed = np.array(self.placed, np.float64)
        when_s = np.interp(placed, frames, at_s)
        own_s = placed / RATE + offsets_s(at_s, frames, when_s)
        return np.asarray(own_s + self.device._line.waits_s)


def measured(count: int) -> Table:
    """Play on a server that runs."""
    table = Table(
        "from stroke to sound over JACK's MIDI ports, ms",
        ("strokes", "how many", "mean", "spread (sd)", "95 % within"),
    )
    command = [sys.executable, "-m", "tests.long.pads", "strike", str(count)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as kit:
        assert kit.stdin is not None
        assert kit.stdout is not None
        kit.stdout.readline()
        with patch.object(output, "defaults", lambda: [null()]):
            device, clock = DeviceOutput(buffer_ms=PADS_BUFFER_MS), RealClock()
        listening = Listening(device)
        port = open_port(KIT)
        pads = Pads()
        heard = HitInput(port, StampFilter(), pads)
        echo = Echo(device, pads, 0.0)
        time.sleep(0.5)  # until the server has joined the two
        kit.stdin.write("begin\n")
        kit.stdin.flush()
        last_s, ran_s = clock.now(), list[float]()
        while len(listening.placed) < count and clock.now() < last_s + 3.0:
            for message in heard.read():
                echo.received(message)
                last_s = clock.now()
            device.tend()
            ran_s.append(clock.now())
            clock.wait(LISTEN_S)
        sent_s = np.array([float(word) for word in kit.stdout.readline().split()])
        held = np.array([word == "1" for word in kit.stdout.readline().split()])
        port.close()
        device.close()
    heard_s = listening.heard_s()
    if len(heard_s) != len(sent_s):
        table.row(f"{len(heard_s)} of {len(sent_s)} came", "", "", "", "", holds=False)
        return table
    held |= held_around(sent_s, np.array(ran_s))
    delay_ms = 1000.0 * (heard_s - sent_s)
    each, free = delay_ms[LEARNED:], delay_ms[LEARNED:][~held[LEARNED:]]
    for name, own in (("all", each), ("while nothing was held up", free)):
        within = float(np.percentile(np.abs(own - np.median(own)), 95)) if len(own) else np.nan
        mean, spread = (float(own.mean()), float(own.std())) if len(own) else (np.nan, np.nan)
        holds = spread < SPREAD_MS if own is free else None
        figures = (round(mean, 2), round(spread, 3), round(within, 3))
        table.row(name, len(own), *figures, holds=holds)
    return table


@contextmanager
def server() -> Iterator[bool]:
    """JACK's dummy server, if there is one to be had."""
    program = shutil.which("jackd")
    before = dict(os.environ)
    os.environ |= {
        "JACK_DEFAULT_SERVER": f"playalong-pads-{os.getpid()}",
        "JACK_NO_START_SERVER": "1",
    }
    running: subprocess.Popen[bytes] | None = None
    if program is not None:
        name = os.environ["JACK_DEFAULT_SERVER"]
        command = [program, "-n", name, "-r", "-S", "-d", "dummy", "-r", str(RATE), "-p", "64"]
        hushed = subprocess.DEVNULL
        running = subprocess.Popen(command, stdout=hushed, stderr=hushed)
        time.sleep(2.0)
    try:
        yield running is not None and running.poll() is None
    finally:
        if running is not None:
            running.terminate()
            running.wait()
        os.environ.clear()
        os.environ.update(before)


def over_jack(count: int) -> Table:
    """The figures, where there is a server to be had."""
    with server() as runs:
        if runs:
            return measured(count)
    table = Table("from stroke to sound over JACK's MIDI ports", ("left out",))
    table.row("jackd (Debian: jackd2) is not there, or does not start")
    return table


def tables(options: Options) -> Iterator[Table]:
    """All of it."""
    yield over_jack(options.count)


if __name__ == "__main__" and sys.argv[1:2] == ["strike"]:
    strike(int(sys.argv[2]))
