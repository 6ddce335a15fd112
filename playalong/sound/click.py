"""The click: when it sounds, and what it sounds like.

A click is a short knock on wood, made here: two damped partials, a higher and a stronger one for
the 1 of a bar, so that the bar can be heard as well as counted.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.beats import Meter, Tempo


class Kind(StrEnum):
    """The kinds of click."""

    ONE = "one"
    BEAT = "beat"


@dataclass(frozen=True, slots=True)
class Click:
    """A click at a time: seconds, 0 being the start of bar 1."""

    time_s: float
    kind: Kind


#: Frequency in Hz and peak of each kind.
_VOICE = {Kind.ONE: (1760.0, 0.9), Kind.BEAT: (1175.0, 0.6)}
_LENGTH_S, _DECAY_S, _RISE_S = 0.045, 0.009, 0.0005


def clicks(meters: Sequence[Meter], tempo: Tempo, count_in: int) -> list[Click]:
    """The clicks of a count-in of ``count_in`` bars, in the first meter, and of all ``meters``.

    ``tempo`` starts at bar 1; the count-in lies before it.
    """
    bars = [meters[0]] * count_in + list(meters)
    at = -count_in * meters[0].length
    found = []
    for meter in bars:
        for beat, start in enumerate(meter.beat_starts):
            kind = Kind.BEAT if beat else Kind.ONE
            found.append(Click(tempo.seconds(at + start), kind))
        at += meter.length
    return found


@cache
def sample(kind: Kind, rate: int) -> NDArray[np.float32]:
    """The sound of a click, mono, (n,) at ``rate`` frames a second."""
    frequency_hz, peak = _VOICE[kind]
    time_s = np.arange(round(_LENGTH_S * rate)) / rate
    tone = np.sin(2 * np.pi * frequency_hz * time_s)
    tone += 0.4 * np.sin(2 * np.pi * 2.76 * frequency_hz * time_s) * np.exp(-time_s / 0.003)
    # A very short rise: a knock without the crack of a sudden step, its first frame not silent.
    rise = np.minimum(1.0, (time_s + 1.0 / rate) / _RISE_S)
    knock = tone * rise * np.exp(-time_s / _DECAY_S)
    return np.asarray(peak * knock / np.abs(knock).max(), dtype=np.float32)
