"""Causes of the whole kit: beside the click, another tempo, a tempo that creeps or wanders.

They are looked for in the strokes that were meant: where the player left the windows of the click,
those of the player's own course (``matching.course``). ``off_s`` of a stroke is how much later than
the click it was played.

Experienced drummers to a metronome lie from 22 ms ahead of it to nearly on it (5th to 95th
percentile of 184 takes of the Groove MIDI Dataset, Gillick et al., ICML 2019), as people do who
tap to a click (Repp, Sensorimotor synchronization, Psychonomic Bulletin & Review 12(6), 2005); so
much is no habit.
"""

from collections.abc import Callable, Iterator

import numpy as np

from playalong.grading.findings.candidate import Candidate, Floats, Mend
from playalong.grading.findings.certainty import LASTING, Interval, again, critical, interval
from playalong.grading.findings.look import LIMB_STROKES, Look
from playalong.grading.findings.offsets import HOME_MS, HOMES_MS
from playalong.grading.grade import Code
from playalong.grading.measures.steadiness import (
    COSINES,
    FASTER,
    STEADY,
    cosine_error,
    dot,
)
from playalong.grading.students_t import chance_of_pair
from playalong.pattern.targets import LIMBS

#: Beyond these the kit is early or late for all that is known, in ms: where it is drawn to what is
#: usual, so are those drummers. Where a level takes more for on time, so much further from home.
EARLY_MS, LATE_MS = -20.0, 6.0

#: That most of it is there is certain by so many standard errors: in nine of ten runs.
_SURE = 1.28

#: A shift above this asks anew who answers whom, in ms.
_HELD_MS = 20.0

#: Another tempo is one that leads so far away over the run, in seconds.
_AWAY_S = 0.07

#: Who begins so far from the click is beside it from the first stroke on, in seconds.
_ASIDE_S = 0.05

#: A tempo wanders where slow waves lead the bars so far from an even course, in ms (standard
#: deviation), or as a part of the spread that the level asks for, and chance makes one of them so
#: strong less often than seven times in a thousand runs; with so many bars at least.
_WANDERING_MS, _WANDERING_PART, _CHANCE, _WANDERING_BARS = 14.5, 0.5, 0.007, 8

#: Slow waves take so many bars and more, and are so many times as strong as quick ones in any
#: case (power; the same takes).
_SLOW_BARS, _USUAL_SLOW = 5, 1.3


def whole(look: Look) -> Iterator[Candidate]:
    """All causes of this family."""
    if len(look.meant.off_s) < 8:
        return
    yield from beside_the_click(look)
    yield from another_tempo(look)
    yield from creeping(look)
    yield from wandering(look)


def beside_the_click(look: Look) -> Iterator[Candidate]:
    """Everything early or late."""
    off_ms = look.meant.off_s * 1000.0
    mean = float(off_ms.mean())
    bars = interval(look.meant.bar_means(off_ms))
    found = Interval(mean, mean + bars.low - bars.value, mean + bars.high - bars.value)
    if not np.isfinite(found.half) or not _all_limbs(look, mean):
        return
    error = found.half / critical(int(np.count_nonzero(np.bincount(look.meant.bar))) - 1)
    if (1.0 - LASTING) * abs(mean) < _SURE * error:
        return
    expected, _ = again(mean, error, usual=HOME_MS, spread=HOMES_MS)
    early_ms, late_ms = (HOME_MS + look.leniency * (end - HOME_MS) for end in (EARLY_MS, LATE_MS))
    if early_ms < expected < late_ms:
        return
    count = len(off_ms)
    if abs(mean) > _HELD_MS:
        # Far from the click a grace stroke may answer for its main stroke, and others for none.
        moved = _all_by(look, mean).of(look.run)
        rest = float(moved.error_ms.mean()) if len(moved.target) else 0.0
        found = Interval(mean + rest, found.low + rest, found.high + rest)
    yield Candidate(
        code=Code.ALL_LATE if found.value > 0 else Code.ALL_EARLY,
        mend=_all_by(look, found.value),
        points=np.inf,
        beside=0.0,
        n=int((np.sign(found.value) * off_ms > 0).sum()),
        of=count,
        value=found.value,
        unit="ms",
        low=found.low,
        high=found.high,
    )


def _all_by(look: Look, value_ms: float) -> Mend:
    """Everything so much earlier."""
    value_s = value_ms / 1000.0
    return _mend(look, lambda at_s: np.full(len(at_s), value_s), abs(value_ms) > _HELD_MS)


def _all_limbs(look: Look, value_ms: float) -> bool:
    """Whether most limbs lie there, and not one with many strokes alone."""
    limb = look.meant.one % len(LIMBS)
    n = np.bincount(limb, minlength=len(LIMBS))
    playing = n >= min(LIMB_STROKES, int(n.max()))
    mean_ms = np.bincount(limb, look.meant.off_s, len(LIMBS))[playing] / n[playing] * 1000.0
    far = np.sort(mean_ms / (value_ms or 1.0))
    return bool(far[(len(far) - 1) // 2] >= 0.5)


def another_tempo(look: Look) -> Iterator[Candidate]:
    """Faster or slower from the start."""
    at_s, off_s = look.meant.written_s, look.meant.centred(look.meant.off_s)
    x = look.meant.centred(at_s)
    over = dot(x, x)
    if over <= 0.0 or look.targets.bars < 3:
        return
    slope = dot(x, off_s) / over
    residual = off_s - slope * x
    error = cosine_error(look.meant.by_instant(x * residual)) / over
    half = critical(COSINES) * error
    away_s = abs(slope) * float(np.ptp(at_s))
    if away_s < _AWAY_S * look.leniency or abs(slope) - half < 0.4 * abs(slope):
        return
    percent, low, high = (
        100.0 * (1.0 / (1.0 + s) - 1.0) for s in (slope, slope + half, slope - half)
    )
    count, start_s = len(off_s), look.targets.start_s
    creeps = look.steady.trend != STEADY
    aside_s = 0.0 if creeps else _aside(look, look.meant.off_s)[0]
    yield Candidate(
        code=Code.FASTER if slope < 0 else Code.SLOWER,
        mend=_mend(look, lambda t: aside_s + slope * np.maximum(t - start_s, 0.0), True),
        points=np.inf,
        beside=0.0,
        n=count,
        of=count,
        value=percent,
        unit="%",
        low=low,
        high=high,
    )


def creeping(look: Look) -> Iterator[Candidate]:
    """A tempo that creeps up or down."""
    steady = look.steady
    if steady.trend == STEADY or not steady.first_bpm or not steady.last_bpm:
        return
    at_s = look.meant.written_s
    start_s, end_s = float(at_s.min()), float(at_s.max())
    # From the tempo at the start onwards: what the change has added.
    change = steady.first_bpm / steady.last_bpm - 1.0
    curve = change / (2.0 * (end_s - start_s))

    def change_s(t: Floats) -> Floats:
        return np.asarray(curve * np.maximum(t - start_s, 0.0) ** 2)

    aside_s, tilt = _aside(look, look.meant.off_s - change_s(at_s))
    if abs(tilt) > abs(change):  # another tempo, and a little more or less of it
        tilt = 0.0

    count = len(at_s)
    percent = 100.0 * (steady.last_bpm / steady.first_bpm - 1.0)
    half = 200.0 * (end_s - start_s) * critical(COSINES) * _curve_error(look)
    yield Candidate(
        code=Code.SPEEDING_UP if steady.trend == FASTER else Code.SLOWING_DOWN,
        mend=_mend(look, lambda t: aside_s + tilt * (t - look.targets.start_s) + change_s(t), True),
        points=np.inf,
        beside=0.0,
        n=count,
        of=count,
        value=percent,
        unit="%",
        low=percent - half,
        high=percent + half,
    )


def _aside(look: Look, off_s: Floats) -> tuple[float, float]:
    """How far beside the click a run begins whose strokes are ``off_s``, and how much it leads away
    each second, in a straight line; 0 where that is little, or the click was never left. Who begins
    so is with the click again only without that and the other tempo."""
    if look.meant.leaps or look.course is None:
        return 0.0, 0.0
    since_s = look.meant.written_s - look.targets.start_s
    x = since_s - since_s.mean()
    slope = dot(x, off_s) / dot(x, x)
    begins_s = float(off_s.mean() - slope * since_s.mean())
    leads = abs(slope) * float(np.ptp(since_s)) >= _AWAY_S
    return begins_s if abs(begins_s) > _ASIDE_S else 0.0, slope if leads else 0.0


def _curve_error(look: Look) -> float:
    """The standard error of the curve in what was played against what was written, in seconds for a
    square second; errors hang together, see ``cosine_error``."""
    meant = look.meant
    off_s, x = meant.centred(meant.off_s), meant.centred(meant.written_s)
    z = meant.centred((meant.written_s - meant.written_s.mean()) ** 2)
    z = z - dot(z, x) / dot(x, x) * x
    over = dot(z, z)
    residual = off_s - dot(off_s, x) / dot(x, x) * x - dot(off_s, z) / over * z
    return cosine_error(meant.by_instant(z * residual)) / over


def wandering(look: Look) -> Iterator[Candidate]:
    """Ahead and behind in turn, for bars at a time."""
    meant, bars = look.meant, look.targets.bars
    if bars < _WANDERING_BARS or meant.leaps:
        return
    off_ms = meant.centred(meant.off_s) * 1000.0
    n = np.bincount(meant.bar, minlength=bars)
    known = np.flatnonzero(n > 1)
    if len(known) < _WANDERING_BARS:
        return
    mean = (np.bincount(meant.bar, off_ms, bars) / np.maximum(n, 1))[known]
    x = known - known.mean()
    straight = mean.mean() + (x @ mean) / (x @ x) * x
    _, quick, aside = _waves(mean - straight)
    spread = float(aside.std())
    most = max(_WANDERING_MS, _WANDERING_PART * look.spread_ms) * look.slowness
    if spread < most or _chance_of_wave(mean - straight) > _CHANCE:
        return
    middles_s = (
        look.targets.bar_starts_s + np.append(look.targets.bar_starts_s[1:], look.targets.end_s)
    ) / 2.0
    at, wave_s = middles_s[known], aside / 1000.0
    # What quick waves add to the distance of two bars.
    away, count = float(np.ptp(aside)), len(known)
    half = critical(count - _slow(count) - 1) * float(np.sqrt(2.0 * quick * _slow(count) / count))
    yield Candidate(
        code=Code.WANDERING,
        mend=_mend(look, lambda t: np.interp(t, at, wave_s), True),
        points=np.inf,
        beside=0.0,
        n=int((np.abs(aside) > _WANDERING_MS).sum()),
        of=len(known),
        value=away,
        unit="ms",
        low=max(away - half, 0.0),
        high=away + half,
    )


def _chance_of_wave(values: Floats) -> float:
    """How often chance makes one slow wave in values of bars, less their straight line, as strong
    against all the rest as the strongest here.

    It may have any length and begin anywhere: it is sought in a finely divided spectrum, and fitted
    by least squares beside the line. So what is compared with it holds nothing of it. As many waves
    are looked at as have a length of their own.
    """
    n = len(values)
    fine = 8 * n
    turns = np.arange(fine // 2 + 1) / fine
    power = np.abs(np.fft.rfft(values, fine)) ** 2
    slow = (turns >= 1.5 / n) & (turns <= 1.0 / _SLOW_BARS)
    angle = 2.0 * np.pi * turns[np.where(slow, power, -1.0).argmax()] * np.arange(n)
    columns = np.stack([np.ones(n), np.arange(n) - n / 2.0, np.cos(angle), np.sin(angle)], axis=1)
    rest = values - columns @ np.linalg.lstsq(columns, values, rcond=None)[0]
    without = max(float(np.sum(rest**2)), 1e-9)
    won = max(float(np.sum(values**2)) - without, 0.0)
    free = n - columns.shape[1]
    ratio = won / 2.0 / (without / free) / _USUAL_SLOW
    return chance_of_pair(ratio, free) * n / _SLOW_BARS


def _waves(values: Floats) -> tuple[float, float, Floats]:
    """The mean power of the slow waves in values of bars and of the quick ones, and the slow ones
    alone. Slow are those that take five bars and more.

    The waves are cosines of half turns over the bars (DCT-II, orthonormal), found by the spectrum
    of the values and their mirror: the cost grows with the bars, and not with their square.
    """
    n = len(values)
    number = np.arange(1, n)
    turn = np.exp(0.5j * np.pi * number / n)
    spectrum = np.fft.rfft(np.concatenate([values, values[::-1]]))[1:n]
    weights = np.sqrt(0.5 / n) * (spectrum / turn).real
    slow = _slow(n)
    slow_part = np.zeros(n + 1, np.complex128)
    slow_part[1 : slow + 1] = np.sqrt(2.0 * n) * (weights * turn)[:slow]
    return (
        float(np.mean(weights[:slow] ** 2)),
        float(np.mean(weights[slow:] ** 2)),
        np.fft.irfft(slow_part, 2 * n)[:n],
    )


def _slow(count: int) -> int:
    """How many waves of so many bars are slow."""
    return max(1, 2 * count // _SLOW_BARS)


def _mend(look: Look, off_s: Callable[[Floats], Floats], anew: bool) -> Mend:
    """All hits as much earlier as ``off_s`` says of their written second."""
    time_s = look.run.hits.time_s
    written_s = time_s - off_s(time_s)
    written_s = time_s - off_s(written_s)
    return Mend(later_s=-off_s(written_s), anew=anew)
