"""What sound costs: python -m tests.bench.sound

Renders a minute in blocks of 10 ms, with 16 clicks a second that overlap and ten thousand more
that wait, as a long run would have. Prints the processor time of one second of sound as a share
of that second, and the slowest block as a share of the time it lasts. Then what the drum kit
takes: one layer of every voice; all layers, made and kept; all layers, read from where they are
kept; and a stroke that is ready, as when a pad sounds through the program.
"""

import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

from playalong.pattern.voices import VOICES
from playalong.sound.synth import drums, kit_cache
from playalong.sound.synth.click import Kind, sample
from playalong.sound.synth.drums import LAYERS, stroke, warm
from playalong.sound.timeline import RATE, Timeline

SECONDS, CLICKS_PER_S, WAITING = 60, 16, 10_000
BLOCK_S = 0.01


def block_times_s() -> list[float]:
    """The processor time of each block, in seconds."""
    timeline = Timeline()
    click = sample(Kind.ONE, RATE)
    for number in range(SECONDS * CLICKS_PER_S + WAITING):
        timeline.place(number * RATE // CLICKS_PER_S, click)
    times_s = []
    for _ in range(round(SECONDS / BLOCK_S)):
        before_s = time.process_time()
        timeline.render(round(BLOCK_S * RATE))
        times_s.append(time.process_time() - before_s)
    return times_s


def drum_kit(folder: Path) -> None:
    """The processor time of having the kit, kept in ``folder``, which is empty."""
    names = [voice.name for voice in VOICES]
    first_s = _took_s(lambda: [stroke(name, 84, RATE) for name in names])
    _forget()
    made_s = _took_s(lambda: warm(names, RATE))
    _forget()
    read_s = _took_s(lambda: warm(names, RATE))
    size_mb = sum(file.stat().st_size for file in folder.iterdir()) / 1e6
    print(
        f"{len(names)} voices: {first_s:.2f} s for a stroke of each (asked: 0.5); all {LAYERS} "
        f"layers, {size_mb:.0f} MB: {made_s:.2f} s to make and keep, {read_s:.2f} s to read"
    )
    times_s = sorted(
        _took_s(lambda name=name, velocity=velocity: stroke(name, velocity, RATE, variant=velocity))
        for name in names
        for velocity in range(1, 128)
    )
    print(
        f"a stroke that is ready: {1000 * times_s[len(times_s) // 2]:.3f} ms in the middle, "
        f"{1000 * times_s[len(times_s) * 99 // 100]:.3f} ms at the 99th percentile (asked: 1)"
    )


def _forget() -> None:
    """As in a new process."""
    for cached in (drums._layer, drums._cached, drums._hardest, drums._energy):
        cached.cache_clear()


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
    with TemporaryDirectory() as folder, patch.object(kit_cache, "folder", lambda: Path(folder)):
        drum_kit(Path(folder))


if __name__ == "__main__":
    main()
