"""Sounds rendered into a file, for listening away from the program."""

import wave
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from playalong.sound.device.output import Sound, part_of
from playalong.sound.mix import EVEN, Mix
from playalong.sound.timeline import RATE, Frames, Timeline, gain
from playalong.support.errors import UserError
from playalong.support.files import writing

#: The level of a rendered file: 6 dB under full scale.
LEVEL = 0.5

#: How long a file goes on after its last sound begins, at least.
RING_S = 2.0

_BLOCK = RATE

#: Nothing longer is written: a wave file has room for six hours (four bytes say its length).
LONGEST_S = 3 * 3600.0


def blocks(sounds: Sequence[Sound], level: float = LEVEL, mix: Mix = EVEN) -> Iterator[Frames]:
    """``sounds`` as they are heard, (n, 2) at ``RATE``, block by block.

    The earliest begins at frame 0. The last ends it, a stream with its own end. UserError where
    that is too long.
    """
    first_s = min((sound.time_s for sound in sounds), default=0.0)
    last_s = max((sound.time_s for sound in sounds), default=0.0)
    if last_s - first_s > LONGEST_S:
        raise UserError(
            f"It would last {(last_s - first_s) / 3600.0:.0f} hours, and {LONGEST_S / 3600.0:.0f} "
            "are the most: choose fewer bars, or cut it into shorter takes."
        )
    timeline = Timeline(level=level)
    for part, part_db in mix.as_levels().items():
        timeline.set_group(part, gain(part_db))
    left = round((last_s - first_s + RING_S) * RATE)
    waiting = sorted(
        ((round((sound.time_s - first_s) * RATE), sound) for sound in reversed(sounds)),
        key=lambda pair: -pair[0],
    )
    # A sound is made when its block comes: many that ring for seconds are more than memory holds.
    while left > 0 or timeline.is_streaming:
        count = min(_BLOCK, left) if left > 0 else _BLOCK
        while waiting and waiting[-1][0] < timeline.rendered + count:
            frame, sound = waiting.pop()
            source = sound.frames(RATE)
            timeline.place(frame, source, group=part_of(sound))
            if isinstance(source, np.ndarray):  # a cymbal rings longer
                left = max(left, frame + len(source) - timeline.rendered)
        yield timeline.render(count)
        left -= count


def rendered(sounds: Sequence[Sound], level: float = LEVEL, mix: Mix = EVEN) -> Frames:
    """All of ``blocks`` at once, (n, 2)."""
    return np.concatenate(list(blocks(sounds, level, mix)))


def write_wave(path: Path, frames: Frames | Iterable[Frames]) -> None:
    """Write frames (n, 2), at once or in blocks, as a 16-bit wave file.

    FileError when it cannot be written; a file that was there then stands.
    """
    parts = [frames] if isinstance(frames, np.ndarray) else frames
    with writing(path) as bare, wave.open(bare, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
        for part in parts:
            whole = np.rint(np.clip(part, -1.0, 1.0) * 32767).astype("<i2")
            file.writeframes(whole.tobytes())
