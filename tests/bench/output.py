"""What is heard, while the window draws as fast as it can: python -m tests.bench.output

The run page of a shipped pattern is drawn without a pause while the click plays on miniaudio's
null device, which runs in real time. Prints how often the device ran dry, how late its requests
were, and how far the clicks in the rendered stream lie from where they were placed; first with
the interpreter's own switch interval, then with ours. Then a simulated hour on a device whose
clock is off and whose requests jitter: the largest difference between what is heard and what is
drawn. Beside each run a process that does nothing but sleep tells how long the machine itself
held it up: where that is as long as a buffer, other programs had the cores, and the figures say
little about this one. PLAYALONG_BENCH_LONG=1 makes the run with our own interval ten minutes
long.
"""

import os
import subprocess
import sys
import time
from collections import deque
from collections.abc import Callable, Generator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

import miniaudio
import numpy as np

from playalong.grading.gauges import Gauges
from playalong.grading.matching.live_grader import Grader
from playalong.grading.verdicts import Rules
from playalong.pattern.library.catalogue import Library
from playalong.pattern.meter import Tempo
from playalong.pattern.targets import lay_out
from playalong.screen.base.theme import Theme
from playalong.screen.base.window import Window
from playalong.screen.pages.run import RunPage
from playalong.screen.sheet.sheet import Sheet
from playalong.sound.device.output import SWITCH_S, DeviceOutput
from playalong.sound.synth.click import Click, Kind, clicks
from playalong.sound.timeline import RATE, Frames, Placed, Source
from playalong.support import resources as shipped
from tests.bench.frame import played

PATTERN = "late-bus-home"
SECONDS, LONG_SECONDS = 20, 600
SIZE = (1280, 720)
PYTHON_SWITCH_S = 0.005

#: So much silence ends a click: far more than a zero crossing, far less than what lies between.
QUIET_FRAMES = 480

#: Sleeps until its input ends; prints the seconds of the longest time over, and how often it was
#: over a buffer.
BYSTANDER = """
import sys, threading, time
over, ended = [0.0], threading.Event()
threading.Thread(target=lambda: (sys.stdin.read(), ended.set()), daemon=True).start()
while not ended.is_set():
    before = time.perf_counter()
    time.sleep(0.005)
    over.append(time.perf_counter() - before - 0.005)
print(max(over), sum(late > 0.01 for late in over))
"""

HOUR_S, PPM, TENDED_S, CLICK_S = 3600.0, 100.0, 1 / 60, 0.5
#: How late simulated requests come: on the average, and at most.
JITTER_S, JITTER_MOST_S = 0.001, 0.009


class Starved:
    """How long the threads of this process waited for a processor that others had, by Linux's own
    count (/proc/PID/task/TID/schedstat, the second figure, in ns), and how long the machine itself
    had none (the steal of /proc/stat, in hundredths of a second). Elsewhere nothing is known.
    """

    #: A thread that waited so long within so many seconds explains that a device ran dry.
    LEAST_S, WITHIN_S = 0.008, 0.15

    def __init__(self) -> None:
        self._tasks, self._stat = Path("/proc/self/task"), Path("/proc/stat")
        self._seen: deque[tuple[float, dict[str, float]]] = deque()

    def look(self, now_s: float) -> None:
        """Note how long each has waited by now."""
        waited = {}
        for task in self._tasks.iterdir() if self._tasks.is_dir() else ():
            with suppress(OSError, IndexError):
                waited[task.name] = int((task / "schedstat").read_text().split()[1]) / 1e9
        with suppress(OSError, IndexError, ValueError):
            waited["steal"] = int(self._stat.read_text().split()[8]) / 100.0
        self._seen.append((now_s, waited))
        # The last look before that time counts, too: this thread may have waited since.
        while len(self._seen) > 1 and self._seen[1][0] < now_s - self.WITHIN_S:
            self._seen.popleft()

    @property
    def lately(self) -> bool:
        """Whether a thread waited too long just now."""
        before, after = self._seen[0][1], self._seen[-1][1]
        return any(after[tid] - before.get(tid, 0.0) > self.LEAST_S for tid in after)


class Heard:
    """What goes through a timeline: where sounds were placed, and where they begin in what is
    rendered; and how late the requests came.
    """

    def __init__(self, device: DeviceOutput) -> None:
        self.placed: list[int] = []
        self.onsets: list[int] = []
        self.late_s: list[float] = []
        self._device, self._sounded = device, -QUIET_FRAMES
        timeline = device.timeline
        self._place, self._render = timeline.place, timeline.render
        timeline.place = self._placing  # type: ignore[method-assign]
        timeline.render = self._rendering  # type: ignore[method-assign]

    def _placing(
        self, frame: int | None, sound: Source, gain: float = 1.0, *, group: str = ""
    ) -> Placed:
        assert frame is not None
        self.placed.append(frame)
        return self._place(frame, sound, gain, group=group)

    def _rendering(self, frames: int) -> Frames:
        begin = self._device.timeline.rendered
        self.late_s.append(self._device.clock.late_s(begin, time.perf_counter()))
        block = self._render(frames)
        sounding = begin + np.flatnonzero(block[:, 0])
        after_quiet = np.diff(sounding, prepend=self._sounded) >= QUIET_FRAMES
        self.onsets += sounding[after_quiet].tolist()
        self._sounded = int(sounding[-1]) if len(sounding) else self._sounded
        return block

    def error_frames(self) -> int:
        """The largest distance of an onset from where it was placed; every click must be there."""
        end = self._device.timeline.rendered - RATE // 10
        placed = [frame for frame in self.placed if frame < end]
        onsets = self.onsets[: len(placed)]
        if len(onsets) < len(placed):
            raise AssertionError(f"{len(placed)} clicks were placed, {len(onsets)} were rendered")
        return max(abs(a - b) for a, b in zip(placed, onsets, strict=True))


@dataclass(frozen=True, kw_only=True)
class Soaked:
    """What came of a run that was drawn as fast as it can be.

    ``own`` are the underruns at which no thread waited for a processor that others had. ``late_ms``
    are the median, the 99th percentile and the most by which requests came late;
    ``held_ms`` the longest, and ``held`` how often, that the machine itself held up a process.
    """

    frames_per_s: float
    underruns: int
    own: int
    clicks: int
    error_frames: int
    late_ms: tuple[float, ...]
    apart_ms: float
    held: int
    held_ms: float


def drawing(seconds: int, switch_s: float) -> Soaked:
    """A run of ``seconds``, drawn as fast as it can be."""
    window = Window.open(SIZE, offscreen=True)
    bystander = subprocess.Popen(
        [sys.executable, "-c", BYSTANDER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    device = DeviceOutput()
    sys.setswitchinterval(switch_s)
    heard = Heard(device)
    text = (shipped.folder("patterns") / "grooves" / f"{PATTERN}.toml").read_text(encoding="utf-8")
    pattern, rules = Library({PATTERN: text}).get(PATTERN), Rules()
    tempo = Tempo(pattern.tempo, pattern.meter.unit)
    bars = 1 + int(seconds / tempo.seconds(pattern.meter.length))
    targets = lay_out(pattern, pattern.tempo, bars)
    grader, gauges = Grader(targets, rules), Gauges(targets, rules, pattern.tempo)
    sheet = Sheet(targets, pattern.bars, rules, swing=pattern.swing)
    page = RunPage(
        theme=Theme.load(shipped.folder("assets") / "fonts"),
        title=pattern.title,
        subtitle="drawn as fast as it can be",
        tempo_bpm=pattern.tempo,
        sheet=sheet,
        timing=gauges.timing,
        ghosts=gauges.ghosts,
        steadiness=gauges.steadiness,
    )
    hits, number, frames = played(targets), 0, 0
    starved, own = Starved(), 0
    start_s = time.perf_counter() + 1.0
    ticks = clicks([pattern.meter] * bars, tempo, count_in=0)
    device.schedule(start_s, ticks)
    # What was before the run, while all this was made, has no sound in it.
    starved.look(-1.0)
    dry = device.underruns
    while (now_s := time.perf_counter() - start_s) < seconds:
        events = grader.time_passed(now_s)
        while number < len(hits) and hits[number].time_s <= now_s:
            sheet.hit(number, hits[number])
            events += grader.hit(hits[number])
            number += 1
        for event in events:
            sheet.judged(event)
            if event.settled:
                gauges.heard(event, hits[event.hit] if event.hit is not None else None)
        window.frame(page, now_s)
        window.presses()
        device.tend()
        starved.look(now_s)
        if device.underruns > dry:
            own += 0 if starved.lately else device.underruns - dry
            dry = device.underruns
        frames += 1
    device.close()
    window.close()
    longest_s, times = bystander.communicate()[0].split()
    late_ms = 1000.0 * np.percentile(heard.late_s, [50, 99, 100])
    apart = np.diff(heard.onsets) / RATE - float(60 / pattern.tempo)
    return Soaked(
        frames_per_s=frames / seconds,
        underruns=device.underruns,
        own=own,
        clicks=len(heard.onsets),
        error_frames=heard.error_frames(),
        late_ms=tuple(late_ms.tolist()),
        apart_ms=float(1000 * np.abs(apart).max()),
        held=int(times),
        held_ms=1000.0 * float(longest_s),
    )


def told(seconds: int, switch_s: float) -> None:
    """Draw for so long, and print what came of it."""
    found = drawing(seconds, switch_s)
    print(
        f"  {seconds} s, switch interval {1000 * switch_s:g} ms, {found.frames_per_s:.0f} frames a "
        f"second: {found.underruns} underruns, {found.own} of them while nobody else "
        f"had the processor (asked: 0), {found.clicks} clicks, error "
        f"{found.error_frames} samples (asked: 0)\n"
        f"    requests late by {found.late_ms[0]:.1f} ms (median), {found.late_ms[1]:.1f} ms (99th "
        f"percentile), {found.late_ms[2]:.1f} ms (most), up to 10 ms of it by the null device "
        "itself\n"
        f"    from click to click at most {found.apart_ms:.2f} ms off\n"
        f"    meanwhile the machine held up a process that only sleeps {found.held} times for more "
        f"than 10 ms, at most {found.held_ms:.1f} ms"
    )


class DriftingDevice:
    """A device that asks when it is let, standing in for miniaudio's."""

    backend = "simulated"
    stop_callback: Callable[[], None] | None = None

    frames_at_once = 0

    def opened(self, *, buffersize_msec: int, **_: object) -> "DriftingDevice":
        """Be what is opened."""
        self.frames_at_once = buffersize_msec * RATE // 1000
        return self

    def start(self, frames: Generator[object, int, None]) -> None:
        """Ask for the first frames."""
        self._frames = frames
        self.ask()

    def ask(self) -> None:
        """Ask for a buffer more."""
        self._frames.send(self.frames_at_once)

    def close(self) -> None:
        """Nothing is open."""


class Simulated:
    """A clock in seconds that goes when it is told."""

    now_s = 0.0

    def __call__(self) -> float:
        """The time."""
        return self.now_s


def drift_ms(ppm: float) -> float:
    """The largest difference within an hour between a click's time and when it is heard."""
    clock, there = Simulated(), DriftingDevice()
    jitter_s = np.random.default_rng(1).exponential(JITTER_S, round(HOUR_S * 110))
    with patch.object(miniaudio, "PlaybackDevice", there.opened):
        device = DeviceOutput(clock=clock, sleep=lambda _: None)
    buffer_s = there.frames_at_once / (RATE * (1.0 + ppm * 1e-6))
    placed: list[int] = []
    place = device.timeline.place

    def placing(frame: int | None, sound: Source, gain: float = 1.0, *, group: str = "") -> Placed:
        assert frame is not None
        placed.append(frame)
        return place(frame, sound, gain, group=group)

    device.timeline.place = placing  # type: ignore[method-assign]
    times_s = CLICK_S * np.arange(1, round(HOUR_S / CLICK_S))
    device.schedule(0.0, [Click(float(at_s), Kind.BEAT) for at_s in times_s])
    tended_s = 0.0
    for number, late_s in enumerate(jitter_s.clip(0.0, JITTER_MOST_S).tolist(), 1):
        if number * buffer_s > HOUR_S:
            break
        clock.now_s = number * buffer_s + late_s
        there.ask()
        if clock.now_s > tended_s + TENDED_S:
            tended_s = clock.now_s
            device.tend()
    device.close()
    # The device hears a frame a buffer after it would have asked for it, by its own clock.
    heard_s = np.array(placed) / (RATE * (1.0 + ppm * 1e-6)) + buffer_s
    return float(1000.0 * np.abs(heard_s - times_s[: len(heard_s)]).max())


def main() -> None:
    """Print the figures."""
    seconds = LONG_SECONDS if os.environ.get("PLAYALONG_BENCH_LONG") else SECONDS
    told(SECONDS, PYTHON_SWITCH_S)
    told(seconds, SWITCH_S)
    for ppm in (PPM, -PPM):
        print(
            f"  an hour on a device {ppm:+g} ppm off, simulated: heard within "
            f"{drift_ms(ppm):.2f} ms of what is drawn"
        )


if __name__ == "__main__":
    main()
