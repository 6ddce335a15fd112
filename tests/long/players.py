"""Simulated professionals beside drummers: how they spread, hang together, and touch.

The drummers' takes in 4/4, through ``tests.helpers``'s transcription, and the same patterns played
by the professional: the median of the takes with the 5th and 95th percentile. A figure holds where
the simulated median lies between the drummers' quartiles.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import level_db
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, lay_out
from playalong.pattern.voices import BY_NAME, TOMS, Limb
from playalong.simulation.skills import SKILLS
from tests.helpers.drummers import DrummerTake
from tests.helpers.played import Floats, Played
from tests.helpers.transcription import OPEN_NOTES, USUAL_GHOST, Transcription
from tests.long.frame import Options, Table
from tests.long.real import chosen

FULL_COUNT, SAMPLE_COUNT = 184, 24
NEEDS_TAKES = True

BARS = 48
#: A place that is played fewer times says nothing of its own mean; a voice, nothing of its levels.
OFTEN, MANY = 6, 30
#: Errors beyond this are of strokes that were meant for another place.
STRAY_MS = 80.0

Figures = dict[str, float]


@dataclass(frozen=True, kw_only=True)
class Strokes:
    """Strokes in order: beats from the start, voice, error in ms, level in dB, is it a ghost."""

    beats: Floats
    voice: list[str]
    error_ms: Floats
    level_db: Floats
    ghost: NDArray[np.bool_]


def of_drummer(take: DrummerTake) -> Strokes:
    """What the drummer did."""
    rows = sorted(Transcription(take.path, take.tempo_bpm).written, key=lambda one: one.at_beats)
    rows = [one for one in rows if one.at_beats < 4 * BARS and one.struck.note not in OPEN_NOTES]
    velocity = np.array([one.struck.velocity for one in rows], np.float64)
    voice = [one.struck.voice for one in rows]
    return Strokes(
        beats=np.array([one.at_beats for one in rows]),
        voice=voice,
        error_ms=np.array([one.error_s for one in rows]) * 1000.0,
        level_db=level_db(velocity),
        ghost=(np.array(voice) == "snare") & (velocity <= USUAL_GHOST),
    )


def of_player(take: DrummerTake, seed: int) -> Strokes:
    """What the simulated professional does with the same pattern."""
    pattern, bars = Transcription(take.path, take.tempo_bpm).pattern(BARS)
    targets = lay_out(pattern, take.tempo_bpm, bars)
    played = Played.by(targets, SKILLS["professional"], seed)
    kept = np.flatnonzero(played.answered & (played.voice == targets.voice))
    return Strokes(
        beats=targets.written[kept] * 4.0,
        voice=[targets.names[row] for row in kept],
        error_ms=played.error_ms[kept],
        level_db=level_db(played.velocity[kept]),
        ghost=targets.dynamic[kept] == DYNAMICS.index(Dynamic.GHOST),
    )


def figures(strokes: Strokes) -> Figures:
    """All figures of one take."""
    near = np.abs(strokes.error_ms - np.median(strokes.error_ms)) < STRAY_MS
    error = np.where(near, strokes.error_ms, np.nan)
    limbs = np.array([BY_NAME[voice].limb for voice in strokes.voice], np.object_)
    voice = np.array(strokes.voice)
    place = _places(strokes)
    rest, _ = _without_places(error, place)
    found: Figures = {
        "middle, ms": float(np.nanmean(error)),
        "spread at one place, ms": float(np.nanstd(rest)),
    }
    apart = _apart(strokes, error, limbs)
    if len(apart) >= MANY:
        found["kick less hand, ms"] = float(np.mean(apart))
        found["kick against hand, spread, ms"] = float(np.std(apart))
    known = np.isfinite(rest)
    beats, left = strokes.beats[known], rest[known]
    instants = np.unique(np.round(beats, 4))
    means = np.array([left[np.abs(beats - at) < 1e-3].mean() for at in instants])
    variance = float(np.var(left))
    for gap in (0.5, 1.0, 2.0, 4.0):
        pairs = [
            (means[row], means[other])
            for row, at in enumerate(instants)
            for other in [int(np.searchsorted(instants, at + gap - 1e-3))]
            if other < len(instants) and abs(instants[other] - at - gap) < 1e-3
        ]
        if len(pairs) >= MANY:
            products = [one * two for one, two in pairs]
            found[f"errors {gap:g} beats apart, correlation"] = float(np.mean(products)) / variance
    for what, rows in (
        ("hi-hat", voice == "hi-hat"),
        ("ride", voice == "ride"),
        ("toms", np.isin(voice, TOMS)),
        ("kick", voice == "kick"),
        ("ghost notes", strokes.ghost),
        ("other snare strokes", (voice == "snare") & ~strokes.ghost),
    ):
        if rows.sum() < MANY:
            continue
        levels = np.where(rows, strokes.level_db, np.nan)
        within, between_db = _without_places(levels, place)
        found[f"{what}, level, dB"] = float(np.nanmedian(levels))
        if np.isfinite(within).sum() >= MANY:
            found[f"{what}, spread at one place, dB"] = float(np.nanstd(within))
        found[f"{what}, from place to place, dB"] = between_db
    soft, loud = (
        strokes.level_db[(voice == "snare") & (strokes.ghost == ghost)] for ghost in (True, False)
    )
    if min(len(soft), len(loud)) >= MANY // 2:
        found["ghost notes under the others, dB"] = float(np.median(loud) - np.median(soft))
    return found


def _places(strokes: Strokes) -> list[tuple[float, str, bool]]:
    return [
        (round(float(at) % 4.0, 3), voice, bool(ghost))
        for at, voice, ghost in zip(strokes.beats, strokes.voice, strokes.ghost, strict=True)
    ]


def _without_places(values: Floats, place: list[tuple[float, str, bool]]) -> tuple[Floats, float]:
    """Values less the mean of their place, nan where it is seldom played; and the spread of those
    means beyond what chance gives them."""
    groups: dict[tuple[float, str, bool], list[int]] = defaultdict(list)
    for row, key in enumerate(place):
        if np.isfinite(values[row]):
            groups[key].append(row)
    rest = np.full(len(values), np.nan)
    means, chance, counts = [], [], []
    for rows in groups.values():
        if len(rows) >= OFTEN:
            own = values[rows]
            rest[rows] = own - own.mean()
            means.append(own.mean())
            chance.append(own.var() / len(rows))
            counts.append(len(rows))
    if len(means) < 2:
        return rest, 0.0
    middle = np.average(means, weights=counts)
    variance = np.average((np.array(means) - middle) ** 2, weights=counts)
    return rest, float(np.sqrt(max(variance - np.average(chance, weights=counts), 0.0)))


def _apart(strokes: Strokes, error: Floats, limbs: NDArray[np.object_]) -> Floats:
    hands = {
        round(float(at), 3): value
        for at, value, limb in zip(strokes.beats, error, limbs, strict=True)
        if limb is Limb.HAT_HAND and np.isfinite(value)
    }
    return np.array(
        [
            value - hands[round(float(at), 3)]
            for at, value, limb in zip(strokes.beats, error, limbs, strict=True)
            if limb is Limb.KICK_FOOT and np.isfinite(value) and round(float(at), 3) in hands
        ]
    )


def both(item: tuple[DrummerTake, int]) -> tuple[Figures, Figures]:
    """The figures of a drummer's take, and of the same by the simulated player."""
    take, seed = item
    return figures(of_drummer(take)), figures(of_player(take, seed))


def tables(options: Options) -> Iterator[Table]:
    """Each figure of drummers and of simulated players."""
    takes = [take for take in chosen(options.count) if take.length_s > 30.0]
    found = list(options.map(both, [(take, options.seed + n) for n, take in enumerate(takes)]))
    table = Table("drummers and simulated players", ("figure", "drummers", "simulated"))
    for what in dict.fromkeys(what for pair in found for what in pair[0]):
        own, other = (
            np.array([one[what] for one in part if what in one])
            for part in zip(*found, strict=True)
        )
        if min(len(own), len(other)) < 5:
            continue
        low, high = np.percentile(own, (25.0, 75.0))
        holds = bool(low <= np.median(other) <= high)
        # The simulated hand plays the ride as it does the hi-hat.
        table.row(what, _span(own), _span(other), holds=None if "ride" in what else holds)
    yield table


def _span(values: Floats) -> str:
    low, middle, high = np.percentile(values, (5.0, 50.0, 95.0))
    return f"{middle:.2f} ({low:.2f} to {high:.2f})"
