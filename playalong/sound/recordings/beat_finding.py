"""The beats of a recording, found without tapping: the optional extra "beats", which is librosa."""

from dataclasses import replace
from importlib.util import find_spec

import numpy as np

from playalong.pattern.beat_map import BeatMap
from playalong.sound.recordings.onsets import HOP, Onsets, continued, refined
from playalong.sound.timeline import RATE
from playalong.support.errors import UserError

HOW_TO_INSTALL = (
    "Finding the beats by itself needs librosa: install it with pip install 'playalong[beats]', "
    "or tap along."
)

#: Hops of which the tempo is found at once: half a minute.
_AT_ONCE = 30 * RATE // HOP

#: Where the search for a tempo begins, and how closely it keeps to a hint, in octaves.
START_BPM, _HINT_OCTAVES = 110.0, 0.1

#: Something begins on a beat where an onset is so near.
_NEAR_S = 0.02


def check_installed() -> None:
    """UserError where librosa is missing, before anybody waits for a recording to be read."""
    if find_spec("librosa") is None:
        raise UserError(HOW_TO_INSTALL)


def find(onsets: Onsets, per_bar: int = 4, hint_bpm: float | None = None) -> BeatMap:
    """The beats that librosa finds in ``onsets``, laid on them; bar 1 begins on the first.

    ``hint_bpm`` is about how fast it is, None where nobody knows. UserError where librosa is
    missing or finds none.
    """
    try:
        from librosa.beat import beat_track
        from librosa.feature import tempo
    except ImportError:
        raise UserError(HOW_TO_INSTALL) from None
    # The tempo takes memory for every hop that it hears: an hour at once would take 24 GB.
    parts = np.array_split(onsets.strength, -(-len(onsets.strength) // _AT_ONCE))
    around = {"start_bpm": START_BPM if hint_bpm is None else hint_bpm}
    if hint_bpm is not None:
        around["std_bpm"] = _HINT_OCTAVES
    found_bpm = [
        float(tempo(onset_envelope=part, sr=RATE, hop_length=HOP, **around)[0])
        for part in parts
        if part.any()
    ]
    _, found_s = beat_track(
        onset_envelope=onsets.strength,
        sr=RATE,
        hop_length=HOP,
        bpm=float(np.median(found_bpm)) if found_bpm else START_BPM,
        units="time",
    )
    try:
        found = continued(refined(np.asarray(found_s, np.float64), onsets, per_bar), onsets)
    except UserError:
        raise UserError("No steady beat was found in the recording: tap along.") from None
    return replace(found, first=_first_heard(found, onsets))


def _first_heard(beats: BeatMap, onsets: Onsets) -> int:
    """The first beat on which something begins."""
    heard = [len(onsets.near(at - _NEAR_S, at + _NEAR_S)[0]) > 0 for at in beats.times_s]
    return heard.index(True) if True in heard else 0
