"""The delay between sound and hit: measured by playing along to the click, or typed in.

Measured: the median, over the clicks that were answered, of hit less click. Beside it stands how
sure it is of the player's own middle. A person's errors hang together, early for some beats and
late for some, so that ``TOGETHER`` strokes tell no more than one would of a player who forgets
each stroke at once: the mean of 24 beats varies 4.0 times as much as the beats' own spread would
have it, of 48 beats 6.2 times (184 takes by three drummers to a metronome, Groove MIDI Dataset,
Gillick et al., ICML 2019, CC BY 4.0). The interval reaches ``SURE_TIMES`` standard errors to
either side, a standard error being the spread times the root of ``TOGETHER`` / n; the spread is
half of what lies between the 16th and the 84th percentile, which strays hardly move. ``python -m
tests.long kit`` prints how often it holds what it should.

More than one round may be given at once, one after the other: they count together.

Every click takes the hit that lies nearest to where the delay puts it, and the delay is the one
for which the hits lie nearest, a far one counting no more than a missing one. So stray hits,
doubled hits and misses hardly move it. Two delays a whole beat apart look the same: only those
well under half a beat can be told, early or late.

People come a little early to a click, by some tens of milliseconds, musicians by less (Repp,
Sensorimotor synchronization: a review of the tapping literature, Psychonomic Bulletin & Review
12(6), 2005). A delay measured by playing along holds this too, and ``words`` says so.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

PLAYED_ALONG = "played along"
TYPED = "typed in"
CLICK_ON_KIT = "click on the kit"

#: The delays, in milliseconds, that a kit and a computer can have. Under nothing at all lies only
#: a player who is early.
LEAST_MS, MOST_MS = -50.0, 500.0

#: Fewer answered clicks than this measure nothing.
ENOUGH = 8

#: The widest interval, in milliseconds to either side, that still is a measurement: less than half
#: of the tolerance that hits are graded with unless another is asked.
WIDEST_MS = 20.0

#: So many strokes of a person tell as much as one of a player without memory.
TOGETHER = 5.0

#: So many standard errors hold the middle in 95 %: two, and a little since the spread is not known.
SURE_TIMES = 2.1

#: A hit this soon after another, in milliseconds, is its double.
DOUBLED_MS = 60.0

#: Hits further from their place than this part of a beat answer nothing.
REACH = 0.25

#: Beyond this part of a beat, early and late cannot be told from each other.
SURE = 0.375

#: More hits between the clicks than this share of the clicks: the player plays something else.
MOST_STRAY = 0.5

_EARLY = (
    "People come a little early to a click, by some tens of milliseconds, musicians by less: "
    "the true delay is probably a little larger."
)
_OTHER_WAYS = {
    PLAYED_ALONG: (
        "You can also type in a figure that was measured, "
        "or measure with the click sent to the kit, which then sounds it itself."
    ),
    CLICK_ON_KIT: "You can also type in a figure that was measured.",
}


@dataclass(frozen=True, slots=True)
class Latency:
    """How much later hits arrive than the sound they answer is heard, and how it is known.

    ``ms`` is taken off every hit; ``plus_minus_ms`` is how far its 95 % interval reaches to the
    further side, None where that is not known; ``how`` is ``PLAYED_ALONG``, ``TYPED`` or
    ``CLICK_ON_KIT``.
    """

    ms: float
    plus_minus_ms: float | None
    how: str


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What came of playing along.

    ``latency`` is None where it could not be measured. ``errors_ms`` (n,) hit less click of the
    answered clicks, in order; ``used`` (n,) the rows of the hits that answer them; ``left_out``
    the rows of all others. ``words`` says it to the player, and what to do. ``wants_more``: all is
    well but for how sure it is; another round, given together with this one, makes it surer.
    """

    latency: Latency | None
    errors_ms: NDArray[np.float64]
    used: NDArray[np.int64]
    left_out: NDArray[np.int64]
    words: str
    wants_more: bool = False


def typed(ms: float) -> Latency:
    """A delay that the user knows, in milliseconds; ValueError says in plain words what fits."""
    if not LEAST_MS <= ms <= MOST_MS:
        raise ValueError(
            f"A delay of {ms:g} ms cannot be: write one from {LEAST_MS:.0f} to {MOST_MS:.0f} ms."
        )
    return Latency(float(ms), None, TYPED)


def measured(
    click_s: NDArray[np.float64], hit_s: NDArray[np.float64], how: str = PLAYED_ALONG
) -> Measured:
    """The delay between the clicks and the hits that were meant for them.

    ``click_s`` (c,) when each click is heard, of one round or several, each later than the one
    before; ``hit_s`` (h,) when hits arrived, in order; both in seconds on one clock. ``how`` tells
    whether the computer sounded the click or the kit. ValueError where the clicks are no clicks.
    """
    if len(click_s) < 2 or not (np.diff(click_s) > 0.0).all():
        raise ValueError("A click needs two beats or more, each later than the one before.")
    beat_ms = float(np.diff(click_s).min()) * 1000.0
    single = _single(hit_s)
    near_ms = _nearest_ms(click_s, hit_s[single], beat_ms)
    row = _answering(click_s, hit_s[single], near_ms, beat_ms=beat_ms)
    answered = row >= 0
    used = single[row[answered]]
    errors_ms = (hit_s[used] - click_s[answered]) * 1000.0
    left_out = np.setdiff1d(np.arange(len(hit_s)), used)
    latency: Latency | None = None
    words = _obstacle(len(click_s), len(single), errors_ms, beat_ms=beat_ms)
    if words:
        return Measured(
            latency=None, errors_ms=errors_ms, used=used, left_out=left_out, words=words
        )
    middle_ms, sure_ms = float(np.median(errors_ms)), plus_minus_ms(errors_ms)
    wants_more = sure_ms > WIDEST_MS
    if wants_more:
        words = (
            f"Your hits arrive {_sided(middle_ms)} the click, give or take {sure_ms:.0f} ms: too "
            f"far apart to tell the delay to {WIDEST_MS:.0f} ms. Play another round, and both "
            "count together; or type in a figure that was measured."
        )
    else:
        latency = Latency(middle_ms, sure_ms, how)
        words = (
            f"Hits arrive {_sided(middle_ms)} the click, give or take {sure_ms:.0f} "
            f"ms ({len(used)} of {len(click_s)} clicks answered). {_EARLY} {_OTHER_WAYS[how]}"
        )
    return Measured(
        latency=latency,
        errors_ms=errors_ms,
        used=used,
        left_out=left_out,
        words=words,
        wants_more=wants_more,
    )


def plus_minus_ms(errors_ms: NDArray[np.float64]) -> float:
    """How far the player's own middle may lie from the median of the errors (n,), one or more."""
    low, high = np.percentile(errors_ms, (16.0, 84.0))
    spread_ms = float(high - low) / 2.0
    return SURE_TIMES * spread_ms * sqrt(TOGETHER / len(errors_ms))


def _single(hit_s: NDArray[np.float64]) -> NDArray[np.int64]:
    """The rows of the hits that are no doubles."""
    rows: list[int] = []
    for row, at_s in enumerate(hit_s.tolist()):
        if not rows or (at_s - float(hit_s[rows[-1]])) * 1000.0 > DOUBLED_MS:
            rows.append(row)
    return np.array(rows, np.int64)


def _nearest_ms(click_s: NDArray[np.float64], hit_s: NDArray[np.float64], beat_ms: float) -> float:
    """The delay, to a millisecond and within half a beat, for which the hits lie nearest."""
    half = int(beat_ms / 2.0)
    tried_ms = np.arange(-half, half + 1, dtype=np.float64)
    places_s = click_s + tried_ms[:, None] / 1000.0
    away_ms = np.minimum(_away_ms(places_s, hit_s), REACH * beat_ms)
    best = np.lexsort((np.abs(tried_ms), away_ms.sum(axis=1)))  # of equals the smallest delay
    return float(tried_ms[best[0]])


def _away_ms(places_s: NDArray[np.float64], hit_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far the nearest hit is from each place, in milliseconds."""
    fenced = np.concatenate([[-np.inf], hit_s, [np.inf]])
    after = np.searchsorted(fenced[1:], places_s) + 1
    away_s: NDArray[np.float64] = np.minimum(places_s - fenced[after - 1], fenced[after] - places_s)
    return away_s * 1000.0


def _answering(
    click_s: NDArray[np.float64], hit_s: NDArray[np.float64], delay_ms: float, *, beat_ms: float
) -> NDArray[np.int64]:
    """(c,) for each click the row of the hit nearest to its place, -1 where none is in reach."""
    if not len(hit_s):
        return np.full(len(click_s), -1, np.int64)
    away_s = np.abs(hit_s[None, :] - (click_s + delay_ms / 1000.0)[:, None])
    row = away_s.argmin(axis=1)
    return np.where(away_s.min(axis=1) * 1000.0 < REACH * beat_ms, row, -1)


def _obstacle(clicks: int, hits: int, errors_ms: NDArray[np.float64], *, beat_ms: float) -> str:
    """Why nothing can be measured and what to do, empty where it can."""
    count = len(errors_ms)
    if count < ENOUGH:
        return (
            f"{count} of {clicks} clicks are answered; it takes {ENOUGH}. "
            "Strike one pad once on every click, and measure again."
        )
    if hits - count > MOST_STRAY * clicks:
        return (
            f"{hits - count} hits lie between the clicks. "
            "Strike one pad once on every click and nothing else, and measure again."
        )
    middle_ms = float(np.median(errors_ms))
    if abs(middle_ms) > SURE * beat_ms:
        return (
            "Your hits lie half-way between the clicks. Strike with the click and measure again. "
            f"At this tempo only delays up to {SURE * beat_ms:.0f} ms can be told; "
            "for a longer one choose a slower click."
        )
    if not LEAST_MS <= middle_ms <= MOST_MS:
        return (
            f"Your hits come {_sided(middle_ms)} the click, and a delay lies between "
            f"{LEAST_MS:.0f} and {MOST_MS:.0f} ms. Listen to the click, strike with it, "
            "and measure again."
        )
    return ""


def _sided(ms: float) -> str:
    return f"{abs(ms):.0f} ms {'before' if ms < 0 else 'after'}"
