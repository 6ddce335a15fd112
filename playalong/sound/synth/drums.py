"""The drum kit: every voice, made from nothing but the figures in one table.

- Skins (kick, snare, toms): tones in the ratios of an ideal round membrane, bent upwards where
  the stick stretches the skin, under a short burst of noise from the stick or the beater. The
  snare adds the wires, a band of noise that outlasts the skin; a rim shot adds the ring of the
  hoop; a cross-stick is wood alone.
- Metal (hi-hats, cymbals, tambourine): bands of many tones of no harmony, the higher ones dying
  sooner, under a burst of noise from the stick. A closed hi-hat is the same metal as an open one,
  held; a half-open one sizzles, its two cymbals touching; a foot splash is the two thrown together
  and let go, with no stick. A bell rings in few strong tones. The jingles of a tambourine strike
  more than once.
- Cowbell: two tones of a plate and what lies above them.

A stroke's velocity sets its level, on the curve of ``grading.loudness``, and its tone: in a soft
stroke the bright parts are weaker and shorter. The level of a stroke is its energy. Tones are
made in layers of ``LAYER`` velocities and kept, in the user's cache as well (``kit_cache``); within
a layer only the level differs.

No two strokes are alike: a hand never strikes the same spot the same way. Of each layer the loose
part (what is noise) is kept twice, from two draws, and each stroke turns from one towards the
other, by the golden angle and so never the same; and what comes a moment later from elsewhere on
the skin or the metal (two soft taps, ``_TAPS``) lifts other parts of the spectrum each time. The
level stays what it is, to the last digits, and so does the beginning.

The figures are this project's own choice, except where a source stands beside them.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import level_db
from playalong.sound.synth import kit_cache, parts
from playalong.sound.synth.parts import Band, Part, Samples, Tone, mixed
from playalong.sound.timeline import Frames

#: Velocities to a layer of tone.
LAYER = 8
LAYERS = 128 // LAYER

#: So much of a stroke's beginning is never the same, in seconds, and of it the loose part: an ear
#: knows a stroke again by how it begins.
VARIED_S, LOOSE_S = 0.4, 0.3

#: Turned by this share of a circle each time, no two strokes meet; likewise, for the two taps, by
#: the powers of the plastic number (Roberts, The unreasonable effectiveness of quasirandom
#: sequences, 2018, from memory).
_GOLDEN = 0.6180339887498949
_TURNS = (0.7548776662466927, 0.5698402909980532)

#: What comes a moment later from elsewhere: in seconds the soonest and how much later, and how
#: strong at most. All of it well below the 6 ms from which a second stroke would be heard (Friberg
#: and Sundberg, JASA 98, 1995).
_TAPS = ((0.00015, 0.0009, 0.30), (0.0011, 0.0016, 0.22))

Steps = NDArray[np.int16]

#: How long ride and crash are heard, in seconds: of the 8 to 15 s that crash cymbals last (a maker
#: of cymbals on acoustic analysis, arboreacymbal.com, read; how it was measured is not told) the
#: least, since each second is kept sixteen times. They would have died away some seconds later.
#: How fast each range does: below 8 kHz a heavy ride is almost as strong after two seconds as at
#: first, above it has decayed (J. E. Johnson, Cymbal Reviews with Spectral Analysis, read); from
#: one to four seconds it is 3 to 5 kHz that is heard most (Fletcher and Rossing, The Physics of
#: Musical Instruments, chapter 20, from memory); the last of all are modes of some hundred hertz
#: (G. Reid, Analysing Metallic Percussion, Sound on Sound, May 2002, with T. D. Rossing, read).
#: The figures themselves are chosen to agree with these.
RINGS_S = 8.0

#: The lowest modes of an ideal round membrane, over the first: the zeros 2.405, 3.832 and 5.136
#: of the Bessel functions J0, J1, J2 (Fletcher and Rossing, The Physics of Musical Instruments,
#: chapter 3, from memory).
MEMBRANE = (1.0, 1.593, 2.136)


@dataclass(frozen=True, slots=True)
class Drum:
    """How a voice is made: its ``peak`` at the hardest stroke, of full scale 1, and its parts."""

    peak: float
    parts: tuple[Part, ...]


def _skin(hz: float, ring_s: float, bend: float, *, over: float = 0.35) -> tuple[Tone, ...]:
    """The modes of a skin: those above the first are weaker by ``over`` each, and shorter."""
    return tuple(
        Tone(
            hz=hz * ratio,
            ring_s=ring_s / ratio**1.5,
            level=over**number,
            sensitivity=0.5 * number,
            bend=bend,
        )
        for number, ratio in enumerate(MEMBRANE)
    )


def _tom(hz: float, ring_s: float) -> Drum:
    stick = Band(low_hz=400, high_hz=4000, ring_s=0.04, level=0.35, sensitivity=1.0)
    return Drum(0.8, (*_skin(hz, ring_s, bend=0.25), stick))


def _snare(peak: float, *more: Part) -> Drum:
    return Drum(
        peak,
        (
            *_skin(190, 0.26, bend=0.2, over=0.55),
            Band(low_hz=900, high_hz=3500, ring_s=0.3, level=0.34, sensitivity=0.2, rise_s=0.001),
            Band(low_hz=3500, high_hz=9000, ring_s=0.24, level=0.36, sensitivity=0.6, rise_s=0.001),
            Band(low_hz=2000, high_hz=13000, ring_s=0.035, level=0.6, sensitivity=1.2),
            *more,
        ),
    )


def _hat(peak: float, ring_s: float) -> Drum:
    """A hi-hat whose body rings ``ring_s``."""
    return Drum(
        peak,
        (
            Band(low_hz=3800, high_hz=6500, ring_s=ring_s, level=0.45, modes=60),
            Band(
                low_hz=6500,
                high_hz=10500,
                ring_s=0.9 * ring_s,
                level=0.6,
                sensitivity=0.35,
                modes=120,
            ),
            Band(
                low_hz=10500,
                high_hz=16000,
                ring_s=0.7 * ring_s,
                level=0.4,
                sensitivity=0.8,
                modes=160,
            ),
            Band(low_hz=5000, high_hz=17000, ring_s=0.025, level=0.8, sensitivity=1.3),
        ),
    )


def _ring(
    low_hz: float,
    high_hz: float,
    *,
    ring_s: float,
    level: float,
    modes: int,
    sensitivity: float = 0.0,
) -> Band:
    """Tones of a cymbal that rings freely, as long as it is heard."""
    return Band(
        low_hz=low_hz,
        high_hz=high_hz,
        ring_s=ring_s,
        level=level,
        modes=modes,
        sensitivity=sensitivity,
        cut_s=RINGS_S,
    )


def _jingle(at_s: float, level: float) -> tuple[Band, ...]:
    return (
        Band(low_hz=5000, high_hz=8000, ring_s=0.28, level=level, at_s=at_s, modes=9),
        Band(
            low_hz=8500,
            high_hz=15500,
            ring_s=0.14,
            level=level,
            sensitivity=0.7,
            at_s=at_s,
            modes=30,
        ),
    )


_DRUMS: dict[str, Drum] = {
    "kick": Drum(
        0.95,
        (
            Tone(hz=52, ring_s=0.5, bend=1.6, bend_s=0.018),
            Tone(hz=83, ring_s=0.22, level=0.3, sensitivity=0.3, bend=0.8, bend_s=0.015),
            # A laptop's speaker begins at some 200 Hz: what it has of a kick is the knock of the
            # skin's next modes and the beater.
            Tone(hz=208, ring_s=0.14, level=0.6, sensitivity=0.2, bend=0.35, bend_s=0.012),
            Tone(hz=331, ring_s=0.1, level=0.4, sensitivity=0.3, bend=0.3, bend_s=0.01),
            Band(low_hz=250, high_hz=1200, ring_s=0.06, level=0.22, sensitivity=0.5),
            Band(low_hz=1800, high_hz=6000, ring_s=0.02, level=0.35, sensitivity=1.2),
        ),
    ),
    "snare": _snare(0.85),
    "rim-shot": _snare(
        0.95,
        Tone(hz=505, ring_s=0.24, level=0.85, sensitivity=0.2),
        Tone(hz=1130, ring_s=0.16, level=0.6, sensitivity=0.4),
        Band(low_hz=2500, high_hz=12000, ring_s=0.03, level=1.3, sensitivity=1.2),
    ),
    "cross-stick": Drum(
        0.5,
        (
            Tone(hz=740, ring_s=0.09, level=0.8),
            Tone(hz=1720, ring_s=0.06, level=0.7, sensitivity=0.3),
            Tone(hz=2950, ring_s=0.035, level=0.4, sensitivity=0.7),
            Band(low_hz=1500, high_hz=7000, ring_s=0.015, level=0.3, sensitivity=1.2),
        ),
    ),
    "high-tom": _tom(196, 0.55),
    "mid-tom": _tom(142, 0.7),
    "floor-tom": _tom(92, 0.95),
    "hi-hat": _hat(0.4, 0.13),
    # The two cymbals touch as they ring: noise beside the tones, and a second, softer touch.
    "hi-hat-half": Drum(
        0.42,
        (
            *_hat(0.42, 0.45).parts,
            Band(low_hz=2600, high_hz=7000, ring_s=0.5, level=0.55, rise_s=0.003),
            Band(low_hz=7000, high_hz=15000, ring_s=0.4, level=0.5, sensitivity=0.5, rise_s=0.003),
            Band(low_hz=4000, high_hz=12000, ring_s=0.2, level=0.4, sensitivity=0.3, at_s=0.022),
        ),
    ),
    "hi-hat-open": _hat(0.42, 1.8),
    "hi-hat-pedal": Drum(
        0.3,
        (
            Band(low_hz=2800, high_hz=5200, ring_s=0.11, level=0.6, modes=50, rise_s=0.0015),
            Band(low_hz=5200, high_hz=9500, ring_s=0.09, level=0.5, sensitivity=0.6, rise_s=0.0015),
            Band(low_hz=400, high_hz=900, ring_s=0.03, level=0.12),
        ),
    ),
    # Edge on edge: long metal that comes up softly, with the bump of the foot under it.
    "foot-splash": Drum(
        0.34,
        (
            Band(low_hz=1900, high_hz=4200, ring_s=1.3, level=0.35, modes=24, rise_s=0.003),
            Band(low_hz=4200, high_hz=8000, ring_s=1.5, sensitivity=0.3, modes=40, rise_s=0.003),
            Band(
                low_hz=8000,
                high_hz=12500,
                ring_s=1.0,
                level=0.5,
                sensitivity=0.8,
                modes=60,
                rise_s=0.004,
            ),
            Band(low_hz=400, high_hz=900, ring_s=0.03, level=0.1),
        ),
    ),
    "ride": Drum(
        0.48,
        (
            Tone(hz=417, ring_s=12.0, level=0.014, cut_s=RINGS_S),
            Tone(hz=689, ring_s=12.0, level=0.014, cut_s=RINGS_S),
            _ring(1200, 3000, ring_s=9.5, level=0.024, modes=18, sensitivity=0.1),
            _ring(3000, 5200, ring_s=11.0, level=0.042, modes=46, sensitivity=0.2),
            _ring(5200, 7000, ring_s=7.0, level=0.035, modes=30, sensitivity=0.4),
            Band(low_hz=7000, high_hz=12000, ring_s=1.4, level=0.12, modes=110, sensitivity=0.7),
            Band(low_hz=3000, high_hz=11000, ring_s=0.035, level=0.6, modes=90, sensitivity=0.9),
        ),
    ),
    "ride-bell": Drum(
        0.5,
        (
            Tone(hz=868, ring_s=1.5, level=0.7),
            Tone(hz=1394, ring_s=1.3, level=0.5, sensitivity=0.1),
            Tone(hz=2207, ring_s=1.0, level=0.4, sensitivity=0.3),
            Tone(hz=3511, ring_s=0.8, level=0.3, sensitivity=0.5),
            Band(low_hz=4000, high_hz=9500, ring_s=0.7, level=0.1, modes=70, sensitivity=0.7),
            Band(low_hz=3000, high_hz=11000, ring_s=0.03, level=0.35, sensitivity=1.1),
        ),
    ),
    "crash": Drum(
        0.65,
        (
            _ring(280, 1100, ring_s=10.0, level=0.04, modes=24),
            _ring(1100, 3000, ring_s=8.0, level=0.11, modes=200, sensitivity=0.1),
            _ring(3000, 5200, ring_s=9.0, level=0.16, modes=400, sensitivity=0.3),
            _ring(5200, 7500, ring_s=5.5, level=0.15, modes=300, sensitivity=0.5),
            Band(
                low_hz=7500,
                high_hz=14000,
                ring_s=1.8,
                level=0.35,
                modes=300,
                sensitivity=0.8,
                rise_s=0.004,
            ),
            Band(low_hz=2500, high_hz=15000, ring_s=0.06, level=0.5, sensitivity=1.1),
        ),
    ),
    "splash": Drum(
        0.5,
        (
            Band(low_hz=900, high_hz=3000, ring_s=0.5, level=0.15, modes=24),
            Band(low_hz=3000, high_hz=8000, ring_s=0.65, level=0.4, modes=110, sensitivity=0.3),
            Band(low_hz=8000, high_hz=16000, ring_s=0.5, level=0.4, modes=200, sensitivity=0.7),
            Band(low_hz=4000, high_hz=16000, ring_s=0.03, level=0.5, sensitivity=1.1),
        ),
    ),
    # The turned-up edge of a china rattles: noise, where the other cymbals ring.
    "china": Drum(
        0.6,
        (
            Band(low_hz=350, high_hz=1300, ring_s=0.9, level=0.35, modes=30),
            Band(low_hz=1300, high_hz=3800, ring_s=1.2, level=0.5, sensitivity=0.2),
            Band(low_hz=3800, high_hz=9000, ring_s=0.9, level=0.35, sensitivity=0.6),
            Band(low_hz=2000, high_hz=12000, ring_s=0.08, level=0.5, sensitivity=1.0),
        ),
    ),
    "cowbell": Drum(
        0.5,
        (
            Tone(hz=587, ring_s=0.3, level=0.7),
            Tone(hz=893, ring_s=0.26, level=0.6, sensitivity=0.2),
            Tone(hz=1810, ring_s=0.15, level=0.45, sensitivity=0.5),
            Tone(hz=2750, ring_s=0.1, level=0.35, sensitivity=0.9),
            Band(low_hz=2000, high_hz=7000, ring_s=0.015, level=0.2, sensitivity=1.2),
        ),
    ),
    "tambourine": Drum(
        0.4,
        (*_jingle(0.0, 0.5), *_jingle(0.034, 0.35), *_jingle(0.075, 0.25)),
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Layer:
    """A layer before its level, each (n,): the ``sound``, the ``loose`` part of its beginning, and
    the same of another draw. They are kept in whole ``step`` s, () float32, of which the loudest
    has 32,767: half the memory, and what is lost is 96 dB below.
    """

    sound: Steps
    loose: Steps
    other: Steps
    step: Frames


_ARRAYS = len(fields(Layer))


def stroke(voice: str, velocity: float, rate: int, *, variant: int = 0) -> Frames:
    """The sound of a stroke, mono (n,) float32 at ``rate`` frames a second, 22,050 or more.

    ``voice`` is a name in ``kit.VOICES`` (KeyError otherwise), ``velocity`` 1 to 127. Each
    ``variant`` from 1 on is another stroke of the same level; 0 is the one from which they come.
    """
    gain = np.float32(10.0 ** (level_db(velocity) / 20.0))
    number = min(int(velocity) // LAYER, LAYERS - 1)
    layer = _layer(voice, number, rate)
    step = np.float32(layer.step)
    if not variant:
        return np.multiply(layer.sound, gain * step, dtype=np.float32)
    sound = np.multiply(layer.sound, step, dtype=np.float32)
    _vary(sound, layer, variant, rate=rate)
    sound *= gain * np.float32(np.sqrt(_energy(voice, number, rate) / float(np.dot(sound, sound))))
    return sound


@cache
def _energy(voice: str, layer: int, rate: int) -> float:
    """That of a layer's sound before it is varied, which gives a stroke its level again."""
    made = _layer(voice, layer, rate)
    sound = np.multiply(made.sound, np.float32(made.step), dtype=np.float32)
    return float(np.dot(sound, sound))


def _vary(sound: Frames, layer: Layer, variant: int, *, rate: int) -> None:
    """Make another stroke of ``sound``, in its place; its level changes."""
    turn = 2.0 * np.pi * (_GOLDEN * variant)
    loose = len(layer.loose)
    step = np.float32(layer.step)
    sound[:loose] += step * np.float32(np.cos(turn) - 1.0) * layer.loose
    sound[:loose] += step * np.float32(np.sin(turn)) * layer.other
    early = sound[: round(VARIED_S * rate)]
    fading = early * _fading(len(early), rate)
    for (nearest_s, range_s, most), by in zip(_TAPS, _TURNS, strict=True):
        at = round((nearest_s + range_s * (by * variant % 1.0)) * rate)
        share = np.float32(most * np.sin(turn * by * len(_TAPS)))
        early[at:] += share * fading[:-at]


@cache
def _fading(count: int, rate: int) -> Frames:
    """1 at the beginning, 0 after ``VARIED_S``, (n,)."""
    way = np.arange(count) / (VARIED_S * rate)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * way.clip(0.0, 1.0)), np.float32)


def warm(voices: Iterable[str], rate: int) -> None:
    """Have every layer of ``voices`` ready, so that no stroke has to wait for its sound.

    What had to be made for it is kept in the user's cache.
    """
    for voice in voices:
        layers = [_layer(voice, layer, rate) for layer in range(LAYERS)]
        if (made_by := _made_by(voice)) and _cached(voice, rate) is None:
            arrays = [
                array
                for layer in layers
                for array in (layer.sound, layer.loose, layer.other, layer.step)
            ]
            kit_cache.write(voice, rate, made_by, arrays=arrays)


@cache
def _layer(voice: str, layer: int, rate: int) -> Layer:
    """The tone of a layer, before its level: all layers of a voice have the same energy."""
    cached = _cached(voice, rate)
    if cached is None:
        return _made(voice, layer, rate)
    own = cached[_ARRAYS * layer : _ARRAYS * (layer + 1)]
    return Layer(sound=own[0], loose=own[1], other=own[2], step=own[3])


@cache
def _made_by(voice: str) -> str | None:
    """The key of all that makes ``voice``; None where the program's files cannot be read."""
    drum = _DRUMS[voice]
    try:
        return kit_cache.key(drum, __file__, parts.__file__)
    except OSError:
        return None


@cache
def _cached(voice: str, rate: int) -> tuple[NDArray[Any], ...] | None:
    """The arrays of all layers in the user's cache, if they are there."""
    made_by = _made_by(voice)
    cached = None if made_by is None else kit_cache.read(voice, rate, made_by)
    return cached if cached is not None and len(cached) == LAYERS * _ARRAYS else None


def _made(voice: str, layer: int, rate: int) -> Layer:
    hardest, energy = _hardest(voice, rate)
    drum, hardness = _DRUMS[voice], (layer + 0.5) / LAYERS
    sound = mixed(drum.parts, hardness, rate)
    scale = drum.peak / hardest * np.sqrt(energy / np.square(sound).sum())
    loose = [part for part in drum.parts if isinstance(part, Band) and part.is_loose]
    draws = (loose, [replace(part, draw=1) for part in loose])
    made = (sound, *(_beginning(each, hardness, rate) for each in draws))
    step = max(float(np.abs(part).max(initial=0.0)) for part in made) / 32767.0
    whole, first, second = (np.rint(part / step).astype(np.int16) for part in made)
    if not whole[0]:  # it begins with its first frame, however softly
        whole[0] = 1 if sound[0] >= 0.0 else -1
    return Layer(sound=whole, loose=first, other=second, step=np.array(scale * step, np.float32))


def _beginning(loose: Sequence[Part], hardness: float, rate: int) -> Samples:
    """The first ``LOOSE_S`` of these parts, fading."""
    if not loose:
        return np.zeros(0)
    part = mixed(loose, hardness, rate)[: round(LOOSE_S * rate)]
    way = np.arange(len(part)) / (LOOSE_S * rate)
    return part * (0.5 + 0.5 * np.cos(np.pi * way))


@cache
def _hardest(voice: str, rate: int) -> tuple[float, float]:
    """Peak and energy of the parts at the hardest stroke."""
    sound = mixed(_DRUMS[voice].parts, 1.0, rate)
    return float(np.abs(sound).max()), float(np.square(sound).sum())
