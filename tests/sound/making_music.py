"""Synthesised recordings whose beats are known: drums, bass, chords and noise, all invented."""

from collections.abc import Callable, Iterable
from copy import deepcopy
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from playalong.sound.synth.drums import stroke
from playalong.sound.timeline import RATE, Frames

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Played:
    """Sound in memory, read as a recording is."""

    sound: Frames

    @property
    def frames(self) -> int:
        return len(self.sound)

    def read(self, begin: int, count: int) -> Frames:
        low, high = max(begin, 0), min(begin + count, len(self.sound))
        found = np.zeros((max(high - begin, 0), 2), np.float32)
        if low < high:
            found[low - begin :] = self.sound[low:high]
        return found


# Beats, in seconds.


def of_periods(periods_s: Iterable[float] | Floats, start_s: float = 0.7) -> Floats:
    """Beats with these distances."""
    return start_s + np.append(0.0, np.cumsum(np.asarray(list(periods_s))))


def faster(count: int) -> Floats:
    """From 100 to 125 bpm, evenly."""
    return of_periods(60.0 / np.linspace(100.0, 125.0, count))


def swaying(count: int) -> Floats:
    """110 bpm, 4 per cent up and down in 16 bars."""
    return of_periods(60.0 / (110.0 * (1.0 + 0.04 * np.sin(np.arange(count) * 2 * np.pi / 64))))


def wandering(count: int) -> Floats:
    """Around 96 bpm, each beat a little longer or shorter than the last."""
    steps = np.cumsum(np.random.default_rng(5).normal(0.0, 0.004, count))
    return of_periods(60.0 / 96.0 * np.exp(np.clip(steps, -0.2, 0.2)))


def jumping(count: int) -> Floats:
    """92 bpm, then from one beat to the next 112."""
    return of_periods(60.0 / np.where(np.arange(count) < count // 2, 92.0, 112.0))


def broadening(count: int) -> Floats:
    """120 bpm, and a ritardando to 80 in the last 16 beats."""
    slow = np.clip((np.arange(count) - (count - 16)) / 16.0, 0.0, 1.0)
    return of_periods(60.0 / (120.0 - 40.0 * slow))


def held(count: int, longer: float = 2.0) -> Floats:
    """104 bpm, but the last beats of bars 6 and 13 are held ``longer`` than the others."""
    number = np.arange(count)
    return of_periods(np.where(np.isin(number, (23, 51)), longer, 1.0) * 60.0 / 104.0)


DRIFTS: dict[str, Callable[[int], Floats]] = {
    "faster": faster,
    "swaying": swaying,
    "wandering": wandering,
    "jumping": jumping,
    "broadening": broadening,
}

# What is played in a bar of four beats: (beat, voice, velocity).
Groove = tuple[tuple[float, str, int], ...]

_HATS: Groove = tuple((n / 2, "hi-hat", 90 if n % 2 == 0 else 60) for n in range(8))
_BACKBEAT: Groove = ((0, "kick", 110), (2, "kick", 100), (1, "snare", 110), (3, "snare", 112))
_TRIPLET = 2.0 / 3.0

GROOVES: dict[str, Groove] = {
    "straight": (*_HATS, *_BACKBEAT, (2.5, "kick", 90)),
    "swung": (
        *((n, "ride", 90) for n in range(4)),
        *((n + _TRIPLET, "ride", 65) for n in (1, 3)),
        (1, "hi-hat-pedal", 80),
        (3, "hi-hat-pedal", 80),
        (0, "kick", 60),
        (2 + _TRIPLET, "snare", 70),
    ),
    # The strong strokes are between the beats; on the beats there is little.
    "off-beat": (
        *((n + 0.5, "hi-hat-open", 110) for n in range(4)),
        *((n, "kick", 80) for n in range(4)),
        (1.5, "snare", 105),
        (3.5, "snare", 100),
    ),
    # Far more is heard between the beats than on them.
    "hidden": (
        *((n + 0.5, "snare", 100) for n in range(4)),
        *((n, "hi-hat", 60) for n in range(4)),
        (0, "kick", 70),
    ),
    "sixteenths": (
        *((n / 4, "hi-hat", (95, 50, 75, 50)[n % 4]) for n in range(16)),
        *_BACKBEAT,
        (1.75, "snare", 35),
        (2.25, "snare", 30),
        (0.75, "kick", 85),
        (3.5, "kick", 95),
    ),
}


def rendered(beats_s: Floats, groove: Groove, seed: int = 1, *, intro_bars: int = 0) -> Played:
    """A band that plays ``groove`` on these beats: drums, a bass, chords, and a hissing tape.

    The drums come in after ``intro_bars``.
    """
    length = round((beats_s[-1] + 1.5) * RATE)
    hiss, chance = _hiss(length, seed)
    rng = deepcopy(chance)
    drums, bass, chords = (np.zeros(length, np.float32) for _ in range(3))
    number = np.arange(len(beats_s))
    periods_s = np.diff(beats_s)
    is_held = periods_s > 1.5 * np.median(periods_s)

    def add(track: Frames, beat: float, sound: Frames) -> None:
        at = round(float(np.interp(beat, number, beats_s)) * RATE)
        part = sound[: length - at]
        track[at : at + len(part)] += part

    for bar in range((len(beats_s) - 1) // 4):
        for beat, voice, velocity in groove if bar >= intro_bars else ():
            if beat % 1.0 and is_held[4 * bar + int(beat)]:
                continue  # nobody strikes while all hold
            add(drums, 4 * bar + beat, stroke(voice, velocity + int(rng.integers(-6, 7)), RATE))
        root = 55.0 * 2.0 ** (int(rng.integers(0, 8)) / 12.0)
        for beat in (0.0, 1.5, 2.0, 3.0):
            add(bass, 4 * bar + beat, _bass(root))
        add(chords, 4 * bar, _chord(root))
    whole = hiss + bass[:, None]
    for side in (0, 1):
        whole[:, side] += drums * _OF_DRUMS[side]
        whole[:, side] += chords * _OF_CHORDS[side]
    return Played(whole)


@lru_cache(maxsize=1)
def _hiss(length: int, seed: int) -> tuple[Frames, np.random.Generator]:
    """The tape before anything is recorded on it, and the chance that goes on from there.

    Kept for the next groove on the same beats, since it is most of the work.
    """
    rng = np.random.default_rng(seed)
    return rng.normal(0.0, 0.002, (length, 2)).astype(np.float32), rng


#: How loud something is on the left and on the right.
_OF_DRUMS, _OF_CHORDS = np.array([0.8, 0.7], np.float32), np.array([0.5, 1.0], np.float32)


@cache
def _bass(hz: float) -> Frames:
    return _tone(hz, 0.35, 0.25)


@cache
def _chord(root_hz: float) -> Frames:
    tones = [_tone(root_hz * ratio, 1.8, 0.06) for ratio in (4.0, 5.0, 6.0)]
    return np.sum(tones, axis=0)


def _tone(hz: float, length_s: float, level: float) -> Frames:
    """A plucked tone with a few partials."""
    at_s = np.arange(round(length_s * RATE)) / RATE
    partials = sum(np.sin(2 * np.pi * hz * k * at_s) / k**1.5 for k in range(1, 6))
    shape = np.minimum(at_s / 0.004, 1.0) * np.exp(-3.0 * at_s / length_s)
    shape *= np.minimum((length_s - at_s) / 0.02, 1.0)
    return np.asarray(level * partials * shape, np.float32)


def tapped(
    beats_s: Floats, seed: int = 2, sd_s: float = 0.020, *, early_s: float = 0.030
) -> Floats:
    """Taps as a person makes them: early, and each a little off."""
    return beats_s - early_s + np.random.default_rng(seed).normal(0.0, sd_s, len(beats_s))
