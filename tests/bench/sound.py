"""What sound costs: python -m tests.bench.sound

Renders a minute in blocks of 10 ms, with 16 clicks a second that overlap and ten thousand more
that wait, as a long run would have. Prints the processor time of one second of sound as a share
of that second, and the slowest block as a share of the time it lasts. Then what the drum kit
takes: one layer of every voice, all layers, and a stroke that is ready.
"""

import time
from collections.abc import Callable

from playalong.pattern.kit import VOICES
from playalong.sound.click import Kind, sample
from playalong.sound.drums import LAYERS, stroke, warm
from playalong.sound.timeline import Timeline

SECONDS, CLICKS_PER_S, WAITING = 60, 16, 10_000
BLOCK_S = 0.01


def block_times_s() -> list[float]:
    """The processor time of each block, in seconds."""
    timeline = Timeline()
    click = sample(Kind.ONE, timeline.rate)
    for number in range(SECONDS * CLICKS_PER_S + WAITING):
        timeline.place(number * timeline.rate // CLICKS_PER_S, click)
    times_s = []
    for _ in range(round(SECONDS / BLOCK_S)):
        before_s = time.process_time()
        timeline.render(round(BLOCK_S * timeline.rate))
        times_s.append(time.process_time() - before_s)
    return times_s


def drum_kit() -> None:
    """The processor time of making the kit; each rate is made anew."""
    names = [voice.name for voice in VOICES]
    first_s = _took_s(lambda: [stroke(name, 84, 48_000) for name in names])
    all_s = _took_s(lambda: warm(names, 44_100))
    ready_s = max(_took_s(lambda name=name: stroke(name, 84, 44_100)) for name in names)
    print(
        f"{len(names)} voices: {first_s:.2f} s for a stroke of each (asked: 0.5), "
        f"{all_s:.2f} s for all {LAYERS} layers, then {1000 * ready_s:.1f} ms for a stroke"
    )


def _took_s(work: Callable[[], object]) -> float:
    before_s = time.process_time()
    work()
    return time.process_time() - before_s


def main() -> None:
    """Print the figures."""
    times_s = block_times_s()
    print(
        f"{SECONDS} s of sound, {CLICKS_PER_S} clicks a second: "
        f"{sum(times_s) / SECONDS:.3%} of real time, "
        f"slowest block {max(times_s) / BLOCK_S:.1%} of its length"
    )
    drum_kit()


if __name__ == "__main__":
    main()
