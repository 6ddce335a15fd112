"""Takes made from known truth give it back.

How the takes are made, so that the truth is beyond doubt and sampling error far inside limits:

* A bar has 14 strokes, no two of a voice nearer than 200 ms, so every capture window has its full
  100 ms. Errors have a standard deviation of at most 10 ms about a mean of at most 12, so a hit
  leaves its window once in 10^18. Nothing is clipped.
* 800 bars are 11,200 strokes: the mean's standard error is under 0.1 ms (asked: 0.5), that of the
  spread under 0.7 % (asked: 5), of a median level about 0.04 dB (asked: 0.5). Velocities are whole
  numbers, as kits send them: half a step is at most 0.3 dB for the ghost notes made here.
* Misses are hits left out. Nothing but the written strokes is near, all of which are answered, so
  a miss can be nothing else. Extras are on a drum that is not written, or on the kick 250 ms or
  more from any of its strokes, and never within 200 ms of a miss, for which they could be meant.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
import scipy.signal
import scipy.stats
from numpy.typing import NDArray

from playalong.grading.grade_run import grade
from playalong.grading.matching.tempo_following import StartAndTempo, follow
from playalong.grading.measures.steadiness import Strokes, steadiness
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.pattern.voices import BY_NAME, STAFF_ORDER, Limb
from playalong.simulation.player import Truth as Account
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS, Skill
from tests.helpers.steady_player import STEADY

from .making import graded, groove, measured

TEMPO = 100.0
PATTERN = groove(
    hi_hat="x-x- x-x- x-x- x-x-", snare="--g- X--g ---- X---", kick="x--- ---- x--- ----"
)
BARS = 800
LONG = lay_out(PATTERN, TEMPO, BARS)
GHOST = LONG.dynamic == DYNAMICS.index(Dynamic.GHOST)
KICK = STAFF_ORDER["kick"]


@dataclass(frozen=True, kw_only=True)
class Truth:
    mean_ms: float
    sd_ms: float
    ghost_db: float
    strong_db: float
    missed: int
    extra: int


def truth(chance: np.random.Generator) -> Truth:
    return Truth(
        mean_ms=float(chance.uniform(-12, 12)),
        sd_ms=float(chance.uniform(2, 10)),
        ghost_db=float(chance.uniform(-24, -16)),
        strong_db=float(chance.uniform(-10, -4)),
        missed=int(chance.integers(0, 200)),
        extra=int(chance.integers(0, 200)),
    )


def take(known: Truth, chance: np.random.Generator) -> Hits:
    count = len(LONG)
    time_s = LONG.time_s + chance.normal(known.mean_ms, known.sd_ms, count) / 1000.0
    level_db = np.where(GHOST, known.ghost_db, known.strong_db) + chance.normal(0.0, 1.0, count)
    velocity = np.clip(np.rint(127.0 * 10.0 ** (level_db / 40.0)), 1, 127)
    missed = chance.choice(count, known.missed, replace=False)
    kept = np.ones(count, np.bool_)
    kept[missed] = False
    at_s, voice = extras(LONG.time_s[missed], known.extra, chance)
    return Hits.sorted(
        np.concatenate([time_s[kept], at_s]),
        np.concatenate([LONG.voice[kept], voice]).astype(np.int16),
        np.concatenate([velocity[kept], np.full(len(at_s), 84.0)]),
    )


def extras(
    missed_s: NDArray[np.float64], count: int, chance: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.int16]]:
    """Times far from all misses; half of them on a tom, half on the kick between its strokes."""
    kick_s = LONG.time_s[LONG.voice == KICK]
    found: list[tuple[float, int]] = []
    while len(found) < count:
        on_kick = len(found) % 2 == 0
        at_s = float(chance.uniform(0.0, LONG.end_s - 0.2))
        if on_kick and np.abs(kick_s - at_s).min() < 0.25:
            continue
        if len(missed_s) and np.abs(missed_s - at_s).min() < 0.2:
            continue
        found.append((at_s, KICK if on_kick else STAFF_ORDER["floor-tom"]))
    return (
        np.array([at_s for at_s, _ in found], np.float64),
        np.array([voice for _, voice in found], np.int16),
    )


@pytest.mark.parametrize("first", range(0, 120, 20))
def test_mean_spread_contrast_misses_and_extras_come_back(first: int) -> None:
    """120 seeds, twenty to a test."""
    for seed in range(first, first + 20):
        chance = np.random.default_rng(seed)
        known = truth(chance)
        told = measured(LONG, take(known, chance))
        assert told.timing.mean_ms == pytest.approx(known.mean_ms, abs=0.5)
        assert told.timing.sd_ms == pytest.approx(known.sd_ms, rel=0.05)
        contrast = told.dynamics.ghost_contrast_db["snare"]
        assert contrast == pytest.approx(known.ghost_db - known.strong_db, abs=0.5)
        assert told.counts.missed == known.missed
        assert told.counts.extra == known.extra
        assert told.counts.wrong_drum == 0
        assert told.counts.matched == len(LONG) - known.missed


def played_faster(targets: Targets, drift_percent: float, seed: int) -> Hits:
    """Hits that keep a tempo so much faster than written, with a spread of 8 ms."""
    chance = np.random.default_rng(seed)
    time_s = targets.time_s / (1.0 + drift_percent / 100.0)
    time_s = time_s + chance.normal(0.0, 0.008, len(targets))
    return Hits.sorted(time_s, targets.voice, np.full(len(targets), 84.0))


def test_a_slow_drift_against_the_click_comes_back() -> None:
    """60 seeds. Half a minute: at 0.15 % the last hits are 45 ms off, well inside their windows.

    The slope's standard error is 8 ms / sqrt(168 strokes) / (29 s / sqrt(12)), 0.008 per cent.
    """
    targets = lay_out(PATTERN, TEMPO, 12)
    for seed in range(60):
        drift = float(np.random.default_rng(1000 + seed).uniform(-0.15, 0.15))
        told = graded(PATTERN, targets, played_faster(targets, drift, seed))
        assert told.counts.matched == len(targets)
        assert told.steadiness.drift_percent == pytest.approx(drift, abs=0.05)
        assert told.steadiness.residual_sd_ms == pytest.approx(8.0, rel=0.25)


def test_the_drift_of_a_player_who_is_followed_comes_back() -> None:
    """40 seeds, up to four per cent off, two minutes without a click: seconds off at the end."""
    targets = lay_out(PATTERN, TEMPO, 50)
    for seed in range(40):
        drift = float(np.random.default_rng(2000 + seed).uniform(-4.0, 4.0))
        hits = played_faster(targets, drift, seed)
        followed = follow(targets, hits, StartAndTempo(0.0, 1.0))
        told, _ = grade(PATTERN, TEMPO, targets=followed, hits=hits, rules=Rules())
        assert told.counts.matched == len(targets)
        assert told.counts.extra == 0
        assert told.steadiness.drift_percent == pytest.approx(drift, abs=0.05)
        assert told.steadiness.residual_sd_ms == pytest.approx(8.0, rel=0.15)


def strokes(targets: Targets, error_s: NDArray[np.float64]) -> Strokes:
    """All targets, each answered with its error."""
    return Strokes(
        written_s=targets.written * targets.seconds_per_whole,
        error_s=error_s,
        voice=targets.voice.astype(np.int64),
        bar=targets.bar.astype(np.int64),
        bar_starts_s=targets.bar_starts_s,
    )


def fitted(targets: Targets, error_s: NDArray[np.float64]) -> str:
    """What is said of the trend of these errors."""
    return steadiness(strokes(targets, error_s), TEMPO).trend


def hanging_together(chance: np.random.Generator, targets: Targets) -> NDArray[np.float64]:
    """Errors in seconds with a spread of 24 ms, half of it shared from instant to instant, with a
    correlation of 0.4 at once that dies away over bars: a sum of slow and quick processes.

    After what was measured of drummers to a metronome, Groove MIDI Dataset, Gillick et al., ICML
    2019: spread 24 ms, correlation from one instant to the next 0.4, and long tails (Hennig et
    al., The nature and perception of fluctuations in human musical rhythms, PLoS ONE 6(10), 2011).
    """
    _, instant = np.unique(targets.written, return_inverse=True)
    shared = np.zeros(instant.max() + 1)
    for phi in (0.5, 0.9, 0.98):
        noise = chance.normal(0.0, np.sqrt(1.0 - phi * phi), len(shared))
        noise[0] = chance.normal()
        shared += scipy.signal.lfilter([1.0], [1.0, -phi], noise)
    own = chance.normal(0.0, 1.0, len(targets))
    return 0.024 * (np.sqrt(0.5 / 3.0) * shared[instant] + np.sqrt(0.5) * own)


@pytest.mark.parametrize("bars", [4, 8, 16])
def test_what_people_do_is_no_trend(bars: int) -> None:
    """At most four of a hundred, with scipy.stats.binom's room for chance."""
    targets = lay_out(PATTERN, TEMPO, bars)
    chance = np.random.default_rng(bars)
    takes = 1000
    named = sum(
        fitted(targets, hanging_together(chance, targets)) != "steady" for _ in range(takes)
    )
    assert named <= scipy.stats.binom.ppf(1.0 - 1e-4, takes, 0.04)


@pytest.mark.parametrize(("bars", "percent", "told_of_100"), [(8, 4.0, 90), (16, 2.0, 80)])
def test_a_tempo_that_creeps_is_a_trend(bars: int, percent: float, told_of_100: int) -> None:
    """From the written tempo to so much more over the bars, on top of what people do."""
    targets = lay_out(PATTERN, TEMPO, bars)
    chance = np.random.default_rng(bars)
    into = targets.time_s / targets.end_s
    for sign, trend in ((1.0, "speeding up"), (-1.0, "slowing down")):
        creeping_s = -sign * percent / 100.0 * targets.end_s * into**2 / 2.0
        told = [fitted(targets, creeping_s + hanging_together(chance, targets)) for _ in range(300)]
        assert told.count(trend) >= 3 * told_of_100


def test_a_steady_drift_is_no_trend() -> None:
    """A tempo that is wrong but even is drift, not speeding up: again one in a hundred."""
    targets = lay_out(PATTERN, TEMPO, 16)
    chance = np.random.default_rng(6)
    written_s = targets.written * targets.seconds_per_whole
    takes = 500
    named = sum(
        fitted(targets, 0.03 * written_s + chance.normal(0.0, 0.01, len(targets))) != "steady"
        for _ in range(takes)
    )
    assert named <= scipy.stats.binom.ppf(1.0 - 1e-4, takes, 0.01)


@pytest.mark.parametrize(("faster", "trend"), [(True, "speeding up"), (False, "slowing down")])
def test_a_clear_change_of_tempo_is_named(faster: bool, trend: str) -> None:
    """From 98 to 102 bpm, or back, over 16 bars, with a spread of 10 ms: in every take."""
    targets = lay_out(PATTERN, TEMPO, 16)
    written_s = targets.written * targets.seconds_per_whole
    whole_s = targets.end_s
    side = 1.0 if faster else -1.0
    # Played time is the integral of written over momentary tempo, which changes evenly.
    pace = 1.0 - side * 0.02 * (2.0 * written_s / whole_s - 1.0)
    gap_s = np.diff(written_s, prepend=0.0)
    played_s = np.cumsum(gap_s * pace)
    chance = np.random.default_rng(7)
    for _ in range(60):
        errors = played_s - written_s + chance.normal(0.0, 0.01, len(targets))
        assert fitted(targets, errors) == trend
        told = steadiness(strokes(targets, errors), TEMPO)
        ends = (98.0, 102.0) if faster else (102.0, 98.0)
        assert (told.first_bpm, told.last_bpm) == pytest.approx(ends, abs=0.5)


def heard(targets: Targets, skill: Skill, seed: int) -> tuple[Hits, Account]:
    """What the kit sends when the simulated player plays."""
    performance = perform(targets, skill, seed)
    ons = [(at_s, data) for at_s, data in performance.messages if data[0] == 0x99 and data[2]]
    hits, unknown = Hits.of_notes(
        np.array([at_s for at_s, _ in ons]),
        np.array([data[1] for _, data in ons]),
        np.array([float(data[2]) for _, data in ons]),
    )
    assert len(unknown) == 0
    return hits, performance.truth


def test_a_professional_is_told_who_leads() -> None:
    """Fujii et al., Music Perception 28(5), 2011: at 60 and 120 bpm the hi-hat hand about 2 ms
    ahead of the metronome, the snare hand and the kick foot about 10."""
    targets = lay_out(PATTERN, 120.0, 200)
    published_ms = {Limb.HAT_HAND: -2.0, Limb.SNARE_HAND: -10.0, Limb.KICK_FOOT: -10.0}
    for seed in range(12):
        hits, _ = heard(targets, STEADY, seed)
        told = measured(targets, hits)
        assert told.counts.matched == len(targets)
        assert told.timing.leads in (Limb.SNARE_HAND, Limb.KICK_FOOT)
        for limb, mean_ms in published_ms.items():
            spread = told.timing.by_limb[limb]
            # Four standard errors of the figure itself: 400 strokes and more, 9 ms spread.
            assert spread.mean_ms == pytest.approx(mean_ms, abs=4.0 * 9.0 / spread.n**0.5)
        assert not told.graces


def test_a_learner_is_told_what_went_wrong() -> None:
    """The simulated player's own account of misses, wrong drums, extras and errors."""
    targets = lay_out(PATTERN, TEMPO, 60)
    for seed in range(12):
        hits, known = heard(targets, SKILLS["beginner"], seed)
        told = measured(targets, hits, Rules(capture_ms=200.0, tolerance_ms=30.0))
        run = told.run
        assert told.counts.missed == len(known.missed)
        assert told.counts.wrong_drum == len(known.wrong_drum)
        assert told.counts.extra == known.extra
        errors = known.error_ms[run.target]
        # Whole nanoseconds here, and whatever the player rounds to.
        assert np.abs(run.error_ms - errors).max() < 0.01


def test_a_groove_faster_than_its_windows_is_still_counted() -> None:
    """Sixteenths at 200 bpm, 75 ms apart, half of which is no whole millisecond."""
    pattern = replace(groove(hi_hat="xxxx xxxx xxxx xxxx"), tempo=200.0)
    targets = lay_out(pattern, 200.0, 50)
    chance = np.random.default_rng(9)
    hits = Hits.sorted(
        targets.time_s + chance.normal(0.0, 0.006, len(targets)),
        targets.voice,
        np.full(len(targets), 84.0),
    )
    told = graded(pattern, targets, hits)
    assert told.counts.matched == len(targets)
    assert told.timing.sd_ms == pytest.approx(6.0, rel=0.1)
    assert BY_NAME["hi-hat"].limb in told.timing.by_limb
