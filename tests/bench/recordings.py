"""What a recording costs: python -m tests.bench.recordings

An hour of stereo at 44,100 frames a second is made, and opened, its onsets measured, beats followed
from 16 taps, and a minute of it played at 70 per cent. Prints the time of each and the most memory
that the process took (asked: under 1 GB).
"""

import sys
import time
import wave
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

import numpy as np

from playalong.sound.recordings.decoding import Recording
from playalong.sound.recordings.onsets import Onsets, continued, refined
from playalong.sound.recordings.stretching import stretched
from playalong.sound.timeline import RATE
from tests.sound.making_music import GROOVES, of_periods, rendered, tapped

MINUTES, FILE_RATE, BEAT_S = 60, 44_100, 0.5

Result = TypeVar("Result")


def make(path: Path) -> None:
    """A minute of music, over and over; its beats are half a second long."""
    minute = rendered(of_periods(np.full(128, BEAT_S), 0.0), GROOVES["straight"])
    whole = np.clip(minute.sound[: 60 * FILE_RATE], -1.0, 1.0) * 32767
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(FILE_RATE)
        for _ in range(MINUTES):
            file.writeframes(whole.astype("<i2").tobytes())


def timed(what: str, work: Callable[[], Result]) -> Result:
    """Do it, and print how long it took."""
    before_s = time.perf_counter()
    result = work()
    print(f"{what}: {time.perf_counter() - before_s:.1f} s")
    return result


def peak_mb() -> float | None:
    """The most memory that the process took, in megabytes; None where the system does not say."""
    if sys.platform == "win32":
        return None
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / 2**20 if sys.platform == "darwin" else peak / 2**10


def main() -> None:
    """Print the figures."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "hour.wav"
        make(path)
        recording = timed(f"{MINUTES} minutes opened", lambda: Recording.open(path))
        onsets = timed("onsets", lambda: Onsets.of(recording))
        # The file plays slower than it was made.
        beats_s = np.arange(16) * BEAT_S * RATE / FILE_RATE
        beats = timed(
            "beats followed to the end", lambda: continued(refined(tapped(beats_s), onsets), onsets)
        )
        timed("its overview, 1,000 columns", lambda: recording.overview(0, 3600.0, 1_000))
        timed("a minute at 70 %", lambda: stretched(recording, 70, begin=0, end=60 * RATE))
        print(f"{len(beats)} beats; most memory: {peak_mb() or float('nan'):.0f} MB (asked: 1,000)")
        recording.close()


if __name__ == "__main__":
    main()
