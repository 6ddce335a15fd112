"""What sound costs: python -m tests.bench.sound

Renders a minute in blocks of 10 ms, with 16 clicks a second that overlap and ten thousand more
that wait, as a long run would have. Prints the processor time of one second of sound as a share
of that second, and the slowest block as a share of the time it lasts.
"""

import time

from playalong.sound.click import Kind, sample
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


def main() -> None:
    """Print the figures."""
    times_s = block_times_s()
    print(
        f"{SECONDS} s of sound, {CLICKS_PER_S} clicks a second: "
        f"{sum(times_s) / SECONDS:.3%} of real time, "
        f"slowest block {max(times_s) / BLOCK_S:.1%} of its length"
    )


if __name__ == "__main__":
    main()
