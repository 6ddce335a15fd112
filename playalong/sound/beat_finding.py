"""The beats of a recording, found without tapping: the optional extra "beats", which is librosa."""

import numpy as np

from playalong.pattern.beat_map import BeatMap
from playalong.plain import PlainError
from playalong.sound.onsets import HOP, Onsets, refined
from playalong.sound.timeline import RATE

HOW_TO_INSTALL = (
    "Finding the beats by itself needs librosa: install it with pip install 'playalong[beats]', "
    "or tap along."
)


def find(onsets: Onsets, per_bar: int = 4, start_bpm: float = 110.0) -> BeatMap:
    """The beats that librosa finds in ``onsets``, laid on them; bar 1 begins on the first.

    ``start_bpm`` is where it begins to search. PlainError where librosa is missing or finds none.
    """
    try:
        from librosa.beat import beat_track
    except ImportError:
        raise PlainError(HOW_TO_INSTALL) from None
    _, found_s = beat_track(
        onset_envelope=onsets.strength, sr=RATE, hop_length=HOP, start_bpm=start_bpm, units="time"
    )
    try:
        return refined(np.asarray(found_s, np.float64), onsets, per_bar)
    except PlainError:
        raise PlainError("No steady beat was found in the recording: tap along.") from None
