"""Sounds rendered into a file, for listening away from the program."""

import wave
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from playalong.plain import PlainError
from playalong.sound.output import Sound
from playalong.sound.timeline import RATE, Frames, Timeline

#: The level of a rendered file: 6 dB under full scale.
LEVEL = 0.5

#: How long the last sound may ring on.
RING_S = 2.0


def rendered(sounds: Sequence[Sound], level: float = LEVEL) -> Frames:
    """``sounds`` as they are heard, (n, 2) at ``RATE``; the earliest begins at frame 0."""
    first_s = min((sound.time_s for sound in sounds), default=0.0)
    last_s = max((sound.time_s for sound in sounds), default=0.0)
    timeline = Timeline(level=level)
    for sound in sounds:
        timeline.place(round((sound.time_s - first_s) * RATE), sound.frames(RATE))
    return timeline.render(round((last_s - first_s + RING_S) * RATE))


def write_wave(path: Path, frames: Frames) -> None:
    """Write ``frames`` (n, 2) as a 16-bit wave file; PlainError when it cannot be written."""
    whole = np.rint(np.clip(frames, -1.0, 1.0) * 32767).astype("<i2")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with wave.open(str(path), "wb") as file:
            file.setnchannels(2)
            file.setsampwidth(2)
            file.setframerate(RATE)
            file.writeframes(whole.tobytes())
    except OSError as error:
        raise PlainError(f"{path} cannot be written ({error.strerror or error}).") from None
