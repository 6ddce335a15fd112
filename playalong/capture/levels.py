"""Ghost notes, plain strokes and accents, from the levels of one voice alone.

The places of a voice fall into two or three kinds only where these are clearly apart: the distance
of their means against how far places of a kind, and strokes at one place, scatter. A hi-hat, a ride
and the toms breathe with the beat of their own accord (``simulation.human_touch`` has figures from
the Groove MIDI Dataset): more is asked of them, and louder strokes on just the beats, or just
between them, are no accents. A soft kind far under the rest is of ghost notes; a loud one less far
over it of accents. A voice of one kind is plain: whether it was meant as accents, its own levels
cannot tell.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.model import Dynamic
from playalong.pattern.voices import STAFF_ORDER, VOICES, Limb

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Apart:
    """How far apart kinds are at least, in dB and in spreads from place to place; of how many."""

    least_db: float
    of_places: float
    places: int


#: Of voices that are led by the hand alone, of the feet, and of those that breathe.
_HAND = _Apart(least_db=5.5, of_places=2.3, places=2)
_FOOT = _Apart(least_db=10.5, of_places=3.5, places=3)
_BREATHING = _Apart(least_db=9.0, of_places=5.0, places=6)
#: Of single strokes; and how far from the middle of its kind a level is plainly of that kind.
_HITS, _PLAINLY = _Apart(least_db=7.0, of_places=2.6, places=4), 0.35
#: The same in spreads at one place of which two strokes were heard: the mean of more is surer, as
#: the root of their number.
_APART_AT_ONE, _OF_TWO = 2.1, 2.0
#: From this distance on the softer kind are ghost notes (measured: 23 dB, 16 to 37; accents lie
#: some 9 dB over the plain strokes).
_GHOSTS_DB = 13.5
#: The spread at one place where nothing was played twice, and the least that is believed, in dB.
_USUAL_DB, _LEAST_DB = 2.5, 1.5
#: What a place pays that is of another kind than those like it in its bar, in nats.
_UNLIKE = 2.5

#: The pedal is heard by its place alone.
_OF_ONE_KIND = ("hi-hat-pedal",)

#: A place within this part of the way from its kind to the next is surely of it.
_SURE = 0.38

#: What a hand leans on: the beats, and quarter notes, of which in compound meters some lie between.
_QUARTER = Fraction(1, 4)

#: Voices that have ghost notes.
_WITH_GHOSTS = ("snare", "cross-stick", "high-tom", "mid-tom", "floor-tom")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place of a voice in the pattern: its bar, its position there, its place in the beat, and
    the levels of its strokes in dB."""

    bar: int
    at: Fraction
    into: Fraction
    levels: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """The dynamic of a place, and whether that is sure."""

    dynamic: Dynamic
    sure: bool


def kinds_of(voice: str, places: Sequence[Place]) -> list[Kind]:
    """The dynamic of each place of a voice."""
    mean = np.array([np.mean(place.levels) for place in places])
    many = np.array([len(place.levels) for place in places], np.float64)
    spread = _spread(places)
    limb = VOICES[STAFF_ORDER[voice]].limb
    apart = {Limb.HAT_HAND: _BREATHING, Limb.SNARE_HAND: _HAND}.get(limb, _FOOT)
    leans = np.array([2 * (place.into == 0) + (place.at % _QUARTER == 0) for place in places])
    label = np.zeros(len(places), np.int64)
    every = np.arange(len(places))
    louder = _split(mean, many, spread, apart=apart, leans=leans)
    if louder is not None and voice not in _OF_ONE_KIND:
        softer = np.setdiff1d(every, louder)
        label[louder] = 1
        if voice in _WITH_GHOSTS:
            again = _split(mean[louder], many[louder], spread, apart=apart, leans=leans[louder])
            if again is not None:
                label[louder[again]] = 2
            else:
                ghosts = replace(apart, least_db=_GHOSTS_DB)
                plain = _split(
                    mean[softer], many[softer], spread, apart=ghosts, leans=leans[softer]
                )
                if plain is not None:
                    label[louder] = 2
                    label[softer[plain]] = 1
    order = sorted(np.unique(label).tolist(), key=lambda kind: float(mean[label == kind].mean()))
    rank = np.array([order.index(kind) for kind in label.tolist()])
    middle = [float(mean[rank == kind].mean()) for kind in range(len(order))]
    names = _names(voice, middle)
    if len(middle) == 1:
        return [Kind(dynamic=names[0], sure=True)] * len(places)
    loss = _losses(places, rank, middle, spread=spread)
    rank = _alike(places, loss)
    found = []
    for row, kind in enumerate(rank.tolist()):
        gap = min(abs(middle[kind] - at) for other, at in enumerate(middle) if other != kind)
        sure = abs(float(mean[row]) - middle[kind]) <= _SURE * gap
        found.append(Kind(dynamic=names[kind], sure=bool(sure)))
    return found


def _spread(places: Sequence[Place]) -> float:
    """How far strokes at one place scatter, in dB: the median over the places."""
    own = [float(np.std(place.levels, ddof=1)) for place in places if len(place.levels) > 1]
    if not own:
        return _USUAL_DB
    return max(float(np.sqrt(np.mean(np.square(own)))), _LEAST_DB)


def _split(
    mean: Floats, many: Floats, spread: float, *, apart: _Apart, leans: NDArray[np.int64]
) -> NDArray[np.int64] | None:
    """The places of the louder of two kinds, None where there is one kind."""
    if len(mean) < apart.places:
        return None
    if apart is _BREATHING:  # what leans on the beats, or between them, does so as one
        for lean in np.unique(leans).tolist():
            mean = np.where(leans == lean, mean - mean[leans == lean].mean(), mean)
    order = np.argsort(mean)
    low, high = max(
        ((order[:cut], order[cut:]) for cut in range(1, len(mean))),
        key=lambda two: (
            len(two[0]) * len(two[1]) * (mean[two[1]].mean() - mean[two[0]].mean()) ** 2
        ),
    )
    distance = float(mean[high].mean() - mean[low].mean())
    off = np.concatenate([mean[low] - mean[low].mean(), mean[high] - mean[high].mean()])
    within = max(
        float(np.sqrt(np.square(off).sum() / max(1, len(mean) - 2))),
        spread / float(np.sqrt(many.mean())),
        _LEAST_DB / 2.0,
    )
    at_one = _APART_AT_ONE * spread * float(np.sqrt(_OF_TWO / max(many.mean(), _OF_TWO)))
    if distance < max(apart.least_db, at_one, apart.of_places * within):
        return None
    found: NDArray[np.int64] = np.sort(high)
    return found


def _names(voice: str, middle: Sequence[float]) -> list[Dynamic]:
    if len(middle) == 1:
        return [Dynamic.NORMAL]
    if len(middle) > 2:
        return [Dynamic.GHOST, Dynamic.NORMAL, Dynamic.ACCENT]
    if voice in _WITH_GHOSTS and middle[1] - middle[0] >= _GHOSTS_DB:
        return [Dynamic.GHOST, Dynamic.NORMAL]
    return [Dynamic.NORMAL, Dynamic.ACCENT]


def _losses(
    places: Sequence[Place], rank: NDArray[np.int64], middle: Sequence[float], *, spread: float
) -> Floats:
    """(places, kinds) how unlikely each place is as each kind, in nats."""
    loss = np.zeros((len(places), len(middle)))
    for kind, at in enumerate(middle):
        own = [
            level for row, place in enumerate(places) if rank[row] == kind for level in place.levels
        ]
        wide = max(float(np.std(own)), spread * 0.7, _LEAST_DB)
        for row, place in enumerate(places):
            off = (np.array(place.levels) - at) / wide
            loss[row, kind] = float((off**2 / 2.0 + np.log(wide)).sum())
    return loss


def _alike(places: Sequence[Place], loss: Floats) -> NDArray[np.int64]:
    """(places,) the kind of each: in a bar those at the same place of their beats hang together."""
    rank: NDArray[np.int64] = loss.argmin(axis=1)
    groups: dict[tuple[int, Fraction], list[int]] = {}
    for row, place in enumerate(places):
        groups.setdefault((place.bar, place.into), []).append(row)
    for rows in groups.values():
        common = int(loss[rows].sum(axis=0).argmin())
        for row in rows:
            if loss[row, common] - loss[row, rank[row]] < _UNLIKE:
                rank[row] = common
    return rank


def border(voice: str, levels: Floats) -> tuple[float, float] | None:
    """Where between two kinds of strokes of a voice a level is plainly neither: the two ends, in
    dB; None where the strokes (n,) are of one kind, or the voice breathes."""
    if voice in _OF_ONE_KIND or VOICES[STAFF_ORDER[voice]].limb is Limb.HAT_HAND:
        return None
    ones = np.ones(len(levels))
    louder = _split(levels, ones, _LEAST_DB, apart=_HITS, leans=np.zeros(len(levels), np.int64))
    if louder is None:
        return None
    low, high = float(np.delete(levels, louder).mean()), float(levels[louder].mean())
    return low + _PLAINLY * (high - low), high - _PLAINLY * (high - low)
