"""How many bars were played, where nobody says so.

A take goes up to the last bar of which enough was played: more than half as much as of the fullest
bar, and more than its 1, if more is written there. So neither a pad that is touched on the way out
nor the 1 on which a groove ends adds a bar, and a bar that was broken off early is none.

How much of a bar was played is counted by voice, and no stroke more than is written: the hits of
each voice in that bar, whenever they come. So it is the same for a player who has left the click.
A hit belongs to the next bar from half the capture window before its bar line.
"""

import numpy as np
from numpy.typing import NDArray

from playalong.grading.matching.lag_path import counted_voices
from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets
from playalong.pattern.voices import VOICES

#: What a bar must hold more of than this part of what the fullest bar holds.
FAIR_SHARE = 0.5


def bars_played(targets: Targets, hits: Hits, capture_s: float) -> int:
    """The bars of ``targets`` up to the last that was played; all where none was.

    ``capture_s`` is the capture window, in seconds.
    """
    bars, starts_s = targets.bars, targets.bar_starts_s
    bar = np.searchsorted(starts_s, hits.time_s + capture_s / 2.0, side="right") - 1
    inside = bar >= 0
    bar, time_s = bar[inside], hits.time_s[inside]
    voice = counted_voices(targets, hits)[inside]
    required = ~targets.optional
    required_bar = targets.bar[required].astype(np.int64)

    written = _by_bar_and_voice(bars, required_bar, targets.voice[required])
    played = np.minimum(_by_bar_and_voice(bars, bar, voice), written).sum(axis=1)
    share = played / np.maximum(written.sum(axis=1), 1)

    beyond_1 = targets.time_s[required] > starts_s[required_bar] + capture_s
    only_1 = np.bincount(required_bar[beyond_1], minlength=bars) == 0
    goes_on = np.bincount(bar[time_s > starts_s[bar] + capture_s], minlength=bars) > 0

    fair = (share > FAIR_SHARE * share.max()) & (goes_on | only_1)
    reached = np.flatnonzero(fair)
    return int(reached[-1]) + 1 if len(reached) else bars


def _by_bar_and_voice(
    bars: int, bar: NDArray[np.int64], voice: NDArray[np.int16]
) -> NDArray[np.int64]:
    """(bars, voices) how many of each voice lie in each bar."""
    cells = np.bincount(bar * len(VOICES) + voice, minlength=bars * len(VOICES))
    return cells.reshape(bars, len(VOICES))
