"""Ghost notes, plain strokes and accents, from the levels of one voice alone.

Each way to call the places of a voice (all plain; ghost notes and plain strokes; plain strokes and
accents; all three) is a model of their levels, and the likeliest is taken. A level is the middle of
its kind, what its place has for itself, and chance at each stroke, spread as people spread it
(``simulation.human_touch`` has the figures, from the Groove MIDI Dataset): a hi-hat and a ride
breathe with the beat of their own accord, and lean on just the beats, or just between them; toms
breathe as well, but hardly lean; a hand that is led by written accents does so much less (common
practice). So accents on a hi-hat are told by how even it is otherwise. The mean of a place that
came often is surer than one stroke, and what is alike is likelier: places of a bar at one place of
their beats, back-beats, and the same place in other bars. A voice of one kind is plain: whether it
was meant as accents, its own levels cannot tell.

What other voices tell: an accent is about as loud as the hands get in that groove, since it is
meant to be heard over the rest. Toms are played as one row of drums; where a fill has accents on
the snare, it goes on over the toms as it began, as likely as not (common practice).
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lgamma, log

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.model import Dynamic
from playalong.pattern.voices import STAFF_ORDER, TOMS, VOICES, Limb

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Touch:
    """How a limb spreads its levels, in dB: at one place; what a place has for itself; and how far
    it leans on beats. What it costs to say that it has accents, in nats."""

    spread_db: float
    own_db: float
    lean_db: float
    accents: float


#: Of voices that are led by the hand alone, of the feet, of those that breathe, and of the toms.
_HAND = _Touch(spread_db=2.7, own_db=0.5, lean_db=0.5, accents=1.9)
_FOOT = _Touch(spread_db=3.7, own_db=1.2, lean_db=1.6, accents=6.0)
_BREATHING = _Touch(spread_db=5.2, own_db=4.0, lean_db=5.4, accents=6.0)
_TOM = _Touch(spread_db=3.0, own_db=3.3, lean_db=1.1, accents=6.0)
_OF_LIMB = {Limb.HAT_HAND: _BREATHING, Limb.SNARE_HAND: _HAND}
#: What is left of leaning where accents are meant, and the least that a place has for itself.
_LED_BY_ACCENTS, _LEAST_OWN_DB = 0.3, 0.4
#: The spread of ghost notes at one place; that of a voice is believed after so many strokes.
_GHOST_DB, _BELIEVED = 7.0, 10.0

#: How far accents lie over plain strokes, and ghost notes under them: the middle, in dB, and the
#: spread of its logarithm (measured: ghost notes 23 dB, 16 to 37; accents some 9 dB and more).
_ACCENTS, _GHOSTS = (9.5, 0.3), (22.0, 0.24)

#: Accents lie so far under the loudest strokes of the hands as a standard deviation, in dB; these
#: are the loudest tenth of them.
_UNDER_LOUDEST_DB, _LOUDEST = 3.0, 90.0

#: What it costs to say that a voice has ghost notes, in nats.
_WITH_GHOST_NOTES = 1.0

#: Less than that, as the sum of the squares of spreads, and all are plainly of one kind.
_OF_ONE_SPREAD = 1.0

#: The pedal is heard by its place alone.
_OF_ONE_KIND = ("hi-hat-pedal",)

#: A place within this part of the way from its kind to the next is surely of it.
_SURE = 0.38

#: Of single strokes of a voice: what is clearly two kinds, in dB and in spreads; and how far from
#: the middle of its kind a level is plainly of that kind.
_HITS_DB, _HITS_SPREADS, _LEAST_HITS, _PLAINLY = 7.0, 2.6, 4, 0.35
_LEAST_DB = 1.5

#: What a hand leans on: the beats, and quarter notes, of which in compound meters some lie between.
_QUARTER = Fraction(1, 4)

#: The drum that leads.
_SNARE = "snare"

#: Voices that have ghost notes.
_WITH_GHOSTS = (_SNARE, "cross-stick", *TOMS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place of a voice in the pattern: its bar, its position there, its place in the beat,
    whether a back-beat is there (the second beat of two), and the levels of its strokes in dB."""

    bar: int
    at: Fraction
    into: Fraction
    back: bool = False
    levels: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """The dynamic of a place, and whether that is sure."""

    dynamic: Dynamic
    sure: bool


def kinds_of_voices(groove: Mapping[str, Sequence[Place]]) -> dict[str, list[Kind]]:
    """The dynamic of each place of all voices of a groove."""
    loudest_db = _loudest_db(groove)
    found = {
        voice: kinds_of(voice, places, loudest_db=loudest_db)
        for voice, places in groove.items()
        if voice not in TOMS
    }
    toms = [voice for voice in TOMS if voice in groove]
    row = [place for voice in toms for place in groove[voice]]
    led = _led(row, groove.get(_SNARE, ()), found.get(_SNARE, ()))
    kinds = iter(kinds_of(toms[0], row, loudest_db=loudest_db, led=led) if toms else ())
    return found | {voice: [next(kinds) for _ in groove[voice]] for voice in toms}


def _loudest_db(groove: Mapping[str, Sequence[Place]]) -> float | None:
    """How loud the loudest strokes of the hands are, in dB; None where they have none."""
    levels = [
        level
        for voice, places in groove.items()
        if VOICES[STAFF_ORDER[voice]].limb in (Limb.HAT_HAND, Limb.SNARE_HAND)
        for place in places
        for level in place.levels
    ]
    return float(np.percentile(levels, _LOUDEST)) if levels else None


def _led(
    row: Sequence[Place], snare: Sequence[Place], kinds: Sequence[Kind]
) -> NDArray[np.bool_] | None:
    """(n,) which places of the toms are accents if a fill goes on over them as on the snare: in
    their bar, at their place in the beat; None where the snare has no accents there. In bars in
    which the two are struck together it is no fill that goes from one to the other."""
    together = {place.bar for place in snare if any(_is_at(place, one) for one in row)}
    accents: dict[tuple[int, Fraction], list[bool]] = {}
    for place, kind in zip(snare, kinds, strict=True):
        if place.bar not in together:
            own = accents.setdefault((place.bar, place.into), [])
            own.append(kind.dynamic is Dynamic.ACCENT)
    led = np.array([np.mean(accents.get((one.bar, one.into), [False])) > 0.5 for one in row])
    return led if led.any() else None


def _is_at(one: Place, other: Place) -> bool:
    return (one.bar, one.at) == (other.bar, other.at)


def kinds_of(
    voice: str,
    places: Sequence[Place],
    *,
    loudest_db: float | None = None,
    led: NDArray[np.bool_] | None = None,
) -> list[Kind]:
    """The dynamic of each place of a voice.

    ``loudest_db`` is the level of the loudest strokes of the hands; ``led`` (n,) which places are
    accents if the voice is as another one that leads it. None where nothing is known of that.
    """
    plain = [Kind(dynamic=Dynamic.NORMAL, sure=True)] * len(places)
    if voice in _OF_ONE_KIND or len(places) < 2:
        return plain
    heard = _Levels.of(voice, places, loudest_db=loudest_db, led=led)
    off = (heard.mean - heard.mean.mean()) / (heard.touch.spread_db + heard.touch.own_db)
    if float(off @ off) < _OF_ONE_SPREAD:
        return plain
    ways = [(Dynamic.NORMAL,), (Dynamic.NORMAL, Dynamic.ACCENT)]
    if voice in _WITH_GHOSTS:
        ways += [(Dynamic.GHOST, Dynamic.NORMAL), (Dynamic.GHOST, Dynamic.ACCENT), tuple(Dynamic)]
    best = min((_called(heard, kinds) for kinds in ways), key=lambda one: one.cost)
    if len(best.kinds) == 1:
        return plain
    # Over ghost notes alone nobody hears whether strokes are plain or accents.
    alone = Dynamic.NORMAL not in best.kinds
    names = (Dynamic.GHOST, Dynamic.NORMAL) if alone else best.kinds
    found = []
    for row, kind in enumerate(best.rank.tolist()):
        middles = enumerate(best.middle.tolist())
        gap = min(abs(best.middle[kind] - at) for other, at in middles if other != kind)
        sure = abs(float(heard.mean[row]) - best.middle[kind]) <= _SURE * gap
        found.append(Kind(dynamic=names[kind], sure=bool(sure)))
    return found


@dataclass(frozen=True, kw_only=True)
class _Levels:
    """The places of a voice: (n,) the ``mean`` level, how ``many`` strokes, the squares of how far
    these are off the mean, 1 on a beat and -1 between; the rows at one place of the beats of a bar,
    and those at one place of all bars; ``loudest_db`` and ``led`` as ``kinds_of`` has them."""

    touch: _Touch
    mean: Floats
    many: Floats
    squares: Floats
    lean: Floats
    orders: tuple[Ints, ...]
    loudest_db: float | None
    led: NDArray[np.bool_] | None

    @classmethod
    def of(
        cls,
        voice: str,
        places: Sequence[Place],
        *,
        loudest_db: float | None,
        led: NDArray[np.bool_] | None,
    ) -> "_Levels":
        limb = VOICES[STAFF_ORDER[voice]].limb
        on = [place.into == 0 or place.at % _QUARTER == 0 for place in places]
        return cls(
            touch=_TOM if voice in TOMS else _OF_LIMB.get(limb, _FOOT),
            mean=np.array([np.mean(place.levels) for place in places]),
            many=np.array([len(place.levels) for place in places], np.float64),
            squares=np.array([np.var(place.levels) * len(place.levels) for place in places]),
            lean=np.where(on, 1.0, -1.0),
            orders=(
                _numbered([(place.bar, place.into) for place in places]),
                _numbered([place.into for place in places]),
                _numbered([place.back for place in places]),
                _numbered([place.at for place in places]),
                np.arange(len(places)),
            ),
            loudest_db=loudest_db,
            led=led,
        )


def _numbered(keys: Sequence[Hashable]) -> Ints:
    """(n,) a number for each that is the same."""
    numbers: dict[Hashable, int] = {}
    return np.array([numbers.setdefault(key, len(numbers)) for key in keys], np.int64)


@dataclass(frozen=True, kw_only=True)
class _Called:
    """One way to call the places: the kinds from soft to loud, (n,) the number of the kind of each
    place, the middle of each kind in dB, and what it costs in nats."""

    kinds: tuple[Dynamic, ...]
    rank: Ints
    middle: Floats
    cost: float


def _called(heard: _Levels, kinds: tuple[Dynamic, ...]) -> _Called:
    """The likeliest way to call the places by these kinds."""
    n = len(heard.mean)
    if len(kinds) == 1:
        return _cost(heard, kinds, np.zeros(n, np.int64))
    order = np.argsort(heard.mean)
    place = np.empty(n, np.int64)
    place[order] = np.arange(n)
    cuts = range(1, n)
    if len(kinds) == 2:
        starts = [(place >= cut).astype(np.int64) for cut in cuts]
    else:
        gaps = np.diff(heard.mean[order])
        wide = sorted((np.argsort(-gaps)[:_WIDEST] + 1).tolist())
        starts = [
            (place >= low).astype(np.int64) + (place >= high)
            for low in wide
            for high in wide
            if low < high
        ]
    if not starts:
        return _Called(kinds=kinds, rank=np.zeros(n, np.int64), middle=np.zeros(1), cost=np.inf)
    tried = sorted((_cost(heard, kinds, one) for one in starts), key=lambda one: one.cost)
    return min((_settled(heard, one) for one in tried[:_TRIED]), key=lambda one: one.cost)


#: Of three kinds the borders lie in so many of the widest gaps; and so many of the beginnings are
#: followed up, in so many rounds.
_WIDEST, _TRIED, _ROUNDS = 8, 2, 3


def _settled(heard: _Levels, called: _Called) -> _Called:
    """Places called otherwise one by one, and those of the beats of a bar together, as long as that
    is likelier."""
    groups = [np.array([row]) for row in range(len(heard.mean))]
    for order in heard.orders[:-1]:
        groups += [np.flatnonzero(order == one) for one in range(int(order.max()) + 1)]
    for _ in range(_ROUNDS):
        before = called.cost
        losses = _losses(heard, _Model.of(heard, called.kinds, called.rank))
        for rows in groups:
            own = called.rank[rows]
            for kind in range(len(called.kinds)):
                gained = losses[rows, own].sum() - losses[rows, kind].sum()
                if (own == kind).all() or gained < -_MOST_ALIKE * len(rows):
                    continue
                rank = called.rank.copy()
                rank[rows] = kind
                tried = _cost(heard, called.kinds, rank)
                if tried.cost < called.cost:
                    called, own = tried, tried.rank[rows]
        if called.cost >= before - 1e-9:
            break
    return called


#: More than that being alike cannot win a place.
_MOST_ALIKE = 5.0


@dataclass(frozen=True, kw_only=True)
class _Model:
    """What levels are where the places are called so, (kinds,) each: the middle, the spread at one
    place, the variance of what places have for themselves, and how far they lean, in dB."""

    middle: Floats
    spread: Floats
    own: Floats
    lean: Floats

    @classmethod
    def of(cls, heard: _Levels, kinds: tuple[Dynamic, ...], rank: Ints) -> "_Model":
        touch, many = heard.touch, len(kinds)
        led = _LED_BY_ACCENTS if Dynamic.ACCENT in kinds else 1.0
        meant = np.array([kind is Dynamic.ACCENT for kind in kinds])
        usual = np.array(
            [_GHOST_DB if kind is Dynamic.GHOST else touch.spread_db for kind in kinds]
        )
        free = np.bincount(rank, weights=heard.many - 1.0, minlength=many)
        squares = np.bincount(rank, weights=heard.squares, minlength=many)
        variance = (_BELIEVED * usual**2 + squares) / (_BELIEVED + free)
        own = np.maximum(_LEAST_OWN_DB, np.where(meant, 0.0, led * touch.own_db)) ** 2
        # The middle of each kind and how far all lean, by least squares, leaning held to what is
        # usual.
        weight = 1.0 / (own[rank] + variance[rank] / heard.many)
        lean = np.where(meant[rank], 0.0, heard.lean)
        sums = np.bincount(rank, weights=weight, minlength=many)
        mean = np.bincount(rank, weights=weight * heard.mean, minlength=many) / sums
        side = np.bincount(rank, weights=weight * lean, minlength=many) / sums
        across = weight * (lean - side[rank])
        far = float(across @ heard.mean) / (float(across @ lean) + (led * touch.lean_db) ** -2)
        return cls(
            middle=mean - far * side,
            spread=np.sqrt(variance),
            own=own,
            lean=np.where(meant, 0.0, far),
        )


def _losses(heard: _Levels, model: _Model) -> Floats:
    """(places, kinds) how unlikely each place is as each kind, in nats."""
    many = heard.many[:, None]
    variance = model.own + model.spread**2 / many
    off = heard.mean[:, None] - model.middle - model.lean * heard.lean[:, None]
    found: Floats = 0.5 * (off**2 / variance + np.log(variance))
    return (
        found + 0.5 * heard.squares[:, None] / model.spread**2 + (many - 1) * np.log(model.spread)
    )


def _cost(heard: _Levels, kinds: tuple[Dynamic, ...], rank: Ints) -> _Called:
    """What it costs to call the places so, in nats."""
    if not np.bincount(rank, minlength=len(kinds)).all():
        return _Called(kinds=kinds, rank=rank, middle=np.zeros(len(kinds)), cost=np.inf)
    model = _Model.of(heard, kinds, rank)
    cost = float(_losses(heard, model)[np.arange(len(rank)), rank].sum())
    led = _LED_BY_ACCENTS if Dynamic.ACCENT in kinds else 1.0
    usual = led * heard.touch.lean_db
    cost += 0.5 * float(np.abs(model.lean).max() / usual) ** 2 + log(led)
    where = dict(zip(kinds, model.middle.tolist(), strict=True))
    normal = where.get(Dynamic.NORMAL, where.get(Dynamic.ACCENT, 0.0))
    if Dynamic.ACCENT in where and heard.led is None:  # where the snare leads, accents are expected
        cost += heard.touch.accents
    if Dynamic.ACCENT in where and Dynamic.NORMAL in where:
        cost += _gap_cost(where[Dynamic.ACCENT] - normal, _ACCENTS)
        if heard.loudest_db is not None:
            under_db = max(0.0, heard.loudest_db - where[Dynamic.ACCENT])
            cost += 0.5 * (under_db / _UNDER_LOUDEST_DB) ** 2
    if Dynamic.GHOST in where:
        cost += _WITH_GHOST_NOTES + _gap_cost(normal - where[Dynamic.GHOST], _GHOSTS)
    if len(kinds) > 1:
        told = [_told(rank, order, len(kinds)) for order in heard.orders]
        if heard.led is not None and Dynamic.ACCENT in where:
            away = int(((rank == len(kinds) - 1) != heard.led).sum())
            told.append(_otherwise(away, len(rank)))
        cost += min(told)
    return _Called(kinds=kinds, rank=rank, middle=model.middle, cost=cost)


def _told(rank: Ints, order: Ints, kinds: int) -> float:
    """How long it takes to tell the kinds of all places, in nats: that of each group, then which
    places are otherwise. Both as many as they are, so that a rule that holds makes what breaks it
    unlikely, and one that does not hold says nothing."""
    groups = int(order.max()) + 1
    table = np.bincount(order * kinds + rank, minlength=groups * kinds).reshape(groups, kinds)
    of_groups = np.bincount(table.argmax(axis=1), minlength=kinds).tolist()
    told = _chosen(of_groups) + log(groups + 1.0) * (kinds - 1)
    if groups < len(rank):
        otherwise = len(rank) - int(table.max(axis=1).sum())
        told += _otherwise(otherwise, len(rank)) + otherwise * log(kinds - 1.0)
    return told


def _otherwise(away: int, many: int) -> float:
    """How long it takes to tell which places a rule does not hold for, in nats: few are likelier
    than many, as 1 / n squared."""
    return _chosen([away, many - away]) + 0.5 + 2.0 * log(away + 1.0)


def _chosen(counts: Sequence[int]) -> float:
    """The logarithm of the number of ways to deal out so many of each."""
    return lgamma(sum(counts) + 1.0) - sum(lgamma(one + 1.0) for one in counts)


def _gap_cost(gap_db: float, usual: tuple[float, float]) -> float:
    """How unusual it is that two kinds lie so far apart, in nats."""
    middle, wide = usual
    return 0.5 * float(np.log(max(gap_db, 0.1) / middle) / wide) ** 2


def border(voice: str, levels: Floats) -> tuple[float, float] | None:
    """Where between two kinds of strokes of a voice a level is plainly neither: the two ends, in
    dB; None where the strokes (n,) are of one kind, or the voice is none of
    the snare hand: others breathe, and feathered kicks spread as far as two kinds lie apart."""
    if VOICES[STAFF_ORDER[voice]].limb is not Limb.SNARE_HAND:
        return None
    if len(levels) < _LEAST_HITS:
        return None
    order = np.sort(levels)
    many = np.arange(1, len(order))
    below = np.cumsum(order)[:-1] / many
    above = (order.sum() - np.cumsum(order)[:-1]) / (len(order) - many)
    cut = int(np.argmax(many * (len(order) - many) * (above - below) ** 2))
    low, high = float(below[cut]), float(above[cut])
    off = np.concatenate([order[: cut + 1] - low, order[cut + 1 :] - high])
    within = max(float(np.sqrt(np.square(off).sum() / max(1, len(order) - 2))), _LEAST_DB)
    if high - low < max(_HITS_DB, _HITS_SPREADS * within):
        return None
    return low + _PLAINLY * (high - low), high - _PLAINLY * (high - low)
