"""What was heard: hits as strokes, each flam and drag one stroke, ready to be set to a grid.

The open and half-open hi-hat are strokes of the hi-hat, rim shots strokes of the snare: which of
the two a kit sends for one stroke is often chance. Two strokes close together on a drum, the first
no louder, are a flam, three a drag (common practice: 15 to 50 ms; real ones 42 ms apart, 15 to 77,
measured from the Groove MIDI Dataset, Gillick et al., ICML 2019).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import level_db
from playalong.midi.hits import Hits
from playalong.pattern.voices import STAFF_ORDER, VOICES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Strokes of a drum so near after each other are one thick stroke, if the first is no louder;
#: other voices have no grace strokes: there the softer one is the pad's own echo.
GRACE_S, _ECHO_S, _NO_LOUDER = 0.072, 0.040, 1.02

#: A drag has two grace strokes.
MOST_GRACES = 2

_OPEN = [STAFF_ORDER["hi-hat-open"], STAFF_ORDER["hi-hat-half"]]
_INTO = {
    STAFF_ORDER[voice]: STAFF_ORDER[into]
    for voice, into in (
        ("hi-hat-open", "hi-hat"),
        ("hi-hat-half", "hi-hat"),
        ("rim-shot", "snare"),
        ("foot-splash", "hi-hat-pedal"),
    )
}
_DRUMS = [
    STAFF_ORDER[voice] for voice in ("snare", "cross-stick", "high-tom", "mid-tom", "floor-tom")
]


@dataclass(frozen=True, kw_only=True)
class Heard:
    """Strokes in order of time, (n,) each.

    ``time_s`` of the main stroke; ``voice`` index into ``VOICES``; ``level`` in dB under the
    loudest (``grading.loudness``); ``graces`` the grace strokes before it; ``is_open`` of a hi-hat;
    ``hit`` the number of its hit among those heard.
    """

    time_s: Floats
    voice: Ints
    level: Floats
    graces: Ints
    is_open: Bools
    hit: Ints

    def __len__(self) -> int:
        return len(self.time_s)

    def only(self, rows: Bools) -> "Heard":
        """These of them, (n,)."""
        return Heard(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})


def strokes_of(hits: Hits) -> Heard:
    """The hits as strokes."""
    voice = hits.voice.astype(np.int64)
    is_open = np.isin(voice, _OPEN)
    table = np.arange(len(VOICES))
    for own, into in _INTO.items():
        table[own] = into
    voice = table[voice]
    graces, is_main = np.zeros(len(hits), np.int64), np.ones(len(hits), np.bool_)
    for code in np.unique(voice).tolist():
        rows = np.flatnonzero(voice == code)
        _thick(rows, hits, graces, is_main=is_main, close_s=GRACE_S if code in _DRUMS else _ECHO_S)
        if code not in _DRUMS:
            graces[rows] = 0
    rows = np.flatnonzero(is_main)
    return Heard(
        time_s=hits.time_s[rows],
        voice=voice[rows],
        level=np.asarray(level_db(np.maximum(hits.velocity[rows], 1.0))),
        graces=graces[rows],
        is_open=is_open[rows],
        hit=rows,
    )


def _thick(rows: Ints, hits: Hits, graces: Ints, *, is_main: Bools, close_s: float) -> None:
    """Make one stroke of those of a voice that are close together, the last being the main one."""
    groups: list[list[int]] = []
    for row in rows.tolist():
        before = groups[-1][-1] if groups else None
        if before is not None and hits.time_s[row] - hits.time_s[before] <= close_s:
            groups[-1].append(row)
        else:
            groups.append([row])
    for group in groups:
        *before_it, main = group
        loudest = _NO_LOUDER * hits.velocity[main]
        softer = all(hits.velocity[row] <= loudest for row in before_it)
        if before_it and softer and len(before_it) <= MOST_GRACES:
            graces[main] = len(before_it)
            is_main[before_it] = False
        elif len(group) == 2:  # an echo of the pad: the second one softer
            is_main[main] = hits.time_s[main] - hits.time_s[group[0]] > _ECHO_S
