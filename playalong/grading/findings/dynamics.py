"""Causes in loudness. Everything is a comparison of the player's own strokes on one voice, so that
a kit's curve, v' = 127 (v / 127)^p, which stretches all levels by p, changes nothing.

* **Way**: between the middle of the softer strokes (0) and that of the louder ones (1).
* **Apart**: the distance between two kinds of stroke, by the spread of both (as standard deviations
  of one stroke): at 1 a listener often takes one for the other, from 3 on hardly ever. Experienced
  drummers keep ghost notes some 3.5 of their own spreads under the others (23 dB, Groove MIDI
  Dataset, Gillick et al., ICML 2019).
"""

from collections.abc import Iterator
from statistics import NormalDist

import numpy as np

from playalong.grading.findings.candidate import Bools, Candidate, Floats, Ints, Mend
from playalong.grading.findings.certainty import BORROWED, critical, interval, steady
from playalong.grading.findings.look import (
    ACCENT,
    GHOST,
    NORMAL,
    PLACE_STROKES,
    ROUNDS,
    Look,
)
from playalong.grading.grade import Code
from playalong.grading.loudness import velocity_of
from playalong.grading.quantiles import median, quantiles
from playalong.pattern.voices import STAFF_ORDER, VOICES

#: Strokes of a kind that can be compared.
STROKES = 5

#: From here on a place is on the way to the other kind.
ON_THE_WAY = 0.5

#: Less than this apart, ghost notes are too near to the others, and so much less where the level
#: asks for less contrast than the usual one; also counts how often, of a ghost note and another
#: stroke, it is the softer one: drummers have 0.93 and more, and from the first
#: share on they are told apart whatever their spread; under the second they are not (same takes).
GHOSTS_APART = 2.2
DISTINCT, MIXED = 0.93, 0.8
#: Plain strokes that spread so many times as far as usual fall among the ghost notes themselves.
FALL = 3.0
#: Accents are flat where they are less than this apart from the others of their voice, so much less
#: where the level asks for less contrast, and less often than this the louder of the two.
ACCENTS_APART, ACCENTS_MIXED = 2.0, 0.86
#: How often chance may make the accents of any voice flat.
BY_CHANCE = 0.16

#: The change where strokes fall together that is told, in spreads of one stroke.
TOGETHER = 1.5

#: The spread of drummers' strokes at one place, in dB (median of the same takes), and that of
#: voices that are not in the table.
USUAL_DB = {"kick": 3.5, "snare": 2.5, "ride": 3.8, "hi-hat": 5.6}
OTHERS_DB = 4.0

#: How much less even than usual, as the player's other voices are, a voice is for certain (so many
#: standard errors) that is uneven; and at least, in dB.
UNEVEN, UNEVEN_SURE, UNEVEN_DB = 1.4, 1.65, 5.5

#: The loss beside the points of a stroke that is all that it should not be.
_WRONG = 0.6

#: The same of a stroke of an uneven voice, which is sometimes so and sometimes so.
_UNEVEN = 0.05


def sure(voices: int) -> float:
    """How many standard errors that are, where so many voices are looked at."""
    return NormalDist().inv_cdf(1.0 - BY_CHANCE / voices)


def loudness(look: Look) -> Iterator[Candidate]:
    """All causes of this family."""
    level = look.run.level_db
    spreads: dict[int, tuple[float, Bools]] = {}
    accented: list[tuple[Bools, Bools]] = []
    for code in np.flatnonzero(np.bincount(look.run.voice)).tolist():
        own = look.run.voice == code
        kinds = [own & (look.run.dynamic == kind) for kind in (GHOST, NORMAL, ACCENT)]
        ghosts, plain, accents = kinds
        if ghosts.sum() >= STROKES and (plain | accents).sum() >= STROKES:
            yield from _ghosts(
                look,
                level,
                ghosts=ghosts,
                plain=plain if plain.sum() >= STROKES else plain | accents,
            )
        if accents.sum() >= STROKES and plain.sum() >= STROKES:
            accented.append((accents, plain))
        if plain.sum() >= 2 * STROKES:
            spreads[code] = _within(look, level, plain), plain
    for accents, plain in accented:
        yield from _accents(look, level, accents=accents, plain=plain, sure=sure(len(accented)))
    yield from _uneven_voices(look, level, spreads)
    yield from _kick_under_ghosts(look, level)


def _within(look: Look, level: Floats, rows: Bools) -> float:
    """The spread of strokes around the middle of their like, in dB: see ``Look.alike``."""
    off, free = _off(look, level, rows)
    return float(np.sqrt(np.sum(off**2) / free))


def _off(look: Look, level: Floats, rows: Bools) -> tuple[Floats, int]:
    """How far strokes lie from the middle of their like, in dB, and what is free in that."""
    own = look.alike[rows]
    n = np.bincount(own)
    mean = np.bincount(own, level[rows]) / np.maximum(n, 1)
    return np.asarray(level[rows] - mean[own]), max(int(rows.sum() - (n > 0).sum()), 1)


def _softer(run_velocity: Floats, hit: Ints, to: Floats) -> Mend:
    velocity = np.full(len(run_velocity), np.nan)
    velocity[hit] = np.clip(to, 1.0, 127.0)
    return Mend(velocity=velocity)


def _by(look: Look, rows: Bools, by_db: float) -> Mend:
    """These strokes so much louder."""
    run = look.run
    to = np.array([velocity_of(x) for x in (run.level_db[rows] + by_db).tolist()])
    return _softer(run.hits.velocity, run.hit[rows], to)


def _spread(look: Look, level: Floats, *, one: Bools, other: Bools) -> float:
    """The spread of one stroke at its place, of two kinds together, in dB."""
    each = _within(look, level, one), _within(look, level, other)
    return max(float(np.sqrt((each[0] ** 2 + each[1] ** 2) / 2.0)), 1e-6)


def _nearer(look: Look, level: Floats, rows: Bools, *, to: float, than: float) -> Bools:
    """The strokes among ``rows`` at places that lie nearer to one level than to another, if there
    are any: a place that is quite another kind says nothing of its like."""
    groups = len(look.layout.first)
    n = np.bincount(look.group[rows], minlength=groups)
    mean = (np.bincount(look.group[rows], level[rows], groups) / np.maximum(n, 1))[look.group]
    nearer = rows & (np.abs(mean - to) <= np.abs(mean - than))
    return nearer if nearer.sum() >= STROKES else rows


def _softer_share(soft: Floats, loud: Floats) -> float:
    """How often a stroke of the first is softer than one of the second, of all pairs."""
    loud = np.sort(loud)
    under = np.searchsorted(loud, soft, side="left") + np.searchsorted(loud, soft, side="right")
    return 1.0 - float(under.sum()) / (2.0 * len(soft) * len(loud))


def _places(
    look: Look, level: Floats, rows: Bools, *, far_db: float
) -> Iterator[tuple[int, Bools]]:
    """The places among ``rows`` that may be on the way to another kind, at ``far_db``."""
    groups = len(look.layout.first)
    n = np.bincount(look.group[rows], minlength=groups)
    if (n > 0).sum() < 2:
        return
    mean = np.bincount(look.group[rows], level[rows], groups) / np.maximum(n, 1)
    near_db = median(level[rows])
    way = (mean - near_db) / (far_db - near_db or 1.0)
    often = max(PLACE_STROKES, ROUNDS * look.rounds)
    for group in np.flatnonzero((n >= often) & (way > 0.4 * ON_THE_WAY)).tolist():
        yield group, rows & (look.group == group)


def _ghosts(look: Look, level: Floats, *, ghosts: Bools, plain: Bools) -> Iterator[Candidate]:
    voice = VOICES[int(look.run.voice[ghosts][0])].name
    # One plain place that is soft is no reason to take all plain strokes for soft.
    top = quantiles(level[plain], 0.7)[0]
    bottom = median(level[ghosts])
    spread = _spread(look, level, one=ghosts, other=plain)
    apart = (top - bottom) / spread
    softer = _softer_share(level[ghosts], level[_nearer(look, level, plain, to=top, than=bottom)])
    # Where the plain strokes fall now and then among the ghost notes, it is them.
    louder = level[plain & (level >= median(level[plain]))]
    fall = _within(look, level, plain) > FALL * _usual_db(int(look.run.voice[ghosts][0]))
    fall &= _softer_share(level[ghosts], louder) > MIXED
    least = GHOSTS_APART * look.contrast
    near = softer < DISTINCT and (apart < least or softer < MIXED)
    if near and not fall:
        # Down to where drummers have them, in their own spreads.
        by_db = -max(least + 1.0 - apart, 1.0) * spread
        strokes = int(ghosts.sum())
        found = interval(look.bar_means(level, ghosts) - top)
        yield Candidate(
            code=Code.GHOST_LOUD,
            voice=voice,
            mend=_by(look, ghosts, by_db),
            points=_heard(look, ghosts),
            beside=_WRONG * look.points(strokes) * min(1.0, 2.0 * (DISTINCT - softer)),
            n=int((level[ghosts] > bottom - apart * spread).sum()),
            of=strokes,
            value=bottom - top,
            unit="dB",
            low=bottom - top - found.half,
            high=bottom - top + found.half,
        )
    yield from _at_places(look, level, ghosts, far_db=top, code=Code.GHOST_LOUD)
    yield from _at_places(look, level, plain, far_db=bottom, code=Code.STROKE_SOFT)
    yield from _over_kick(look, level, ghosts, top=top)


def _at_places(
    look: Look, level: Floats, among: Bools, *, far_db: float, code: Code
) -> Iterator[Candidate]:
    """Places of ``among`` whose strokes lie apart from the others of them, towards ``far_db``."""
    for group, rows in _places(look, level, among, far_db=far_db):
        others = among & ~rows
        if others.sum() >= PLACE_STROKES:
            yield from _place(
                look, level, rows=rows, others=others, far_db=far_db, group=group, code=code
            )


def _place(
    look: Look, level: Floats, *, rows: Bools, others: Bools, far_db: float, group: int, code: Code
) -> Iterator[Candidate]:
    """A place that is on the way from its like, ``others``, to another kind at ``far_db``."""
    near_db = median(level[others])
    distance = far_db - near_db
    if abs(distance) < 1e-6 or (distance > 0) != (code in (Code.GHOST_LOUD, Code.STROKE_LOUD)):
        return
    way = (level[rows] - near_db) / distance
    middle = median(way)
    count = int(rows.sum())
    spread = max(_within(look, level, others), 1e-6)
    # Few strokes that happen to be equally loud are no certainty: see ``BORROWED``.
    free = count - 1 + BORROWED
    square = (count - 1) * float(way.var(ddof=1)) + BORROWED * (spread / distance) ** 2
    half = critical(free) * float(np.sqrt(square / free / count))
    if middle < ON_THE_WAY or middle - half < 0.6 * ON_THE_WAY:
        return
    if abs(middle * distance) < spread:  # no more than one stroke from the next
        return
    yield Candidate(
        code=code,
        voice=look.layout.voice(group),
        places=(look.layout.spot(group),),
        mend=_by(look, rows, -middle * distance),
        points=_heard(look, rows),
        beside=_WRONG * look.points(count) * min(middle, 1.0) ** 2,
        n=int((way >= ON_THE_WAY).sum()),
        of=count,
        value=middle * distance,
        unit="dB",
        low=min((middle - half) * distance, (middle + half) * distance),
        high=max((middle - half) * distance, (middle + half) * distance),
    )


def _heard(look: Look, rows: Bools) -> float:
    """About what these strokes lose for their loudness."""
    run = look.run
    lost = run.borders.losses(run.voice[rows], run.dynamic[rows], run.hits.velocity[run.hit[rows]])
    return look.points(float(lost.sum()))


def _with(look: Look, rows: Bools, code: int) -> Bools:
    """Which of ``rows`` fall together with a stroke of a voice that was written there."""
    other = np.zeros(int(look.instant_of[-1]) + 1, np.bool_)
    other[look.instant_of[look.targets.voice == code]] = True
    return np.asarray(rows & other[look.instant_of[look.run.target]])


def _over_kick(look: Look, level: Floats, ghosts: Bools, *, top: float) -> Iterator[Candidate]:
    over = _with(look, ghosts, STAFF_ORDER["kick"])
    apart = ghosts & ~over
    if min(over.sum(), apart.sum()) < STROKES:
        return
    bottom = median(level[apart])
    if top - bottom <= 1e-6:
        return
    way = (level[over] - bottom) / (top - bottom)
    middle, count = median(way), int(over.sum())
    half = critical(count - 1) * float(way.std(ddof=1)) / np.sqrt(count)
    if middle < 0.4 or middle - half < 0.2:
        return
    groups = np.unique(look.group[over]).tolist()
    if len(groups) < 2 and len(np.unique(look.group[apart])) > 1:
        return  # one place: told as such
    yield Candidate(
        code=Code.GHOST_LOUD_OVER_KICK,
        voice=VOICES[int(look.run.voice[ghosts][0])].name,
        places=tuple(look.layout.spot(group) for group in groups),
        mend=_by(look, over, -middle * (top - bottom)),
        points=_heard(look, over),
        beside=_WRONG * look.points(count) * min(middle, 1.0) ** 2,
        n=int((way >= ON_THE_WAY).sum()),
        of=count,
        value=middle * (top - bottom),
        unit="dB",
        low=(middle - half) * (top - bottom),
        high=(middle + half) * (top - bottom),
    )


def _accents(
    look: Look, level: Floats, *, accents: Bools, plain: Bools, sure: float
) -> Iterator[Candidate]:
    voice = VOICES[int(look.run.voice[accents][0])].name
    top = median(level[accents])
    # One plain place that is loud is no reason to take all plain strokes for loud.
    others = _nearer(look, level, plain, to=quantiles(level[plain], 0.3)[0], than=top)
    bottom = median(level[others])
    spread = _spread(look, level, one=accents, other=plain)
    apart = (top - bottom) / spread
    unsure = float(np.sqrt(1.0 / accents.sum() + 1.0 / others.sum()))
    share = _softer_share(level[others], level[accents])
    if apart + sure * unsure < ACCENTS_APART * look.contrast and share < ACCENTS_MIXED:
        count = int(accents.sum())
        found = interval(look.bar_means(level, accents) - bottom)
        yield Candidate(
            code=Code.ACCENT_FLAT,
            voice=voice,
            mend=_by(look, accents, max(ACCENTS_APART + 1.0 - apart, 1.0) * spread),
            points=_heard(look, accents),
            beside=_WRONG
            * look.points(count)
            * min(1.0, max(0.0, 1.0 - apart / (1.5 * ACCENTS_APART)) + 0.2),
            n=int((level[accents] < bottom + 0.5 * spread).sum()),
            of=count,
            value=top - bottom,
            unit="dB",
            low=top - bottom - found.half,
            high=top - bottom + found.half,
        )
        return
    yield from _at_places(look, level, plain, far_db=top, code=Code.STROKE_LOUD)


def _uneven_voices(
    look: Look, level: Floats, spreads: dict[int, tuple[float, Bools]]
) -> Iterator[Candidate]:
    """Kick or snare at any level, where the player is more even elsewhere."""
    parts = {code: spread / _usual_db(code) for code, (spread, _) in spreads.items()}
    for code, (spread, rows) in spreads.items():
        name = VOICES[code].name
        if name not in ("kick", "snare"):
            continue  # cymbals breathe, and toms are played in runs
        others = [part for number, part in parts.items() if number != code]
        usual = _usual_db(code) * (median(np.array(others)) if others else 1.0)
        off, free = _off(look, level, rows)
        least = spread * (1.0 - UNEVEN_SURE / np.sqrt(2.0 * free))
        if least < UNEVEN * usual or spread < UNEVEN_DB:
            continue
        found = interval(np.sqrt(_bar_means(look.bar[rows], off**2)))
        if found.value <= 0.0:
            continue
        run, count = look.run, int(rows.sum())
        to = level[rows] - off * (1.0 - usual / spread)
        velocity = np.array([velocity_of(x) for x in to.tolist()])
        yield Candidate(
            code=Code.UNEVEN_LOUDNESS,
            voice=name,
            mend=_softer(run.hits.velocity, run.hit[rows], velocity),
            points=_heard(look, rows),
            beside=_UNEVEN * look.points(count) * min(1.0, (spread - usual) / spread),
            n=int((np.abs(off) > 1.75 * usual).sum()),
            of=count,
            value=spread,
            unit="dB",
            low=spread * max(found.low, 0.0) / found.value,
            high=spread * found.high / found.value,
        )


def _usual_db(code: int) -> float:
    return USUAL_DB.get(VOICES[code].name, OTHERS_DB)


def _bar_means(bar: Ints, values: Floats) -> Floats:
    n = np.bincount(bar)
    return np.asarray(np.bincount(bar, values)[n > 0] / n[n > 0])


def _kick_under_ghosts(look: Look, level: Floats) -> Iterator[Candidate]:
    """Kicks under ghost notes against other kicks that are written as loud."""
    kick = look.run.voice == STAFF_ORDER["kick"]
    written = look.run.dynamic[kick & look.with_ghost]
    if not len(written):
        return
    kick &= look.run.dynamic == np.bincount(written).argmax()
    if kick.sum() < 2 * STROKES:
        return
    under = kick & look.with_ghost
    apart = kick & ~under
    if min(under.sum(), apart.sum()) < STROKES:
        return
    spread = max(_within(look, level, kick), 1e-6)
    change = median(level[under]) - median(level[apart])
    count = int(under.sum())
    error = spread * np.sqrt(1.0 / count + 1.0 / apart.sum())
    half = critical(count - 1) * error
    if -change < TOGETHER * spread or -change - half < 0.5 * TOGETHER * spread:
        return
    if not steady(level[under] - median(level[apart])):
        return
    yield Candidate(
        code=Code.KICK_SOFT_UNDER_GHOST,
        voice="kick",
        limb=None,
        places=tuple(look.layout.spot(g) for g in np.unique(look.group[under]).tolist()),
        mend=_by(look, under, -change),
        points=_heard(look, under),
        beside=_WRONG * look.points(count) * min(1.0, -change / (4.0 * spread)),
        n=int((level[under] < median(level[apart]) - spread).sum()),
        of=count,
        value=change,
        unit="dB",
        low=change - half,
        high=change + half,
    )
