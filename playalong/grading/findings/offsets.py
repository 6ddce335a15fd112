"""Causes in time that are not the whole kit's: a limb, a place, the swing, the scatter.

Where drummers lie anyway is no habit. Of 184 takes to a metronome by experienced drummers (Groove
MIDI Dataset, Gillick et al., ICML 2019) the limbs are within 10 ms of the others in nine of ten;
and 6 ms, or 2.5 % of the time from stroke to stroke, is the smallest displacement that is heard
(Friberg and Sundberg, JASA 98, 1995).
"""

from collections.abc import Iterator

import numpy as np

from playalong.grading.findings.candidate import Bools, Candidate, Floats, Ints, Mend
from playalong.grading.findings.certainty import BARS, BORROWED, critical, interval, returns
from playalong.grading.findings.look import LIMB_STROKES, PLACE_STROKES, ROUNDS, Look
from playalong.grading.grade import Code
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.quantiles import median
from playalong.pattern.targets import LIMBS
from playalong.pattern.voices import Limb

#: What drummers have anyway, in ms: where a limb usually lies beside the others, and how far from
#: there it may be (the hi-hat foot strays most; 5th to 95th percentile of those takes); a place
#: beside its neighbours.
LIMB_MS, HAT_FOOT_MS, PLACE_MS = 9.0, 18.0, 16.0
HEARD_MS = 6.0
USUAL_MS = {Limb.KICK_FOOT: -4.0, Limb.HAT_FOOT: -6.0}

#: As parts of the player's own scatter: a limb, and a place, that lies less far aside is not heard
#: among strokes that fall so wide. Of the places of those takes that were as certain as is asked,
#: 72 % came back in the rest of the take where they lay aside by less than 1.13 times the scatter
#: of one stroke, and 85 % of the others.
LIMB_SCATTERS, PLACE_SCATTERS = 0.6, 1.15

#: The spread of limbs beside the others, of the hi-hat foot, and of places beside their neighbours,
#: as above, what is chance taken out: it tells how much of what stands out is a habit.
LIMBS_MS, PLACES_MS = 8.0, 8.0

#: How far a limb strays from where it usually lies among the others, a standard deviation, chance
#: taken out: the means of two hands differ by 5.7 ms, of kick and hand by 6.1 and 7.5, of the
#: hi-hat foot and any other by 10 to 11 (the same takes), in parts of one limb and of the other.
STRAYS_MS = {Limb.KICK_FOOT: 5.0, Limb.HAT_FOOT: 9.0}
HAND_STRAYS_MS = 4.0

#: Where drummers lie before the click, and how far from there one or another does.
HOME_MS, HOMES_MS = -8.0, 8.0


#: The chance to return that is asked of a limb, and of a place.
LIMB_RETURNS, PLACE_RETURNS = 0.8, 0.77

#: What is nearly all of a limb's strokes.
_SWING_ONLY = 0.9


def offsets(look: Look) -> Iterator[Candidate]:
    """All causes of this family."""
    if len(look.run.target) < LIMB_STROKES:
        return
    swung = list(swing(look))
    yield from swung
    short = look.layout.second[look.run.place] > 0.0
    for limb in limbs(look):
        # A hand that has the short notes of a swing alone is early or late by the swing.
        if (
            not swung
            or np.mean(short[look.run.limb == LIMBS.index(Limb(str(limb.limb)))]) < _SWING_ONLY
        ):
            yield limb
    yield from strokes(look)
    yield from scatter(look)


def timing_loss(error_ms: Floats) -> Floats:
    """What strokes lose beside the points for being so far from the click, of one: all of it at a
    tenth of a second."""
    return np.minimum(error_ms * error_ms / 1e4, 1.0)


#: What a stroke loses beside the points for being off against the others, of one for a square
#: millisecond: all of it at a twentieth of a second, since this is heard at every stroke.
_HEARD = 1.0 / 2500.0


def later(run: MatchedRun, rows: Bools, by_ms: Floats | float) -> Mend:
    """The answered strokes ``rows`` (k,) so much later, their grace strokes with them."""
    by_s = np.zeros(len(run.hits))
    each = np.broadcast_to(np.asarray(by_ms, np.float64), rows.shape)[rows] / 1000.0
    by_s[run.hit[rows]] = each
    graces = np.flatnonzero(run.verdicts.grace)
    if len(graces):
        of_target = np.zeros(len(run.targets))
        of_target[run.target[rows]] = each
        by_s[run.verdicts.hit[graces]] = of_target[run.verdicts.target[graces]]
    return Mend(later_s=by_s)


def limbs(look: Look) -> Iterator[Candidate]:
    """The limb that is early or late against the others."""
    run, bars = look.run, look.targets.bars
    playing = np.flatnonzero(look.limb_count >= LIMB_STROKES)
    if len(playing) < 2:
        return
    usual = np.array([USUAL_MS.get(limb, 0.0) for limb in LIMBS])
    error_ms = run.error_ms - usual[run.limb]
    key = look.bar * len(LIMBS) + run.limb
    n = np.bincount(key, minlength=bars * len(LIMBS)).reshape(bars, -1)
    total = np.bincount(key, error_ms, bars * len(LIMBS)).reshape(bars, -1).astype(np.float64)
    every_n, every = n.sum(axis=1), total.sum(axis=1)
    # Over all strokes, since a bar with one of them says less than one with eight.
    beside = {
        one: _between((n[:, one], total[:, one]), (every_n - n[:, one], every - total[:, one]))
        for one in playing.tolist()
    }
    unsure = np.array([error for _, error in beside.values()])
    for limb in _who(playing, (look.limb_mean - usual)[playing], unsure):
        aside, error = beside[limb]
        told_by = int(np.count_nonzero((every_n - n[:, limb] > 0) & (n[:, limb] > 0)))
        if told_by >= BARS and _a_habit(look, limb, aside=aside, error=error):
            yield _limb(look, limb, aside=aside, half=critical(told_by - 1) * error)
            return


def _a_habit(look: Look, limb: int, *, aside: float, error: float) -> bool:
    """Whether a limb that lies so far ``aside`` of where it usually does, with this standard error,
    would do so again."""
    usual = USUAL_MS.get(LIMBS[limb], 0.0)
    value = aside + usual
    allowed = HAT_FOOT_MS if LIMBS[limb] is Limb.HAT_FOOT else LIMB_MS
    if abs(aside) < max(allowed, LIMB_SCATTERS * look.scatter_ms) or aside * value <= 0.0:
        return False
    if returns(value, error, usual=usual, spread=LIMBS_MS) < LIMB_RETURNS:
        return False
    return _all_over(look, look.run.limb == limb, value)


def _limb(look: Look, limb: int, *, aside: float, half: float) -> Candidate:
    value = aside + USUAL_MS.get(LIMBS[limb], 0.0)
    rows = look.run.limb == limb
    strokes = int(rows.sum())
    return Candidate(
        code=Code.LIMB_LATE if value > 0 else Code.LIMB_EARLY,
        limb=str(LIMBS[limb]),
        mend=later(look.run, rows, -value),
        points=_points(look, rows, -value),
        beside=look.points(strokes * _heard(aside)),
        n=strokes,
        of=strokes,
        value=value,
        unit="ms",
        low=value - half,
        high=value + half,
    )


#: Of two limbs either may be the one that is off where it is not this many times less likely.
_AS_LIKELY = 3.0


def _who(playing: Ints, mean_ms: Floats, error_ms: Floats) -> list[int]:
    """Which limb is off, the most likely first: the one without which the others look most like
    drummers, who lie around ``HOME_MS`` together, and not far from each other; and those that may
    be it as well. ``error_ms`` are the standard errors of the means."""
    strays = np.array([STRAYS_MS.get(LIMBS[limb], HAND_STRAYS_MS) for limb in playing])
    variance = strays**2 + error_ms**2
    likely = np.empty(len(playing))
    for one in range(len(playing)):
        rest = np.arange(len(playing)) != one
        weight = 1.0 / variance[rest]
        whole = float(weight.sum())
        middle = float(weight @ mean_ms[rest]) / whole
        apart = float(weight @ (mean_ms[rest] - middle) ** 2)
        away = (middle - HOME_MS) ** 2 / (HOMES_MS**2 + 1.0 / whole)
        widths = float(np.log(variance[rest]).sum()) + np.log1p(HOMES_MS**2 * whole)
        likely[one] = -(apart + away + widths) / 2.0
    order = np.argsort(-likely)
    may_be = order[likely[order] >= likely.max() - np.log(_AS_LIKELY)]
    return [int(limb) for limb in playing[may_be]]


def _between(own: tuple[Ints, Floats], others: tuple[Ints, Floats]) -> tuple[float, float]:
    """How far the mean of the strokes of ``own`` lies from that of ``others``, each as (b,) their
    number in every bar and their sum there; and its standard error, bars being the witnesses and
    each counting as much as it has strokes. What all limbs share in a bar is in both, and from bar
    to bar the rest does not hang together (correlation -0.03 in the takes named above)."""
    away, whole = np.zeros(len(own[0])), 0.0
    for sign, (n, total) in ((1.0, own), (-1.0, others)):
        every = max(int(n.sum()), 1)
        mean = float(total.sum()) / every
        away += sign * (total - n * mean) / every
        whole += sign * mean
    bars = max(int(np.count_nonzero(own[0] + others[0])), 2)
    return whole, float(np.sqrt(float(away @ away) * bars / (bars - 1)))


def _all_over(look: Look, rows: Bools, value_ms: float) -> bool:
    """Whether strokes that are off by ``value_ms`` on average are so at most of their places, not
    at one only: half of the strokes are at places that have half of it."""
    groups = len(look.layout.first)
    n = np.maximum(np.bincount(look.group[rows], minlength=groups), 1)
    mean = np.bincount(look.group[rows], look.run.error_ms[rows], groups) / n
    own = float(look.run.error_ms[rows].mean())
    far = (mean[look.group[rows]] - own + value_ms) * np.sign(value_ms)
    return float(np.mean(far > 0.5 * abs(value_ms))) > 0.5


def _heard(value_ms: float) -> float:
    """What a stroke loses beside the points for being so far from the others, beyond what nobody
    hears; of one."""
    return min(max(value_ms**2 - HEARD_MS**2, 0.0) * _HEARD, 1.0)


def _points(look: Look, rows: Bools, by_ms: Floats | float) -> float:
    """About what moving these strokes wins."""
    tolerance = look.run.tolerance[look.run.target][rows] / 2e6
    before = look.run.error_ms[rows]
    after = before + (by_ms if isinstance(by_ms, float) else by_ms[rows])
    width = 60.0

    def lost(error_ms: Floats) -> float:
        excess = np.clip((np.abs(error_ms) - tolerance) / width, 0.0, 1.0)
        return float(np.sum(1.0 - (1.0 - excess) ** 2))

    return look.points(lost(before) - lost(after))


def strokes(look: Look) -> Iterator[Candidate]:
    """A place that is early or late against the strokes around it."""
    groups = len(look.layout.first)
    n = np.bincount(look.group, minlength=groups)
    # Beside all strokes around, and beside the limb's own other places: else it is the limb.
    aside, error, free = _of_groups(look, look.aside)
    own, _, _ = _of_groups(look, look.beside)
    limb = np.full(groups, -1, np.int64)
    limb[look.group] = look.run.limb
    share = n / np.maximum(look.limb_count[np.maximum(limb, 0)], 1)
    own = own / np.maximum(1.0 - share, 1e-9)
    usual = np.array([USUAL_MS.get(one, 0.0) for one in LIMBS])[limb]
    # Beside all others of the run as well: else those around it may be the ones that are off.
    mean = (aside + _everywhere(look)) / 2.0 - usual
    often = max(PLACE_STROKES, ROUNDS * look.rounds)
    least = max(PLACE_MS, PLACE_SCATTERS * look.scatter_ms)
    found = (n >= often) & (share < 1.0) & (np.abs(mean) >= least)
    found &= np.minimum(np.abs(own), np.abs(aside - usual)) >= 0.6 * least
    found &= ((aside - usual) * own > 0.0) & ((aside - usual) * mean > 0.0)
    for group in np.flatnonzero(found).tolist():
        value, count = float(aside[group]), int(n[group])
        half = critical(int(free[group])) * float(error[group])
        whole = float(mean[group] + usual[group])
        chance = returns(whole, float(error[group]), usual=float(usual[group]), spread=PLACES_MS)
        rows = look.group == group
        if chance < PLACE_RETURNS:
            continue
        yield Candidate(
            code=Code.STROKE_LATE if value > 0 else Code.STROKE_EARLY,
            voice=look.layout.voice(group),
            places=(look.layout.spot(group),),
            mend=later(look.run, rows, -value),
            points=_points(look, rows, -value),
            beside=look.points(count * _heard(float(mean[group]))),
            n=int((np.sign(value) * look.aside[rows] > 0.5 * PLACE_MS).sum()),
            of=count,
            value=value,
            unit="ms",
            low=value - half,
            high=value + half,
        )


def _everywhere(look: Look) -> Floats:
    """(g,) how far the mean of each place lies from that of all other strokes, in ms."""
    groups = len(look.layout.first)
    n = np.bincount(look.group, minlength=groups)
    total = np.bincount(look.group, look.run.error_ms, groups)
    others = (total.sum() - total) / np.maximum(n.sum() - n, 1)
    return np.asarray(total / np.maximum(n, 1) - others)


def _of_groups(look: Look, values: Floats) -> tuple[Floats, Floats, Ints]:
    """The mean of ``values`` (k,) at each place, its standard error, and its degrees of freedom.

    Few strokes that happen to lie close together are no certainty: the spread of each place is
    drawn towards that of all places (empirical Bayes; Smyth, Statistical Applications in Genetics
    and Molecular Biology 3(1), 2004; from memory).
    """
    groups = len(look.layout.first)
    n = np.maximum(np.bincount(look.group, minlength=groups), 1)
    mean = np.bincount(look.group, values, groups) / n
    off = values - mean[look.group]
    square = np.bincount(look.group, off**2, groups)
    every = float(square.sum()) / max(int((n - 1).sum()), 1)
    free = n - 1 + BORROWED
    variance = (square + BORROWED * every) / free
    return np.asarray(mean), np.sqrt(variance / n), free


#: The least change of swing, in per cent of a pair, that is told; and as a part of what is written.
SWING_PERCENT, SWING_PART = 3.5, 0.3

#: A pair whose first note takes less than this, in per cent, is written straight.
STRAIGHT_UNDER = 53.0


def swing(look: Look) -> Iterator[Candidate]:
    """The short notes of a swing too early, or off-beats of straight eighths too late."""
    targets, second = look.targets, look.layout.second
    off_beat = second[targets.place] > 0.0
    if off_beat.sum() < LIMB_STROKES:
        return
    run = look.swung_run(off_beat)
    own, beat = off_beat[run.target], (second[targets.place] == 0.0)[run.target]
    bar = targets.bar[run.target]
    bars = targets.bars
    n_off, n_on = (np.bincount(bar[rows], minlength=bars) for rows in (own, beat))
    error_ms = (
        run.error_ms / 1000.0 + run.targets.time_s[run.target] - targets.time_s[run.target]
    ) * 1e3
    both = (n_off > 0) & (n_on > 0)
    off, on = (np.bincount(bar[rows], error_ms[rows], bars) for rows in (own, beat))
    found = interval((off[both] / n_off[both]) - (on[both] / n_on[both]))
    pair_ms = 1000.0 * float(look.layout.swing.pair) * targets.seconds_per_whole
    written = 100.0 * median(second[targets.place][off_beat])
    played = written + 100.0 * found.value / pair_ms
    straight = played < written
    least = max(SWING_PERCENT, SWING_PART * (written - 50.0)) if straight else SWING_PERCENT
    if abs(played - written) < least or not found.lasts:
        return
    if straight == (written < STRAIGHT_UNDER):
        return
    rows = np.isin(look.run.target, np.flatnonzero(off_beat))
    later_s = np.zeros(len(run.hits))
    later_s[run.hit[own]] = -found.value / 1000.0
    count = int(own.sum())
    yield Candidate(
        code=Code.PLAYED_STRAIGHT if straight else Code.PLAYED_SWUNG,
        mend=Mend(later_s=later_s, anew=True),
        points=_points(look, rows, -found.value)
        + 2.0 * look.points(max(0, count - int(rows.sum()))),
        beside=look.points(count * min(found.value**2 * _HEARD, 1.0)),
        n=count,
        of=count,
        value=played,
        unit="%",
        low=written + 100.0 * found.low / pair_ms,
        high=written + 100.0 * found.high / pair_ms,
    )


#: How uneven time may be: a stroke's own scatter against its neighbours for certain, as a part of
#: the spread that the level asks for, where it is as large as the waves that all strokes share.
#: People go early and late together; strokes that do so each for itself are the more uneven, by
#: this power of how much their own scatter is larger than the waves (counted as so much of the
#: spread at least).
_UNEVEN, _ALONE, _WAVES = 0.79, 0.25, 0.15

#: Nobody is uneven whose whole spread is less than this part of what the level asks for.
_WHOLE = 0.8

#: That of hand against foot where they belong together, as a part of the same; and of what the
#: hands' own scatter makes of it. A spread is certain by so many standard errors.
_APART, _APART_OWN, _SURE = 0.7, 1.57, 1.65


def scatter(look: Look) -> Iterator[Candidate]:
    """Strokes that fall anywhere; and hand and foot that do, where they belong together."""
    yield from _uneven(look)
    yield from _apart(look)


def _at_places(look: Look) -> float:
    """The spread around the middle of each place, in ms: a place that is off is no scatter."""
    n = np.maximum(np.bincount(look.group, minlength=len(look.layout.first)), 1)
    middle = np.bincount(look.group, look.less_limb, len(n)) / n
    off, again = look.less_limb - middle[look.group], n[look.group] > 1
    square = off[again] ** 2 / (1.0 - 1.0 / n[look.group][again])
    return float(np.sqrt(np.mean(square))) if len(square) else 0.0


def _uneven(look: Look) -> Iterator[Candidate]:
    known = look.local[1] > 0
    if known.sum() < 4 * LIMB_STROKES:
        return
    off = look.own_scatter
    found = interval(np.sqrt(look.bar_means(off**2, known)))
    own = look.scatter_ms
    whole = float(np.sqrt(np.mean(look.less_limb**2)))
    # At a slow tempo people scatter more, and nobody minds.
    usual = look.spread_ms * look.slowness
    waves = max(float(np.sqrt(max(_at_places(look) ** 2 - own**2, 0.0))), _WAVES * usual)
    most = _UNEVEN * usual * min((waves / max(own, 1e-9)) ** _ALONE, 1.0)
    # A spread of few strokes is chance in part; own errors do not hang together.
    if own * (1.0 - _SURE / np.sqrt(2.0 * known.sum())) <= most or whole < _WHOLE * usual:
        return
    # As even as most of what is asked.
    part = 1.0 - min(0.9, 0.7 * most / own)
    back = np.where(known, -part * off, 0.0)
    count = len(off)
    yield Candidate(
        code=Code.UNEVEN_TIME,
        mend=later(look.run, known, back),
        points=_points(look, known, back),
        beside=look.points(count * (own**2 - (0.7 * most) ** 2) / 1e4),
        n=int((np.abs(off) > look.spread_ms).sum()),
        of=count,
        value=whole,
        unit="ms",
        low=whole * found.low / found.value,
        high=whole * found.high / found.value,
    )


def _apart(look: Look) -> Iterator[Candidate]:
    run = look.run
    foot = run.limb == LIMBS.index(Limb.KICK_FOOT)
    hands = ~foot & (run.limb != LIMBS.index(Limb.HAT_FOOT))
    if foot.sum() < LIMB_STROKES:
        return
    instants = int(run.instant[-1]) + 1
    n = np.bincount(run.instant[hands], minlength=instants)
    hand = np.bincount(run.instant[hands], look.less_limb[hands], instants) / np.maximum(n, 1)
    rows = np.flatnonzero(foot & (n > 0)[run.instant])
    if len(rows) < LIMB_STROKES:
        return
    apart = look.less_limb[rows] - hand[run.instant[rows]]
    groups = len(look.layout.first)
    count = np.bincount(look.group[rows], minlength=groups)
    middle = np.bincount(look.group[rows], apart, groups) / np.maximum(count, 1)
    fair = np.sqrt(np.maximum(1.0 - 1.0 / count[look.group[rows]], 0.2))
    apart = (apart - middle[look.group[rows]]) / fair
    bar = look.bar[rows]
    in_bar = np.bincount(bar)
    found = interval(np.sqrt((np.bincount(bar, apart**2) / np.maximum(in_bar, 1))[in_bar > 0]))
    spread = float(np.sqrt(np.mean(apart**2)))
    own = look.own_scatter[hands & (look.local[1] > 0)]
    usual = float(np.sqrt(np.mean(own**2))) if len(own) else 0.0
    most = max(_APART * look.spread_ms * look.slowness, _APART_OWN * usual)
    if spread * (1.0 - _SURE / np.sqrt(2.0 * len(rows))) <= most:
        return
    part = 1.0 - 0.7 * most / spread
    back = np.zeros(len(run.target))
    back[rows] = -part * apart
    which = np.zeros(len(back), np.bool_)
    which[rows] = True
    yield Candidate(
        code=Code.UNISON_APART,
        limb=str(Limb.KICK_FOOT),
        mend=later(run, which, back),
        points=_points(look, which, back),
        beside=look.points(len(rows) * (spread**2 - (0.7 * most) ** 2) * _HEARD),
        n=int((np.abs(apart) > look.spread_ms).sum()),
        of=len(rows),
        value=spread,
        unit="ms",
        low=spread * max(found.low, 0.0) / max(found.value, 1e-9),
        high=spread * found.high / max(found.value, 1e-9),
    )
