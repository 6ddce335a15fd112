"""The beats of a recording, found without tapping: the optional extra "beats", which is librosa."""

from dataclasses import replace
from importlib.util import find_spec
from itertools import pairwise

import numpy as np

from playalong.pattern.beat_map import BeatMap
from playalong.sound.recordings.onsets import HOP, HOP_S, Onsets, continued, refined
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

#: Something begins on a beat where an onset is so near; the same in hops.
_NEAR_S, _NEAR_HOPS = 0.02, 4

#: Drums have come in where on so many beats this part of the usual begins.
_LOOKED_AT, _DRUMS = 8, 0.5


def check_installed() -> None:
    """UserError where librosa is missing, before anybody waits for a recording to be read."""
    if find_spec("librosa") is None:
        raise UserError(HOW_TO_INSTALL)


def find(onsets: Onsets, per_bar: int = 4, hint_bpm: float | None = None) -> BeatMap:
    """The beats that librosa finds in ``onsets``, laid on them; bar 1 begins on the first, or
    right behind an intro without drums.

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
    return replace(found, first=first_heard(found, onsets))


def first_heard(beats: BeatMap, onsets: Onsets) -> int:
    """The first beat on which something begins, and from which on as much does as in most of it.

    What is struck begins high up in the spectrum, and other music hardly: beats in which less than
    half as much begins there as usual are an intro without drums.
    """
    heard = [len(onsets.near(at - _NEAR_S, at + _NEAR_S)[0]) > 0 for at in beats.times_s]
    first = heard.index(True) if True in heard else 0
    bright = onsets.bright
    if bright is None or len(beats) <= _LOOKED_AT:
        return first
    hops = np.rint(np.array(beats.times_s) / HOP_S).astype(np.int64) - _NEAR_HOPS
    begun = np.array(
        [bright[max(0, low) : max(0, high)].max(initial=0.0) for low, high in pairwise(hops)]
    )
    enough = _DRUMS * float(np.median(begun))
    for beat in range(first, len(begun) - _LOOKED_AT):
        ahead = begun[beat : beat + _LOOKED_AT]
        if heard[beat] and begun[beat] >= enough and float(np.median(ahead)) >= enough:
            return beat
    return first
