"""How many bars were played, where nobody says so."""

import numpy as np

from playalong.grading.matching.lag_path import counted_voices
from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets

#: A bar in which no more than this part of what is written was hit was not begun: the last note
#: of an ending, or a pad touched on the way out.
_STRAY = 0.25


def bars_played(targets: Targets, hits: Hits, early_s: float) -> int:
    """The bars of ``targets`` up to the last that was begun, at least one.

    A hit belongs to a bar from ``early_s`` before its start.
    """
    written = np.isin(counted_voices(targets, hits), targets.voice)
    bar = np.searchsorted(targets.bar_starts_s, hits.time_s[written] + early_s, side="right") - 1
    played = np.bincount(bar[bar >= 0], minlength=targets.bars)
    asked = np.bincount(targets.bar[~targets.optional], minlength=targets.bars)
    begun = np.flatnonzero(played > _STRAY * asked)
    return int(begun[-1]) + 1 if len(begun) else targets.bars
