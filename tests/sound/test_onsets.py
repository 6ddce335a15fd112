"""Beats tapped along with recordings whose beats are known."""

import sys
from functools import cache

import mir_eval.beat
import numpy as np
import pytest

from playalong.pattern.beat_map import BeatMap
from playalong.sound.recordings.beat_finding import find, first_heard
from playalong.sound.recordings.onsets import HOP_S, Onsets, TapError, continued, refined
from playalong.sound.synth.drums import stroke
from playalong.sound.timeline import RATE
from playalong.support.errors import UserError
from tests.sound.making_music import DRIFTS, GROOVES, Floats, Played, held, rendered, tapped

BEATS = 96

CASES = [(drift, groove) for drift in DRIFTS for groove in GROOVES]


@cache
def recorded(drift: str, groove: str) -> tuple[Floats, Onsets]:
    """The true beats, those on which something sounds, and the onsets of the recording."""
    beats_s = DRIFTS[drift](BEATS)
    onsets = Onsets.of(rendered(beats_s, GROOVES[groove]))
    return beats_s[:-1], onsets


def f_measure(truth: Floats, found: BeatMap, within_s: float = 0.07) -> float:
    """Source: mir_eval.beat; 70 ms is its own usual window."""
    return float(
        mir_eval.beat.f_measure(truth, np.array(found.times_s), f_measure_threshold=within_s)
    )


# Onsets.


@pytest.mark.parametrize("voice", ["kick", "snare", "hi-hat", "ride", "hi-hat-open", "cowbell"])
def test_a_lone_stroke_is_an_onset_where_it_begins(voice: str) -> None:
    sound = np.random.default_rng(1).normal(0.0, 0.001, (6 * RATE, 2)).astype(np.float32)
    begins = [round((0.8 + 0.9037 * number) * RATE) for number in range(5)]
    for begin in begins:
        part = stroke(voice, 90, RATE)[: len(sound) - begin]
        sound[begin : begin + len(part)] += part[:, None]
    times_s, strength = Onsets.of(Played(sound)).peaks
    strong = times_s[strength > 0.5]
    assert strong == pytest.approx(np.array(begins) / RATE, abs=0.003)


def test_a_soft_passage_counts_like_a_loud_one() -> None:
    beats_s = DRIFTS["swaying"](64)
    played = rendered(beats_s, GROOVES["straight"])
    half = len(played.sound) // 2
    played.sound[half:] *= 0.1
    times_s, strength = Onsets.of(played).peaks
    strong = times_s[strength > 0.5]
    near = np.array([np.abs(strong - beat_s).min() for beat_s in beats_s[:-1]])
    assert np.mean(near < 0.01) > 0.95


def test_silence_has_no_onsets() -> None:
    onsets = Onsets.of(Played(np.zeros((3 * RATE, 2), np.float32)))
    assert not onsets.strength.any()
    assert len(onsets.strength) == round(3.0 / HOP_S)


def test_progress_is_told_up_to_all() -> None:
    shares: list[float] = []
    Onsets.of(Played(np.zeros((25 * RATE, 2), np.float32)), shares.append)
    assert shares == sorted(shares)
    assert len(shares) > 1
    assert shares[-1] == 1.0


# Taps.


@pytest.mark.parametrize(("drift", "groove"), CASES)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_taps_through_a_recording_become_its_beats(drift: str, groove: str, seed: int) -> None:
    truth, onsets = recorded(drift, groove)
    found = refined(tapped(truth, seed), onsets)
    assert len(found) == len(truth)
    assert np.abs(np.array(found.times_s) - truth).max() < 0.010
    assert f_measure(truth, found, 0.010) == 1.0


@pytest.mark.parametrize("early_s", [-0.06, 0.0, 0.09])
def test_early_and_late_taps_mean_the_same_beats(early_s: float) -> None:
    truth, onsets = recorded("wandering", "straight")
    found = refined(tapped(truth, 4, early_s=early_s), onsets)
    assert np.abs(np.array(found.times_s) - truth).max() < 0.010


@pytest.mark.parametrize(("drift", "groove"), [("swaying", "swung"), ("faster", "sixteenths")])
def test_beats_without_a_tap_are_put_in(drift: str, groove: str) -> None:
    truth, onsets = recorded(drift, groove)
    taps = np.delete(tapped(truth, 5), [6, 20, 21, 50, 51, 52])
    found = refined(taps, onsets)
    assert len(found) == len(truth)
    assert np.abs(np.array(found.times_s) - truth).max() < 0.010


@pytest.mark.parametrize("late_s", [-0.15, 0.15, 0.25])
@pytest.mark.parametrize("number", [0, 5])
def test_a_tap_that_slipped_is_put_right(number: int, late_s: float) -> None:
    truth, onsets = recorded("swaying", "straight")
    taps = tapped(truth, 7)[:20]
    taps[number] += late_s
    found = refined(taps, onsets)
    assert np.abs(np.array(found.times_s) - truth[:20]).max() < 0.006


def test_a_bass_that_speaks_late_does_not_move_the_stroke_with_it() -> None:
    at_s = np.arange(RATE // 4) / RATE
    bass = 0.5 * np.minimum(at_s / 0.02, 1.0) * np.sin(2 * np.pi * 55.0 * at_s)
    ride = stroke("ride", 75, RATE)
    sound = np.random.default_rng(1).normal(0.0, 0.001, (9 * RATE, 2)).astype(np.float32)
    begins = [round((0.8 + 1.5037 * number) * RATE) for number in range(5)]
    for begin in begins:
        for part in (bass.astype(np.float32), ride[: len(bass)]):
            sound[begin : begin + len(part)] += part[:, None]
    times_s, _ = Onsets.of(Played(sound)).peaks
    assert [np.abs(times_s - begin / RATE).min() for begin in begins] == pytest.approx(
        [0.0] * 5, abs=0.005
    )


def test_a_pad_that_triggers_twice_does_no_harm() -> None:
    truth, onsets = recorded("swaying", "straight")
    taps = tapped(truth, 6)
    found = refined(np.concatenate([taps, taps[::7] + 0.04]), onsets)
    assert len(found) == len(truth)
    assert np.abs(np.array(found.times_s) - truth).max() < 0.010


def test_where_nothing_sounds_the_beats_go_on() -> None:
    beats_s = DRIFTS["swaying"](64)
    played = rendered(beats_s, GROOVES["straight"])
    begin, end = (round(float(beats_s[number]) * RATE) - 2_000 for number in (24, 28))
    played.sound[begin:end] *= 0.0
    found = refined(tapped(beats_s[:-1], 7), Onsets.of(played))
    error_s = np.abs(np.array(found.times_s) - beats_s[:-1])
    assert np.delete(error_s, slice(24, 28)).max() < 0.010
    assert error_s[24:28].max() < 0.025


def test_bar_1_and_the_beats_in_a_bar_are_as_told() -> None:
    truth, onsets = recorded("swaying", "straight")
    found = refined(tapped(truth), onsets, per_bar=3, first=2)
    assert (found.per_bar, found.first) == (3, 2)


@pytest.mark.parametrize("count", [0, 1, 7])
def test_too_few_taps_are_told(count: int) -> None:
    truth, onsets = recorded("swaying", "straight")
    with pytest.raises(TapError, match=f"^{count} taps are too few .* at least 8"):
        refined(truth[:count], onsets)


@pytest.mark.parametrize("seed", range(6))
def test_taps_at_random_are_told(seed: int) -> None:
    _, onsets = recorded("swaying", "straight")
    taps = np.cumsum(np.random.default_rng(seed).exponential(0.5, 60))
    with pytest.raises(TapError, match=r"too irregular|too few|there is no tap"):
        refined(taps, onsets)


def test_a_long_pause_in_the_taps_is_told_with_its_place() -> None:
    truth, onsets = recorded("swaying", "straight")
    taps = np.delete(truth, slice(30, 50))
    with pytest.raises(TapError, match=f"After {truth[29]:.1f} s there is no tap for"):
        refined(taps, onsets)


# Tapping only the beginning.


@pytest.mark.parametrize(("drift", "groove"), CASES)
@pytest.mark.parametrize("seed", [8, 10, 13])
def test_beats_go_on_along_the_recording(drift: str, groove: str, seed: int) -> None:
    truth, onsets = recorded(drift, groove)
    found = continued(refined(tapped(truth, seed)[:16], onsets), onsets)
    # Up to three more beats, in the silence around: an F-measure of 0.98 has no other cause.
    within_s = 0.010 if groove == "hidden" else 0.006
    assert np.abs(np.array(found.times_s)[:, None] - truth).min(axis=0).max() < within_s
    assert f_measure(truth, found, 0.010) > 0.98
    assert found.bar_start_s(0) == pytest.approx(truth[0], abs=0.010)


@pytest.mark.parametrize("groove", GROOVES)
def test_beats_are_found_before_the_taps_as_well(groove: str) -> None:
    truth, onsets = recorded("swaying", groove)
    found = continued(refined(tapped(truth, 9)[48:64], onsets), onsets)
    assert f_measure(truth, found) > 0.97
    assert found.bar_start_s(0) == pytest.approx(truth[48], abs=0.010)


def test_what_was_tapped_stays_where_it_was_laid() -> None:
    truth, onsets = recorded("wandering", "straight")
    tapped_map = refined(tapped(truth)[:20], onsets)
    assert set(tapped_map.times_s) <= set(continued(tapped_map, onsets).times_s)


# Without librosa.


def test_finding_beats_says_how_to_install_what_it_needs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "librosa", None)
    monkeypatch.setitem(sys.modules, "librosa.beat", None)
    _, onsets = recorded("swaying", "straight")
    with pytest.raises(UserError, match=r"pip install 'playalong\[beats\]', or tap along"):
        find(onsets)


@pytest.mark.parametrize("longer", [1.6, 2.0, 3.1])
@pytest.mark.parametrize("groove", ["straight", "off-beat"])
def test_a_beat_that_is_held_stays_one_beat(longer: float, groove: str) -> None:
    truth = held(64, longer)
    onsets = Onsets.of(rendered(truth, GROOVES[groove]))
    found = continued(refined(tapped(truth[:-1], 3), onsets), onsets)
    starts_s = [found.bar_start_s(bar) for bar in range(15)]
    assert starts_s == pytest.approx(truth[:60:4].tolist(), abs=0.010)


@pytest.mark.parametrize("groove", ["straight", "swung", "off-beat"])
def test_bar_1_is_put_right_behind_an_intro_without_drums(groove: str) -> None:
    """The beats are known here: which of them is the first is asked."""
    truth = held(96, 1.0)
    for intro_bars in (0, 4, 8):
        onsets = Onsets.of(rendered(truth, GROOVES[groove], intro_bars=intro_bars))
        first = first_heard(BeatMap.of(truth[:-1]), onsets)
        assert first == 4 * intro_bars
