"""Levels as an ear has them: A-weighting, IEC 61672-1:2013, annex E."""

import numpy as np
from numpy.typing import NDArray

#: The poles, in Hz.
_POLES = (20.598997, 107.65265, 737.86223, 12194.217)

#: How much of a stroke is looked at, in seconds.
WINDOW_S = 0.05


def weight_db(hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """The weight of each frequency in dB: 0 at 1 kHz."""
    first, second, third, fourth = (pole**2 for pole in _POLES)
    square = np.maximum(hz, 1e-9) ** 2

    def response(of: NDArray[np.float64]) -> NDArray[np.float64]:
        below = (of + first) * np.sqrt((of + second) * (of + third)) * (of + fourth)
        return fourth * of**2 / below

    one_khz = response(np.array([1000.0**2]))
    return 20.0 * np.log10(response(square) / one_khz)


def level_db(sound: NDArray[np.float32], rate: int) -> float:
    """The A-weighted level of the beginning of a sound, mono (n,), against full scale."""
    count = round(WINDOW_S * rate)
    part = np.zeros(count)
    part[: min(count, len(sound))] = sound[:count]
    size = 2**15
    power = np.abs(np.fft.rfft(part, size)) ** 2
    power *= 10.0 ** (weight_db(np.fft.rfftfreq(size, 1.0 / rate)) / 10.0)
    return float(10.0 * np.log10(2.0 * power.sum() / size / count))
