"""What a frame of the run page costs: python -m tests.bench.frame

A sheet of 1920 x 1080 pixels that shows 16 bars of a busy groove in sixteenths at once, with all
gauges, while a player answers. Prints the median and the 99th percentile of the processor time
of a frame, drawing and taking in words together.
"""

import statistics
import time
from pathlib import Path

import numpy as np

from playalong.grading.gauges import Gauges
from playalong.grading.matching.live_grader import Grader
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit
from playalong.pattern.meter import Meter
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke
from playalong.pattern.targets import Targets, lay_out
from playalong.screen.base.theme import Theme
from playalong.screen.base.window import Window
from playalong.screen.pages.run import RunPage
from playalong.screen.sheet.sheet import Sheet

FONTS = Path(__file__).resolve().parents[2] / "assets" / "fonts"
SIZE = (1920, 1080)
TEMPO_BPM = 96.0
BARS_SHOWN, BARS = 16, 40
FRAMES_PER_S = 60
FRAMES = 600


def groove() -> Pattern:
    """Hi-hat and snare in sixteenths, four ghost notes to an accent, and a busy bass drum."""
    meter = Meter.parse("4/4")
    strokes = []
    for step in range(16):
        at = meter.length * step / 16
        strokes.append(Stroke(at=at, voice="hi-hat", is_open=step == 14))
        strokes.append(
            Stroke(at=at, voice="snare", dynamic=Dynamic.ACCENT if step % 8 == 4 else Dynamic.GHOST)
        )
        if step % 4 != 1:
            strokes.append(Stroke(at=at, voice="kick"))
    bar = Bar(meter, tuple(strokes), (4, 4, 4, 4))
    return Pattern(name="busy", title="Busy", meter=meter, tempo=TEMPO_BPM, bars=(bar,))


def played(targets: Targets) -> list[Hit]:
    """A player who misses some strokes, plays some late, and some too loud."""
    rng = np.random.default_rng(5)
    late_s = rng.normal(0.004, 0.014, len(targets))
    velocity = np.array([30.0, 85.0, 114.0])[targets.dynamic] + rng.normal(0, 9, len(targets))
    velocity = velocity.clip(1, 127)
    return sorted(
        (
            Hit(float(targets.time_s[row] + late_s[row]), targets.names[row], float(velocity[row]))
            for row in np.flatnonzero(rng.random(len(targets)) > 0.04).tolist()
        ),
        key=lambda hit: hit.time_s,
    )


def frame_times_s() -> list[float]:
    """The processor time of each frame, in seconds."""
    pattern, rules = groove(), Rules()
    targets = lay_out(pattern, TEMPO_BPM, BARS)
    bar_s = float(targets.bar_starts_s[1])
    sheet = Sheet(targets, pattern.bars, rules, seconds_across=BARS_SHOWN * bar_s)
    grader, gauges = Grader(targets, rules), Gauges(targets, rules, TEMPO_BPM)
    page = RunPage(
        theme=Theme.load(FONTS),
        title="Busy",
        subtitle="sixteen bars on one sheet",
        tempo_bpm=TEMPO_BPM,
        sheet=sheet,
        timing=gauges.timing,
        ghosts=gauges.ghosts,
        steadiness=gauges.steadiness,
        clean=(2, 4),
    )
    window = Window.open(SIZE, offscreen=True)
    hits, number = played(targets), 0
    times = []
    for frame in range(-FRAMES, FRAMES):
        now_s = BARS_SHOWN * bar_s + frame / FRAMES_PER_S
        events = grader.time_passed(now_s)
        while number < len(hits) and hits[number].time_s <= now_s:
            sheet.hit(number, hits[number])
            events += grader.hit(hits[number])
            number += 1
        for event in events:
            if event.settled:
                gauges.heard(event, hits[event.hit] if event.hit is not None else None)
        before = time.process_time()
        for event in events:
            sheet.judged(event)
        window.frame(page, now_s)
        window.presses()
        if frame >= 0:
            times.append(time.process_time() - before)
    window.close()
    return times


def main() -> None:
    """Print the figures."""
    times_ms = [1000.0 * time_s for time_s in frame_times_s()]
    print(
        f"{len(times_ms)} frames of {SIZE[0]} x {SIZE[1]}: "
        f"median {statistics.median(times_ms):.2f} ms, "
        f"99th percentile {statistics.quantiles(times_ms, n=100)[98]:.2f} ms"
    )


if __name__ == "__main__":
    main()
