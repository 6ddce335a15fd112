"""Loudness bands from a take itself, where it shows two clear groups of velocities on a voice.

A kit that nobody has calibrated may send ghost notes at 20 or at 60. Where the pattern asks a
voice for ghost notes and for others, and the hits of that voice fall into a soft and a strong
group, the border between the groups is the border between the bands.

The two groups are those that leave the least variance of velocity inside them (Otsu, A
threshold selection method from gray-level histograms, IEEE Transactions on Systems, Man, and
Cybernetics 9(1), 1979). They are clear where the split explains at least ``CLEAR`` of the
variance (of an even spread it explains three quarters), where their means lie at least
``APART_DB`` apart, and where the soft group is neither less than half nor more than twice what
the pattern asks for.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import Band, Bands, level_db
from playalong.midi.hits import Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, Targets
from playalong.pattern.voices import STAFF_ORDER, VOICES, folded

CLEAR = 0.8
APART_DB = 8.0

#: Fewer hits than this on a voice show no groups.
ENOUGH = 8

SOURCE = "the two groups of velocities found in the take"

_GHOST = DYNAMICS.index(Dynamic.GHOST)


def bands_found(targets: Targets, hits: Hits, default: Bands) -> Bands:
    """``default``, with bands of its own for each voice that shows two clear groups."""
    table = [STAFF_ORDER[folded(voice.name, targets.voices)] for voice in VOICES]
    counts_as = np.array(table, np.int16)[hits.voice]
    found: dict[tuple[str, Dynamic], Band] = {}
    for code in np.unique(targets.voice[targets.dynamic == _GHOST]).tolist():
        asked = targets.dynamic[targets.voice == code]
        velocities = hits.velocity[counts_as == code]
        border = _border(velocities, float((asked == _GHOST).mean()))
        if border is not None:
            found.update(_bands(VOICES[code].name, velocities, border, default))
    if not found:
        return default
    return Bands(default.default, {**default.by_voice, **found}, SOURCE)


def _border(velocities: NDArray[np.float64], ghosts: float) -> float | None:
    """The velocity between two clear groups, None where there are none.

    ``ghosts`` is the share of ghost notes that the pattern asks of the voice.
    """
    if len(velocities) < ENOUGH or not 0.0 < ghosts < 1.0:
        return None
    rising = np.sort(velocities)
    count = len(rising)
    soft = np.arange(1, count)
    sums = np.cumsum(rising)[:-1]
    low, high = sums / soft, (rising.sum() - sums) / (count - soft)
    between = soft * (count - soft) * (high - low) ** 2 / count**2
    best = int(between.argmax())
    clear = between[best] >= CLEAR * float(rising.var()) > 0.0
    apart_db = level_db(float(high[best])) - level_db(float(low[best]))
    fitting = ghosts / 2.0 <= (best + 1) / count <= 2.0 * ghosts
    if not clear or not fitting or apart_db < APART_DB:
        return None
    return float(rising[best] + rising[best + 1]) / 2.0


def _bands(
    voice: str, velocities: NDArray[np.float64], border: float, default: Bands
) -> Mapping[tuple[str, Dynamic], Band]:
    strong = float(np.median(velocities[velocities > border]))
    normal, accent = default.of(voice, Dynamic.NORMAL), default.of(voice, Dynamic.ACCENT)
    return {
        (voice, Dynamic.GHOST): Band(1.0, border),
        (voice, Dynamic.NORMAL): Band(border, max(normal.high, strong)),
        (voice, Dynamic.ACCENT): Band(max(border, min(accent.low, strong * 0.85)), accent.high),
    }
