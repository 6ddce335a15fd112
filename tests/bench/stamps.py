"""What the driver's stamps are worth: python -m tests.bench.stamps

A kit in a process of its own sends 10,000 hits at random gaps over JACK's dummy server, at 64
frames, while a run page is drawn as fast as it can in this process, each frame followed by a
look at the port; in a small window and over all of a usual screen. Prints how many hits arrived;
how far the times told are spread around the times of sending, beside the times of arrival; and
how long a hit takes to its verdict.

The times of sending are those of the server's periods in which the kit sent.
"""

import os
import random
import shutil
import subprocess
import sys
import time
from collections import deque

import numpy as np
from numpy.typing import NDArray

from playalong.grading.gauges import Gauges
from playalong.grading.matching.live_grader import Grader
from playalong.grading.verdicts import Rules
from playalong.midi.mapping import Mapper
from playalong.midi_io.ports import open_port
from playalong.midi_io.timestamps import StampFilter
from playalong.pattern.targets import lay_out
from playalong.screen.base.theme import Theme
from playalong.screen.base.window import Window
from playalong.screen.pages.run import RunPage
from playalong.screen.sheet.sheet import Sheet
from tests.bench.frame import FONTS, TEMPO_BPM, groove

HITS, GAP_S = 10_000, 0.004
SIZES = ((1280, 720), (1920, 1080))
BARS = 40
KIT = "bench kit"
NOTES = (36, 38, 42)
#: With a real-time server where the system lets us, as a musician's has it.
MANNERS = (("real-time", ["-R", "-P", "60"]), ("ordinary", ["-r"]))


def message(number: int) -> bytes:
    """Hit ``number``: the next 5,000 or so look different."""
    channel, rest = number % 16, number // 16
    return bytes((0x90 | channel, NOTES[rest % 3], 1 + rest // 3 % 127))


def send_all() -> None:
    """The kit: tells when it is there, begins when it is told to, and tells when it sent each.

    It is a client of the server itself: of a message that is handed to a library nobody knows in
    which period it goes out, and a period is longer than the error that is to be seen.
    """
    import jack

    client = jack.Client(KIT)
    output = client.midi_outports.register("out")
    waiting: deque[bytes] = deque()
    sent_s: list[float] = []

    def period(_frames: int) -> None:
        now_s = time.perf_counter()
        output.clear_buffer()
        while waiting:
            output.write_midi_event(0, waiting.popleft())
            sent_s.append(now_s)

    client.set_process_callback(period)
    with client:
        print("there", flush=True)
        sys.stdin.readline()
        chance = random.Random(1)
        due_s = time.perf_counter()
        for number in range(HITS):
            due_s += GAP_S * chance.uniform(0.3, 1.7)
            time.sleep(max(0.0, due_s - time.perf_counter()))
            waiting.append(message(number))
        time.sleep(0.5)
    print(" ".join(map(repr, sent_s)), flush=True)


def listen(
    kit: "subprocess.Popen[str]", size: tuple[int, int]
) -> tuple[list[bytes], NDArray[np.float64], float]:
    """What arrived; for each (time told, arrival, verdict) in seconds; and frames a second."""
    assert kit.stdin is not None
    pattern, rules = groove(), Rules()
    targets = lay_out(pattern, TEMPO_BPM, BARS)
    sheet = Sheet(targets, pattern.bars, rules)
    grader, gauges = Grader(targets, rules), Gauges(targets, rules, TEMPO_BPM)
    page = RunPage(
        theme=Theme.load(FONTS),
        title="Busy",
        subtitle="a kit at the other end",
        tempo_bpm=TEMPO_BPM,
        sheet=sheet,
        timing=gauges.timing,
        ghosts=gauges.ghosts,
        steadiness=gauges.steadiness,
    )
    window = Window.open(size, offscreen=True)
    port, mapper, stamps = open_port(KIT), Mapper(), StampFilter()
    time.sleep(0.5)  # until the server has joined the two
    kit.stdin.write("begin\n")
    kit.stdin.flush()
    found: list[bytes] = []
    rows, frames, start_s = [], 0, time.perf_counter()
    last_s = start_s
    while len(found) < HITS and last_s > time.perf_counter() - 2.0:
        window.frame(page, time.perf_counter() - start_s)
        window.presses()
        frames += 1
        for arrival in port.poll():
            stamped_s = stamps.time_s(arrival.stamp_s, arrival.arrival_s, arrival.stream)
            hit = mapper.hit(stamped_s - start_s, arrival.data)
            events = grader.hit(hit) if hit is not None else []
            last_s = time.perf_counter()
            rows.append((stamped_s, arrival.arrival_s, last_s))
            found.append(arrival.data)
            if hit is not None and events:
                sheet.hit(len(found) - 1, hit)
            for event in events:
                sheet.judged(event)
        for event in grader.time_passed(time.perf_counter() - start_s):
            sheet.judged(event)
    fps = frames / (time.perf_counter() - start_s)
    port.close()
    window.close()
    return found, np.array(rows).reshape(-1, 3), fps


def matched(found: list[bytes]) -> NDArray[np.intp]:
    """The number of each hit that arrived; they come in order, and some may be lost."""
    numbers, number = [], 0
    for data in found:
        while message(number) != data:
            number += 1
        numbers.append(number)
        number += 1
    return np.array(numbers, np.intp)


def spread(error_s: NDArray[np.float64]) -> str:
    """Standard deviation, and from the 1st to the 99th percentile, in words."""
    low_s, high_s = np.percentile(error_s, (1, 99))
    return (
        f"standard deviation {1000 * error_s.std():.2f} ms, "
        f"1st to 99th percentile {1000 * (high_s - low_s):.2f} ms"
    )


def measure(size: tuple[int, int]) -> None:
    """Play it in a window of ``size``, and print the figures."""
    command = [sys.executable, "-m", "tests.bench.stamps", "send"]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen(command, text=True, **pipes) as kit:  # type: ignore[call-overload]
        assert kit.stdout is not None
        kit.stdout.readline()
        found, rows, fps = listen(kit, size)
        sent_s = np.array([float(word) for word in kit.stdout.readline().split()])
    print(
        f"  window of {size[0]}x{size[1]}: {len(found)} of {HITS} hits arrived (asked: all), at "
        f"{fps:.0f} frames a second"
    )
    told, arrived, judged = (rows - sent_s[matched(found), None]).T
    share = told.std() / arrived.std()
    print(
        f"    error of hit times: {spread(told)} (asked: 0.5), {share:.2f} of the arrivals' (0.5)"
    )
    print(f"    error of arrival times: {spread(arrived)}")
    middle_ms, most_ms = 1000 * np.percentile(judged, (50, 99))
    print(f"    hit to verdict: median {middle_ms:.2f} ms, 99th percentile {most_ms:.2f} ms (5)")


def main() -> None:
    """Print the figures, where there is a JACK server to be had."""
    program = shutil.which("jackd")
    if program is None:
        print("  jackd is not installed: nothing is measured")
        return
    before = dict(os.environ)
    os.environ |= {
        "JACK_DEFAULT_SERVER": f"playalong-bench-{os.getpid()}",
        "JACK_NO_START_SERVER": "1",
    }
    dummy = ["-S", "-d", "dummy", "-r", "48000", "-p", "64"]
    try:
        for name, manner in MANNERS:
            command = [program, "-n", os.environ["JACK_DEFAULT_SERVER"], *manner, *dummy]
            hushed = subprocess.DEVNULL
            server = subprocess.Popen(command, stdout=hushed, stderr=hushed)
            try:
                time.sleep(2.0)
                if server.poll() is None:
                    print(f"  JACK's dummy server, {name}, 64 frames at 48000 a second:")
                    for size in SIZES:
                        measure(size)
                    return
            finally:
                server.terminate()
                server.wait()
        print("  jackd does not start: nothing is measured")
    finally:
        os.environ.clear()
        os.environ.update(before)


if __name__ == "__main__":
    send_all() if sys.argv[1:] == ["send"] else main()
