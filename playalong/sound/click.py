"""The click: when it sounds, and what it sounds like.

A click is a short knock on wood, made here: two damped partials, higher and stronger for the 1 of
a bar, so that the bar can be heard as well as counted, and lower and softer between the beats.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cache

import numpy as np

from playalong.pattern.beats import Meter, Tempo
from playalong.sound.timeline import Frames


class Kind(StrEnum):
    """The kinds of click."""

    ONE = "one"
    BEAT = "beat"
    BETWEEN = "between"


@dataclass(frozen=True, slots=True)
class Click:
    """A click at a time: seconds, 0 being the start of bar 1."""

    time_s: float
    kind: Kind

    def frames(self, rate: int) -> Frames:
        """What is heard, mono (n,) at ``rate`` frames a second."""
        return sample(self.kind, rate)


#: Frequency in Hz and peak of each kind.
_VOICE = {Kind.ONE: (1760.0, 0.9), Kind.BEAT: (1175.0, 0.6), Kind.BETWEEN: (880.0, 0.25)}
_LENGTH_S, _DECAY_S, _RISE_S = 0.06, 0.009, 0.0005

#: The second partial: its frequency (that of a free wooden bar), share and decay.
_UPPER, _UPPER_SHARE, _UPPER_DECAY_S = 2.76, 0.4, 0.003


def clicks(
    meters: Sequence[Meter], tempo: Tempo, count_in: int = 1, between: Fraction | None = None
) -> list[Click]:
    """The clicks of a count-in of ``count_in`` bars, in the first meter, and of all ``meters``.

    ``tempo`` starts at bar 1; the count-in lies before it. ``between`` is the note value (of a
    whole note) that sounds softly inside each beat, counted from its start; None for none.
    """
    at = -count_in * meters[0].length
    found = []
    for meter in [meters[0]] * count_in + list(meters):
        for position, kind in _bar(meter, between):
            found.append(Click(tempo.seconds(at + position), kind))
        at += meter.length
    return found


def _bar(meter: Meter, between: Fraction | None) -> Iterator[tuple[Fraction, Kind]]:
    for start, length in zip(meter.beat_starts, meter.beats, strict=True):
        yield start, Kind.BEAT if start else Kind.ONE
        into = between or length
        while into < length:
            yield start + into, Kind.BETWEEN
            into += between or length


@cache
def sample(kind: Kind, rate: int) -> Frames:
    """The sound of a click, mono, (n,) at ``rate`` frames a second; its first frame sounds."""
    frequency_hz, peak = _VOICE[kind]
    # Frame 0 is one step into the sound: every partial is silent at 0 itself.
    time_s = np.arange(1, 1 + round(_LENGTH_S * rate)) / rate
    lower = np.sin(2 * np.pi * frequency_hz * time_s)
    upper = np.sin(2 * np.pi * _UPPER * frequency_hz * time_s) * np.exp(-time_s / _UPPER_DECAY_S)
    # A very short rise: a knock without the crack of a sudden step.
    rise = np.minimum(1.0, time_s / _RISE_S)
    knock = (lower + _UPPER_SHARE * upper) * rise * np.exp(-time_s / _DECAY_S)
    return np.asarray(peak * knock / np.abs(knock).max(), dtype=np.float32)
