"""Every figure against the same figure from numpy, scipy or the standard library."""

import statistics
from dataclasses import replace

import numpy as np
import pytest
import scipy.fft
import scipy.signal
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from playalong.grading.findings.whole_kit import _chance_of_wave, _waves
from playalong.grading.loudness import level_db
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.steadiness import (
    BARS_NEEDED,
    COSINES,
    HEARD,
    Strokes,
    cosine_error,
    steadiness,
)
from playalong.grading.measures.timing import timing
from playalong.grading.students_t import LEVEL, chance_of_pair, students_t
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, lay_out
from playalong.pattern.voices import BY_NAME, STAFF_ORDER, Limb
from tests.helpers.exact_takes import law

from .making import graded, groove, near

GROOVE = groove(
    hi_hat="x-x- x-x- x-x- x-x-", snare="--g- X--g --g- X---", kick="x--- --x- x--- ----"
)
TEMPO = 100.0


def played(seed: int, bars: int = 8) -> tuple[MatchedRun, np.ndarray, np.ndarray]:
    """A run in which row i of what was played answers target i: errors in ms and velocities."""
    chance = np.random.default_rng(seed)
    targets = lay_out(GROOVE, TEMPO, bars)
    errors_ms = chance.normal(3.0, 12.0, len(targets)).clip(-70, 70)
    velocity = chance.integers(1, 128, len(targets)).astype(np.float64)
    hits = Hits.sorted(targets.time_s + errors_ms / 1000.0, targets.voice, velocity)
    return MatchedRun.of(targets, hits, Rules()), errors_ms, velocity


@pytest.mark.parametrize("seed", range(5))
def test_timing(seed: int) -> None:
    """The standard library's statistics.fmean, pstdev and median."""
    run, errors, _ = played(seed)
    told = timing(run)
    assert told.mean_ms == near(statistics.fmean(errors))
    assert told.sd_ms == near(statistics.pstdev(errors))
    assert told.median_ms == near(statistics.median(errors))
    for name, spread in told.by_voice.items():
        own = errors[run.targets.voice == STAFF_ORDER[name]]
        assert spread.n == len(own)
        assert spread.mean_ms == near(statistics.fmean(own))
        assert spread.sd_ms == near(statistics.pstdev(own))
    for limb, spread in told.by_limb.items():
        own = np.array(
            [e for e, v in zip(errors, run.targets.names, strict=True) if BY_NAME[v].limb == limb]
        )
        assert spread.n == len(own)
        assert spread.mean_ms == near(statistics.fmean(own))
    assert sum(spread.n for spread in told.by_limb.values()) == len(errors)


def test_the_limb_that_leads() -> None:
    """scipy.stats.ttest_ind(equal_var=False), two-sided at one per cent, of first and last.

    400 short takes. Where the test is within a twentieth of the level, the expansion of
    Student's t may decide otherwise, and nothing is asked.
    """
    chance = np.random.default_rng(11)
    targets = lay_out(GROOVE, TEMPO, 2)
    limb = np.array([list(Limb).index(BY_NAME[name].limb) for name in targets.names])
    led = 0
    for _ in range(400):
        mean = np.array([0.0, chance.uniform(-14, 0), chance.uniform(-8, 4), 0.0])
        spread = np.array([6.0, chance.uniform(2, 20), chance.uniform(2, 20), 1.0])
        errors = np.clip(chance.normal(mean[limb], spread[limb]), -70, 70)
        hits = Hits.sorted(
            targets.time_s + errors / 1000.0, targets.voice, np.full(len(errors), 84.0)
        )
        told = timing(MatchedRun.of(targets, hits, Rules())).leads
        groups = {str(list(Limb)[code]): errors[limb == code] for code in np.unique(limb).tolist()}
        means = {name: float(own.mean()) for name, own in groups.items()}
        first, last = min(means, key=means.__getitem__), max(means, key=means.__getitem__)
        chances = scipy.stats.ttest_ind(groups[first], groups[last], equal_var=False).pvalue
        if abs(chances / LEVEL - 1.0) > 0.05:
            assert told == (first if chances < LEVEL else None)
            led += chances < LEVEL
    assert 40 < led < 360  # both answers were asked for


def test_nobody_leads_with_too_few_strokes_or_no_spread() -> None:
    # A test needs a spread on both sides; where all errors are equal, a lead is a lead.
    targets = lay_out(groove(snare="x--- x--- x--- x---", kick="x--- x--- x--- x---"), TEMPO, 1)
    snare = targets.voice == STAFF_ORDER["snare"]
    velocity = np.full(len(targets), 84.0)
    for lead_s, leads in ((0.0, None), (0.01, "snare hand"), (-0.01, "kick foot")):
        time_s = targets.time_s - np.where(snare, lead_s, 0.0)
        told = timing(MatchedRun.of(targets, Hits.sorted(time_s, targets.voice, velocity), Rules()))
        assert told.leads == leads
    few = lay_out(groove(snare="x--- x--- x--- x---", kick="x--- ---- ---- ----"), TEMPO, 1)
    time_s = few.time_s - np.where(few.voice == STAFF_ORDER["snare"], 0.01, 0.0)
    hits = Hits.sorted(time_s, few.voice, np.full(len(few), 84.0))
    assert timing(MatchedRun.of(few, hits, Rules())).leads is None


@pytest.mark.parametrize("level", [0.01, 0.05])
def test_students_t(level: float) -> None:
    """scipy.stats.t.ppf; the expansion is worst at few degrees of freedom."""
    for free in [3.0, 3.5, *range(4, 60), 100.0, 1e4, 1e6]:
        exact = float(scipy.stats.t.ppf(1.0 - level / 2.0, free))
        within = 0.03 if free < 4 else 0.01 if free < 8 else 0.001
        assert students_t(free, level) == pytest.approx(exact, rel=within)


def strokes(seed: int, voices: int) -> Strokes:
    chance = np.random.default_rng(seed)
    count = int(chance.integers(20, 200))
    written_s = np.sort(chance.uniform(0.0, 60.0, count))
    voice = chance.integers(0, voices, count)
    slope, curve = chance.normal(0.0, 0.002), chance.normal(0.0, 4e-5)
    late = chance.normal(0.0, 0.01, voices)[voice]
    error_s = slope * written_s + curve * written_s**2 + late + chance.normal(0.0, 0.008, count)
    starts = np.arange(0.0, 60.0, 2.0)
    bar = np.searchsorted(starts, written_s, side="right") - 1
    return Strokes(written_s=written_s, error_s=error_s, voice=voice, bar=bar, bar_starts_s=starts)


@pytest.mark.parametrize("seed", range(20))
def test_the_straight_fit_of_one_voice(seed: int) -> None:
    """scipy.stats.linregress of played against written time."""
    own = strokes(seed, 1)
    told = steadiness(own, TEMPO)
    played_s = own.written_s + own.error_s
    fit = scipy.stats.linregress(own.written_s, played_s)
    residual = played_s - fit.intercept - fit.slope * own.written_s
    assert told.tempo_bpm == pytest.approx(TEMPO / fit.slope)
    assert told.drift_percent == pytest.approx(100.0 * (1.0 / fit.slope - 1.0), abs=1e-9)
    assert told.residual_sd_ms == pytest.approx(1000.0 * np.std(residual))


def _columns(own: Strokes, *powers: int) -> np.ndarray:
    """A column for each voice, and one for each power of written time."""
    ones = (own.voice[:, None] == np.unique(own.voice)[None, :]).astype(np.float64)
    return np.column_stack([ones, *(own.written_s**power for power in powers)])


@pytest.mark.parametrize("seed", range(20))
def test_the_straight_fit_of_several_voices(seed: int) -> None:
    """numpy.linalg.lstsq with an intercept for each voice and one slope."""
    own = strokes(seed, 4)
    told = steadiness(own, TEMPO)
    columns, played_s = _columns(own, 1), own.written_s + own.error_s
    fit = np.linalg.lstsq(columns, played_s, rcond=None)[0]
    assert told.tempo_bpm == pytest.approx(TEMPO / fit[-1])
    assert told.residual_sd_ms == pytest.approx(1000.0 * np.std(played_s - columns @ fit))


@pytest.mark.parametrize("voices", [1, 4])
@pytest.mark.parametrize("seed", range(20))
def test_the_curved_fit_and_its_test(seed: int, voices: int) -> None:
    """numpy.linalg.lstsq, and the t-test of its last coefficient with scipy.stats.t.sf.

    The slow waves of the scores are scipy.fft.dct's, orthonormal, of the second kind.
    """
    own = strokes(100 + seed, voices)
    told = steadiness(own, TEMPO)
    columns, played_s = _columns(own, 1, 2), own.written_s + own.error_s
    fit = np.linalg.lstsq(columns, played_s, rcond=None)[0]
    tempi = [
        TEMPO / (fit[-2] + 2.0 * fit[-1] * at) for at in (own.written_s.min(), own.written_s.max())
    ]
    assert [told.first_bpm, told.last_bpm] == pytest.approx(tempi, rel=1e-8)
    residual = played_s - columns @ fit
    free = len(played_s) - columns.shape[1]
    alone = np.sqrt(residual @ residual / free * np.linalg.inv(columns.T @ columns)[-1, -1])
    straight = columns[:, :-1]
    left = columns[:, -1] - straight @ np.linalg.lstsq(straight, columns[:, -1], rcond=None)[0]
    slow_waves = scipy.fft.dct(left * residual, type=2, norm="ortho")[1 : COSINES + 1]
    together = np.sqrt(len(played_s) * np.mean(slow_waves**2)) / (left @ left)
    chance = 2.0 * scipy.stats.t.sf(abs(fit[-1]) / max(alone, together), COSINES)
    aside_s = abs(fit[-1]) * np.ptp(own.written_s) ** 2 / 8.0
    if abs(chance / LEVEL - 1.0) < 0.02:  # nearer than the expansion of Student's t is exact
        return
    if chance > LEVEL or aside_s < HEARD * 60.0 / TEMPO:
        assert told.trend == "steady"
    else:
        assert told.trend == ("speeding up" if fit[-1] < 0 else "slowing down")


def test_both_answers_are_asked_for_above() -> None:
    told = [steadiness(strokes(100 + seed, 4), TEMPO).trend for seed in range(20)]
    assert len(set(told)) == 3


@pytest.mark.parametrize("seed", range(5))
def test_errors_that_hang_together_make_a_mean_less_certain(seed: int) -> None:
    """The long-run error of an AR(1) series of 4000 is 1 / (1 - phi) times its innovations'."""
    chance = np.random.default_rng(seed)
    found = []
    for _ in range(60):
        noise = chance.normal(0.0, 1.0, 4000)
        series = scipy.signal.lfilter([1.0], [1.0, -0.6], noise)
        found.append(cosine_error(series - series.mean()) ** 2)
    assert np.mean(found) == pytest.approx(4000 / (1.0 - 0.6) ** 2, rel=0.3)


def test_a_trend_over_few_bars_is_none() -> None:
    """The same course over three bars and over four."""
    for bars, trend in ((BARS_NEEDED - 1, "steady"), (BARS_NEEDED, "slowing down")):
        targets = lay_out(GROOVE, TEMPO, bars)
        errors_s = 0.2 * (targets.time_s / targets.end_s) ** 2
        own = Strokes(
            written_s=targets.time_s,
            error_s=errors_s + np.random.default_rng(1).normal(0.0, 0.002, len(targets)),
            voice=targets.voice.astype(np.int64),
            bar=targets.bar.astype(np.int64),
            bar_starts_s=targets.bar_starts_s,
        )
        assert steadiness(own, TEMPO).trend == trend


@pytest.mark.parametrize("seed", range(10))
def test_the_course(seed: int) -> None:
    """scipy.stats.linregress over each bar and its neighbours."""
    own = strokes(seed, 1)
    told = dict(steadiness(own, TEMPO).course)
    for bar in range(len(own.bar_starts_s)):
        near_by = np.abs(own.bar - bar) <= 1
        if near_by.sum() < 4:
            assert bar not in told
            continue
        fit = scipy.stats.linregress(
            own.written_s[near_by], own.written_s[near_by] + own.error_s[near_by]
        )
        assert told[bar] == pytest.approx(TEMPO / fit.slope, rel=1e-7)


@pytest.mark.parametrize("seed", range(8))
def test_loudness(seed: int) -> None:
    """numpy.median and std of the levels from the formula of the specification."""
    run, _, velocity = played(seed)
    targets = run.targets
    grade = graded(GROOVE, targets, run.hits)
    level = -20.0 * np.log10(127.0**2 / velocity**2)
    for name, by_dynamic in grade.dynamics.by_voice.items():
        for dynamic, told in by_dynamic.items():
            own = level[
                (targets.voice == STAFF_ORDER[name]) & (targets.dynamic == DYNAMICS.index(dynamic))
            ]
            assert told.n == len(own)
            assert told.median_db == pytest.approx(np.median(own))
            assert told.sd_db == pytest.approx(np.std(own))
    snare = targets.voice == STAFF_ORDER["snare"]
    ghost = targets.dynamic == DYNAMICS.index(Dynamic.GHOST)
    contrast = np.median(level[snare & ghost]) - np.median(level[snare & ~ghost])
    assert grade.dynamics.ghost_contrast_db == {"snare": pytest.approx(contrast)}


@law(200)
@given(st.floats(1.0, 127.0))
def test_levels_follow_the_specification(velocity: float) -> None:
    """Attenuation 20 log10(127^2 / v^2) dB: Downloadable Sounds Level 1, version 1.1b."""
    attenuation_db = 20.0 * np.log10(127.0**2 / velocity**2)
    assert level_db(velocity) == pytest.approx(-attenuation_db, abs=1e-9)
    assert level_db(np.array([velocity]))[0] == level_db(velocity)


def test_full_velocity_is_nought_decibel() -> None:
    assert level_db(127.0) == 0.0


@pytest.mark.parametrize("seed", range(8))
def test_strokes_together(seed: int) -> None:
    """numpy.percentile of the spreads of each shared instant."""
    run, errors, _ = played(seed)
    targets = run.targets
    spreads = [
        np.ptp(errors[targets.written == at])
        for at in np.unique(targets.written)
        if np.sum(targets.written == at) > 1
    ]
    told = graded(GROOVE, targets, run.hits).unison
    assert told.n == len(spreads)
    assert told.median_ms == near(float(np.percentile(spreads, 50)))
    assert told.p90_ms == near(float(np.percentile(spreads, 90)))
    assert sum(told.leads.values()) >= told.n


@pytest.mark.parametrize("seed", range(8))
def test_change_of_level_where_strokes_fall_together(seed: int) -> None:
    """Mean level there less elsewhere, by plain loops over what was written."""
    run, _, velocity = played(seed)
    targets = run.targets
    level = 40.0 * np.log10(velocity / 127.0)
    for told in graded(GROOVE, targets, run.hits).unison.together:
        there: list[float] = []
        apart: list[float] = []
        for row in range(len(targets)):
            if targets.names[row] != told.voice or DYNAMICS[targets.dynamic[row]] != told.dynamic:
                continue
            partner = any(
                targets.names[other] == told.other
                and (DYNAMICS[targets.dynamic[other]] is Dynamic.GHOST) == told.other_ghost
                for other in np.flatnonzero(targets.written == targets.written[row])
            )
            (there if partner else apart).append(level[row])
        assert told.n == len(there) >= 4
        assert len(apart) >= 4
        assert told.change_db == pytest.approx(np.mean(there) - np.mean(apart))


def test_which_strokes_fall_together_is_told() -> None:
    targets = lay_out(GROOVE, TEMPO, 8)
    quiet = np.full(len(targets), 84.0)
    told = graded(GROOVE, targets, Hits.sorted(targets.time_s, targets.voice, quiet)).unison
    pairs = {
        (item.voice, item.dynamic.value, item.other, item.other_ghost) for item in told.together
    }
    # Ghost notes on the & of 1 and 3 fall on the hi-hat, those on the a of 2 alone. The kick's
    # 1 and 3 and & of 2 all fall on the hi-hat, never on a snare; half the hi-hat's fall on it.
    assert ("snare", "ghost", "hi-hat", False) in pairs
    assert ("hi-hat", "normal", "kick", False) in pairs
    assert ("hi-hat", "normal", "snare", True) in pairs
    assert ("hi-hat", "normal", "snare", False) in pairs
    assert not any(voice == "kick" for voice, *_ in pairs)  # it never falls apart from the hi-hat


def test_followed_targets_keep_what_they_moved() -> None:
    """Where targets went along with the player, the tempo is still that of the player."""
    targets = lay_out(GROOVE, TEMPO, 8)
    stretched = replace(
        targets,
        time_s=targets.time_s * 1.02,
        bar_starts_s=targets.bar_starts_s * 1.02,
        end_s=targets.end_s * 1.02,
        followed=True,
    )
    hits = Hits.sorted(stretched.time_s, targets.voice, np.full(len(targets), 84.0))
    grade = graded(GROOVE, stretched, hits)
    assert grade.timing.sd_ms == near(0.0)
    assert grade.steadiness.tempo_bpm == pytest.approx(TEMPO / 1.02)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 3.0, 6.0, 15.0])
@pytest.mark.parametrize("below", [4, 12, 60])
def test_the_chance_of_a_pair_against_the_rest(ratio: float, below: int) -> None:
    """Source: scipy.stats.f.sf."""
    assert chance_of_pair(ratio, below) == pytest.approx(scipy.stats.f.sf(ratio, 2, below))


def test_a_wave_of_any_length_and_beginning_stands_out() -> None:
    """Also one whose length does not go into the run: nothing of it is counted as noise."""
    chance = np.random.default_rng(5)
    bar, found = np.arange(16.0), []
    for _ in range(200):
        turns = bar / chance.uniform(5.5, 10.0) + chance.uniform()
        played = 30.0 * np.sin(2.0 * np.pi * turns) + chance.normal(0.0, 10.0, len(bar))
        straight = np.polynomial.Polynomial.fit(bar, played, 1)(bar)
        found.append(_chance_of_wave(played - straight) < 0.01)
    assert np.mean(found) >= 0.97


@pytest.mark.parametrize("bars", [8, 16, 64])
def test_bars_without_a_wave_seldom_show_one(bars: int) -> None:
    chance = np.random.default_rng(bars)
    bar, found = np.arange(float(bars)), []
    for _ in range(1_000):
        played = chance.normal(0.0, 10.0, bars)
        straight = np.polynomial.Polynomial.fit(bar, played, 1)(bar)
        found.append(_chance_of_wave(played - straight) < 0.01)
    assert np.mean(found) <= 0.01


@pytest.mark.parametrize("bars", [4, 5, 8, 13, 64, 501])
def test_slow_and_quick_waves_are_those_of_scipy(bars: int) -> None:
    """Source: scipy.fft.dct and idct, type 2, orthonormal."""
    values = np.random.default_rng(bars).normal(0.0, 10.0, bars)
    waves = scipy.fft.dct(values, type=2, norm="ortho")
    slow = max(1, 2 * bars // 5)
    kept = np.concatenate([[0.0], waves[1 : slow + 1], np.zeros(bars - slow - 1)])
    slow_power, quick_power, aside = _waves(values)
    assert slow_power == pytest.approx(np.mean(waves[1 : slow + 1] ** 2))
    assert quick_power == pytest.approx(np.mean(waves[slow + 1 :] ** 2))
    assert aside == pytest.approx(scipy.fft.idct(kept, type=2, norm="ortho"), abs=1e-9)


def test_waves_of_any_number_of_bars_fit_into_memory() -> None:
    """A table of all waves at all bars would take 320 GB."""
    slow_power, _, aside = _waves(np.sin(np.arange(200_000) / 5_000.0))
    assert slow_power > 0.0
    assert len(aside) == 200_000
