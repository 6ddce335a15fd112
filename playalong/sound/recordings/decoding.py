"""Recordings that the player owns: wave, FLAC, MP3 and Ogg Vorbis files, opened to be played.

A recording is decoded once, block by block, to ``RATE`` and stereo, and kept as 16 bit: a short one
in memory, a long one in a file without a name that is gone with the program. The player's own
file is only read.
"""

from collections.abc import Callable, Iterator
from math import ceil, gcd
from pathlib import Path
from tempfile import SpooledTemporaryFile
from threading import Lock
from weakref import finalize

import numpy as np
from numpy.typing import NDArray

from playalong.sound.recordings.decoder import (
    RecordingError,
    Source,
    decoded_in_a_process,
    named,
)
from playalong.sound.timeline import RATE, Frames

#: Told how far work has come: a share from 0 to 1.
Progress = Callable[[float], None]

#: Of a reel, so much is kept in memory: 23 minutes.
IN_MEMORY_BYTES = 256 * 2**20

#: The size that 16 bit can hold, 6 dB over full scale: what is made of a loud recording may be
#: louder than it, and must not crack.
HOLDS = 2.0

#: Below this size nothing is heard: 70 dB under full scale.
SILENT = 10.0 ** (-70.0 / 20.0)

_STEP = 32767.0 / HOLDS


class Reel:
    """Stereo sound that grows at its end and is read from anywhere, by any thread."""

    def __init__(self) -> None:
        self.frames = 0
        self._file = SpooledTemporaryFile(max_size=IN_MEMORY_BYTES)  # noqa: SIM115 - see close
        finalize(self, self._file.close)  # cuts of a recording come and go
        self._lock = Lock()

    def append(self, block: Frames) -> None:
        """Join ``block`` (n, 2) to the end; what is louder than ``HOLDS`` is cut."""
        whole = np.rint(np.clip(block, -HOLDS, HOLDS) * np.float32(_STEP)).astype("<i2")
        with self._lock:
            self._file.seek(self.frames * 4)
            self._file.write(whole.tobytes())
            self.frames += len(whole)

    def read(self, begin: int, count: int) -> Frames:
        """(count, 2) from frame ``begin``, or fewer where it ends; silence before its start."""
        low, high = max(begin, 0), min(begin + count, self.frames)
        found = np.zeros((max(high - begin, 0), 2), np.float32)
        if low < high:
            with self._lock:
                self._file.seek(low * 4)
                raw = self._file.read((high - low) * 4)
            found[low - begin :] = np.frombuffer(raw, "<i2").reshape(-1, 2)
            found /= np.float32(_STEP)
        return found

    def close(self) -> None:
        """Let go of what is kept."""
        self._file.close()


class Overview:
    """The least and greatest of a sound, both channels as one, in columns of several widths.

    It grows with the sound and draws an hour as fast as a second.
    """

    #: Frames to the finest column kept, and how many columns the next coarser one takes.
    FINEST, TIMES = 256, 8

    def __init__(self) -> None:
        self._rest = np.zeros(0, np.float32)
        self._made: list[Frames] = []
        self._levels: list[Frames] = []

    def add(self, block: Frames) -> None:
        """The next frames (n, 2)."""
        mono = np.concatenate([self._rest, block.mean(axis=1)])
        whole = len(mono) // self.FINEST * self.FINEST
        columns = mono[:whole].reshape(-1, self.FINEST)
        self._made.append(np.stack([columns.min(axis=1), columns.max(axis=1)], axis=1))
        self._rest = mono[whole:]

    def finish(self) -> None:
        """All frames are there: make the coarser columns."""
        if len(self._rest):
            self._made.append(np.array([[self._rest.min(), self._rest.max()]], np.float32))
        level = np.concatenate(self._made) if self._made else np.zeros((0, 2), np.float32)
        self._levels = [level]
        while len(level) > self.TIMES:
            at = np.arange(0, len(level), self.TIMES)
            level = np.stack(
                [np.minimum.reduceat(level[:, 0], at), np.maximum.reduceat(level[:, 1], at)], axis=1
            )
            self._levels.append(level)

    @property
    def peak(self) -> float:
        """The greatest size of all."""
        return float(np.abs(self._levels[-1]).max(initial=0.0))

    def between(self, begin: int, end: int, columns: int) -> Frames | None:
        """(columns, 2): the least and greatest in even parts from frame ``begin`` to ``end``.

        0 outside the sound; None where the parts are finer than what is kept.
        """
        width = (end - begin) / columns
        if width < self.FINEST:
            return None
        coarse = min(
            int(np.log(max(1.0, width / self.FINEST / 4.0)) / np.log(self.TIMES)),
            len(self._levels) - 1,
        )
        level = self._levels[coarse]
        edges = np.linspace(begin, end, columns + 1) / (self.FINEST * self.TIMES**coarse)
        return _extremes(level[:, 0], level[:, 1], np.floor(edges).astype(np.int64))


def _extremes(least: Frames, most: Frames, edges: NDArray[np.int64]) -> Frames:
    """(columns, 2): the least and most between each two of ``edges``, one value at least."""
    found = np.zeros((len(edges) - 1, 2), np.float32)
    low = np.maximum(edges[:-1], 0)
    high = np.minimum(np.maximum(edges[1:], edges[:-1] + 1), len(least))
    inside = low < high
    if inside.any():
        # reduceat takes what lies between each two marks: every second stretch is a column.
        marks = np.stack([low[inside], high[inside]], axis=1).ravel()
        padded = np.append(least, np.float32(0.0)), np.append(most, np.float32(0.0))
        found[inside, 0] = np.minimum.reduceat(padded[0], marks)[::2]
        found[inside, 1] = np.maximum.reduceat(padded[1], marks)[::2]
    return found


class Recording:
    """A recording, ready to be played.

    ``frames`` is its length at ``RATE``, ``length_s`` the same in seconds; ``notice`` says what
    the player should know of it (cut off, silent), "" for nothing.
    """

    def __init__(self, path: Path, reel: Reel, overview: Overview, *, notice: str) -> None:
        self.path = path
        self.notice = notice
        self._reel = reel
        self._overview = overview

    @classmethod
    def open(cls, path: Path, progress: Progress | None = None) -> "Recording":
        """Decode the file at ``path``; RecordingError says what is wrong with it.

        ``progress`` is told the share done; whatever it raises breaks off.
        """
        source, parts = decoded_in_a_process(path)
        own = (np.frombuffer(part, np.float32).reshape(-1, 2) for part in parts)
        reel, overview = Reel(), Overview()
        expected = ceil(source.frames * RATE / source.rate)
        try:
            for block in _resampled(own, source.rate):
                reel.append(block)
                overview.add(block)
                if progress is not None and expected:
                    progress(min(1.0, reel.frames / expected))
        except BaseException:
            parts.close()
            reel.close()
            raise
        if not reel.frames:
            reel.close()
            raise RecordingError(f"{named(path)} holds no sound: choose another recording.")
        overview.finish()
        if progress is not None:
            progress(1.0)
        return cls(
            path, reel, overview, notice=_notice_of(path, source, reel.frames, peak=overview.peak)
        )

    @property
    def frames(self) -> int:
        """The length in frames at ``RATE``."""
        return self._reel.frames

    @property
    def length_s(self) -> float:
        """The length in seconds."""
        return self.frames / RATE

    def read(self, begin: int, count: int) -> Frames:
        """(count, 2) float32 from frame ``begin``, or fewer where it ends; silence before it."""
        return self._reel.read(begin, count)

    def overview(self, begin_s: float, end_s: float, columns: int) -> Frames:
        """(columns, 2): the least and greatest of each of so many even parts, for drawing.

        From ``begin_s`` to ``end_s`` in seconds; 0 outside the recording.
        """
        begin, end = round(begin_s * RATE), max(round(end_s * RATE), round(begin_s * RATE) + 1)
        found = self._overview.between(begin, end, columns)
        if found is not None:
            return found
        mono = np.zeros(end - begin, np.float32)
        there = self.read(begin, end - begin)
        mono[: len(there)] = there.mean(axis=1)
        edges = np.floor(np.linspace(0, end - begin, columns + 1)).astype(np.int64)
        return _extremes(mono, mono, edges)

    def close(self) -> None:
        """Let go of what was decoded."""
        self._reel.close()


def _resampled(blocks: Iterator[Frames], rate: int) -> Iterator[Frames]:
    """``blocks`` (n, 2) of ``rate`` frames a second as blocks of ``RATE``, nothing delayed.

    Each stretch of about a second is turned into its spectrum, cut or filled up to the other
    rate, and turned back. Stretches overlap by a margin that is thrown away, with its ends faded,
    so that they join without a seam.
    """
    if rate == RATE:
        yield from blocks
        return
    common = gcd(rate, RATE)
    step_in, step_out = rate // common, RATE // common
    steps, margin_steps = ceil(rate / step_in), ceil(rate / step_in / 16)
    block, margin = steps * step_in, margin_steps * step_in
    fade = 0.5 - 0.5 * np.cos(np.pi * np.arange(margin // 2) / (margin // 2))
    window = np.ones((block + 2 * margin, 1), np.float32)
    window[: len(fade), 0], window[-len(fade) :, 0] = fade, fade[::-1]
    out, cut = (steps + 2 * margin_steps) * step_out, margin_steps * step_out

    def turned(stretch: Frames) -> Frames:
        spectrum = np.fft.rfft(stretch * window, axis=0)
        made = np.fft.irfft(spectrum[: out // 2 + 1], out, axis=0) * (out / len(stretch))
        return made[cut : out - cut].astype(np.float32)

    waiting = [np.zeros((margin, 2), np.float32)]
    held, came, gone = margin, 0, 0
    for piece in blocks:
        waiting.append(piece)
        held, came = held + len(piece), came + len(piece)
        if held < len(window):
            continue
        row = np.concatenate(waiting)
        while len(row) >= len(window):
            yield turned(row[: len(window)])
            gone, row = gone + steps * step_out, row[block:]
        waiting, held = [row], len(row)
    row, total = np.concatenate(waiting), ceil(came * RATE / rate)
    while gone < total:
        filled = np.zeros((len(window), 2), np.float32)
        filled[: min(len(row), len(window))] = row[: len(window)]
        made = turned(filled)[: total - gone]
        yield made
        gone, row = gone + len(made), row[block:]


def _notice_of(path: Path, source: Source, frames: int, *, peak: float) -> str:
    """What the player should know."""
    there_s, whole_s = frames / RATE, source.frames / source.rate
    words = []
    if source.is_cut or there_s < whole_s - 0.1:
        of = f" of its {whole_s:.1f}" if whole_s > there_s else ""
        words.append(f"is cut off: {there_s:.1f}{of} s are there, and are played")
    if peak < SILENT:
        words.append("is silent from beginning to end: nothing will be heard of it")
    return f"{named(path)} {', and '.join(words)}." if words else ""
