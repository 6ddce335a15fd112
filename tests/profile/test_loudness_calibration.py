"""Loudness calibration, with made-up pads of known faults."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import mannwhitneyu

from playalong.grading.bands_from_strokes import LEAST_DB, MOST_CONFUSED, apart, bands_of, border_of
from playalong.grading.loudness import Band
from playalong.midi.hits import Hit
from playalong.pattern.model import Dynamic
from playalong.profile.loudness_calibration import (
    PAUSE_S,
    STROKES,
    Cause,
    PadTouch,
    Touch,
    touch_of,
)

VOICES = ("snare", "hi-hat", "kick")
GHOST, NORMAL, ACCENT = Dynamic
#: How hard is struck, 0 to 1: mean and standard deviation.
FORCE = {GHOST: (0.2, 0.02), NORMAL: (0.55, 0.04), ACCENT: (0.92, 0.03)}
SEEDS = range(8)

velocities = st.lists(st.integers(1, 127).map(float), min_size=1, max_size=12)


def linear(force: float) -> float:
    return max(1.0, round(127 * force))


def compressed(force: float) -> float:
    """Almost the same whatever the stroke: soft to strong within 3 dB."""
    return round(96 + 16 * force)


def saturated(force: float) -> float:
    return min(127.0, round(400 * force))


def three_steps(force: float) -> float:
    """Velocities so far apart that an ordinary stroke falls on either of two."""
    return (40.0, 90.0, 127.0)[min(2, int(force / 0.55))]


def deaf(force: float) -> float | None:
    """A threshold in the middle of the soft strokes."""
    return linear(force) if force >= 0.195 else None


def played(pad: Callable[[float], float | None], seed: int, spread: float = 1.0) -> Touch:
    """A touch of the snare alone, played evenly twice a second until it is done."""
    chance = np.random.default_rng(seed)
    touch, at_s = Touch(["snare"]), 0.0
    while (dynamic := touch.dynamic) is not None:
        if not touch.strokes("snare")[dynamic]:
            at_s += 2 * PAUSE_S
        mean, sd = FORCE[dynamic]
        velocity = pad(float(chance.normal(mean, spread * sd)))
        if velocity is not None:
            touch.hit(Hit(at_s + float(chance.normal(0.0, 0.015)), "snare", velocity))
        at_s += 0.5
    return touch


def pad_touch(pad: Callable[[float], float | None], seed: int, spread: float = 1.0) -> PadTouch:
    return played(pad, seed, spread).pad_touch("snare")


@pytest.mark.parametrize("seed", SEEDS)
def test_a_good_pad_tells_the_three_apart(seed):
    pad = pad_touch(linear, seed)
    assert pad.cause is None
    assert pad.fault == pad.advice == ""
    assert pad.soft.is_clear
    assert pad.strong.is_clear
    assert pad.soft.wrong_side == pad.strong.confused == 0.0
    for dynamic in Dynamic:
        band = pad.bands[dynamic]
        assert all(band.low <= velocity <= band.high for velocity in pad.velocities[dynamic])


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("pad", "cause", "advice"),
    [
        (compressed, Cause.FLAT, "velocity curve"),
        (saturated, Cause.STUCK, "sensitivity down"),
        (three_steps, Cause.STEPS, "velocity curve"),
        (lambda force: 64.0, Cause.FLAT, "velocity curve"),
        (lambda force: 127.0, Cause.STUCK, "sensitivity down"),
    ],
    ids=["compressed", "saturated", "three steps", "always the same", "always the loudest"],
)
def test_the_fault_of_a_pad_is_found_and_what_to_change(pad, cause, advice, seed):
    found = pad_touch(pad, seed)
    assert found.cause is cause
    assert found.fault
    assert advice in found.advice


def test_strokes_that_did_not_register_are_found_by_the_holes_they_leave():
    faults = [pad_touch(deaf, seed).cause for seed in range(40)]
    heard = [pad_touch(linear, seed).cause for seed in range(40)]
    # How many strokes are lost is chance, and many in a row look like a pause.
    assert faults.count(Cause.LOST) >= 30
    assert heard.count(Cause.LOST) == 0


def test_a_pause_is_no_lost_stroke():
    touch = Touch(["snare"])
    for place in range(STROKES):
        touch.hit(Hit(place * 0.5 + (5.0 if place > 3 else 0.0), "snare", 20.0))
    for at_s, velocity in ((20.0, 70.0), (40.0, 120.0)):
        for place in range(STROKES):
            touch.hit(Hit(at_s + place * 0.5, "snare", velocity))
    assert touch.is_complete("snare")
    assert touch.pad_touch("snare").cause is None


def test_an_uneven_hand_is_told_to_the_player_and_not_blamed_on_the_pad():
    strokes = {
        GHOST: (20, 40, 60, 70, 30, 75, 55, 45),
        NORMAL: (50, 65, 70, 60, 72, 68, 74, 58),
        ACCENT: (115, 118, 120, 116, 119, 122, 117, 121),
    }
    pad = touch_of("snare", strokes)
    assert pad.cause is Cause.SOFT_NEAR
    assert "soft" in pad.advice
    assert "module" not in pad.advice
    assert f"{pad.soft.gap_db:.0f} dB" in pad.fault
    near = touch_of("snare", {**strokes, GHOST: (18, 20, 22), ACCENT: (60, 70, 75, 80)})
    assert near.cause is Cause.STRONG_NEAR


@given(velocities, velocities)
def test_the_share_of_pairs_the_wrong_way_round_is_mann_and_whitneys_u(soft, loud):
    """scipy.stats.mannwhitneyu, its U for the first sample, over n m."""
    expected = mannwhitneyu(soft, loud, method="asymptotic").statistic / (len(soft) * len(loud))
    assert apart(soft, loud).confused == pytest.approx(expected)


@given(velocities, velocities)
def test_the_share_on_the_wrong_side_is_counted_stroke_by_stroke(soft, loud):
    border = border_of(soft, loud)
    wrong = [velocity > border for velocity in soft] + [velocity < border for velocity in loud]
    on_it = [velocity == border for velocity in (*soft, *loud)]
    share = (sum(wrong) + sum(on_it) / 2) / len(wrong)
    assert apart(soft, loud).wrong_side == pytest.approx(share)


@given(velocities, velocities)
def test_twice_the_velocity_is_12_db(soft, loud):
    """The velocity curve of Downloadable Sounds: 40 log10 of the ratio."""
    gap_db = apart(soft, loud).gap_db
    louder = apart([velocity / 2 for velocity in soft], loud).gap_db
    assert louder - gap_db == pytest.approx(40 * np.log10(2))


def test_clear_needs_both_few_confused_and_a_gap():
    far, near = apart([20.0] * 8, [90.0] * 8), apart([90.0] * 8, [92.0] * 8)
    assert far.is_clear
    assert near.wrong_side == 0.0
    assert near.gap_db < LEAST_DB
    assert not near.is_clear
    mixed = apart([20.0] * 5 + [99.0] * 3, [90.0] * 8)
    assert mixed.confused > MOST_CONFUSED
    assert not mixed.is_clear


@given(velocities, velocities, velocities)
def test_no_band_is_inside_out_and_they_leave_no_velocity_out(ghost, normal, accent):
    bands = bands_of({"snare": {GHOST: ghost, NORMAL: normal, ACCENT: accent}})
    three = [bands.of("snare", dynamic) for dynamic in Dynamic]
    assert three[0].low == 1.0
    assert three[-1].high == 127.0
    assert all(softer.high == louder.low for softer, louder in pairwise(three))
    assert all(band.low <= band.high for band in three)


def test_a_dynamic_has_a_band_only_between_neighbours_that_were_struck():
    """Normal strokes alone do not say how loud one may be, so nothing is right because of them."""
    assert bands_of({"kick": {NORMAL: [90.0] * 3}}).by_voice == {}
    ghosts = bands_of({"snare": {GHOST: [20.0] * 3, NORMAL: [90.0] * 3}}).by_voice
    assert ghosts == {("snare", GHOST): Band(1.0, 55.0)}
    accents = bands_of({"snare": {NORMAL: [80.0] * 3, ACCENT: [120.0] * 3}}).by_voice
    assert accents == {("snare", ACCENT): Band(100.0, 127.0)}


def test_the_velocity_curve_is_in_order_and_in_db():
    pad = touch_of("snare", {GHOST: [30, 20, 25], NORMAL: [70, 80, 60], ACCENT: [127, 110, 120]})
    assert pad.velocities[ACCENT] == (110, 120, 127)
    assert pad.levels_db[ACCENT][-1] == 0.0
    # Downloadable Sounds Level 1: an attenuation of 20 log10(127^2 / v^2) dB.
    assert pad.levels_db[GHOST] == pytest.approx(
        [-20 * np.log10(127**2 / velocity**2) for velocity in (20, 25, 30)]
    )


def test_nothing_is_said_of_a_pad_with_too_few_strokes():
    pad = touch_of("snare", {GHOST: [64.0] * 8, NORMAL: [64.0]})
    assert pad.soft is None
    assert pad.cause is None
    assert ACCENT not in pad.bands


def strike(touch: Touch, voice: str, count: int, *, at_s: float, velocity: float = 64.0) -> float:
    """Evenly, twice a second; when the next group may begin."""
    for place in range(count):
        touch.hit(Hit(at_s + 0.5 * place, voice, velocity))
    return at_s + 0.5 * count + PAUSE_S


def test_it_asks_eight_of_each_pad_by_pad():
    touch, at_s = Touch(VOICES), 0.0
    asked = []
    while touch.voice is not None:
        asked.append((touch.voice, touch.dynamic))
        at_s = strike(touch, touch.voice, STROKES, at_s=at_s)
    assert asked == [(voice, dynamic) for voice in VOICES for dynamic in Dynamic]
    assert list(touch.result()) == list(VOICES)
    assert all(len(touch.strokes("kick")[dynamic]) == 8 for dynamic in Dynamic)


def test_other_pads_are_crosstalk_once_a_pad_is_begun():
    touch = Touch(VOICES)
    assert touch.hit(Hit(0.0, "snare", 20.0))
    assert not touch.hit(Hit(0.002, "kick", 9.0))
    assert not touch.hit(Hit(0.5, "kick", 90.0))
    assert touch.voice == "snare"
    assert touch.strokes("kick")[GHOST] == ()


def test_a_pad_is_chosen_by_striking_it_when_none_is_begun():
    touch = Touch(VOICES)
    assert not touch.hit(Hit(0.0, "kick", 90.0))
    assert touch.voice == "kick"
    assert touch.strokes("kick")[GHOST] == (), "the stroke that chose it does not count"
    assert touch.hit(Hit(0.5, "kick", 20.0))


@pytest.mark.parametrize("order", [1, -1])
def test_the_pad_that_was_struck_is_chosen_and_not_the_one_that_heard_it(order):
    touch = Touch(VOICES)
    for place, (voice, velocity) in enumerate([("kick", 90.0), ("hi-hat", 12.0)][::order]):
        touch.hit(Hit(0.002 * place, voice, velocity))
    assert touch.voice == "kick"


def test_a_bounce_is_no_stroke_and_a_ninth_is_not_of_the_next_group():
    touch = Touch(VOICES)
    for place in range(STROKES + 1):
        touch.hit(Hit(0.5 * place, "snare", 20.0))
        touch.hit(Hit(0.5 * place + 0.03, "snare", 9.0))
    assert touch.strokes("snare")[GHOST] == (20.0,) * STROKES
    assert touch.strokes("snare")[NORMAL] == ()


def test_a_rim_shot_is_a_stroke_on_the_snare_unless_it_is_asked_for():
    touch = Touch(["snare"])
    touch.hit(Hit(0.0, "rim-shot", 90.0))
    assert touch.strokes("snare")[GHOST] == (90.0,)
    both = Touch(["snare", "rim-shot"])
    both.hit(Hit(0.0, "rim-shot", 90.0))
    assert both.voice == "rim-shot"


def test_a_stroke_a_group_or_a_pad_is_taken_back():
    touch = Touch(VOICES)
    at_s = strike(touch, "snare", STROKES, at_s=0.0)
    at_s = strike(touch, "snare", 2, at_s=at_s)
    touch.undo()
    assert [len(group) for group in touch.strokes("snare").values()] == [8, 1, 0]
    touch.restart()
    assert [len(group) for group in touch.strokes("snare").values()] == [8, 0, 0]
    touch.undo()
    assert [len(group) for group in touch.strokes("snare").values()] == [7, 0, 0]
    assert touch.dynamic is GHOST
    touch.again()
    touch.undo()
    touch.restart()
    assert not any(touch.strokes("snare").values())


SAVED = {"snare": {GHOST: (20.0, 22.0, 24.0), NORMAL: (70.0,), ACCENT: (120.0,)},
        "china": {GHOST: (9.0,)}}  # fmt: skip


def test_what_was_kept_stays_until_it_is_played_anew():
    touch = Touch(VOICES, SAVED)
    assert touch.voice == "hi-hat"
    assert touch.is_complete("snare")
    assert touch.result() == SAVED
    touch.move(-1)
    assert touch.voice == "snare"
    assert touch.dynamic is None
    assert not touch.hit(Hit(0.0, "snare", 64.0))
    touch.again()
    assert touch.dynamic is GHOST
    at_s = strike(touch, "snare", STROKES, at_s=1.0)
    assert touch.result() == SAVED
    for _ in range(2):
        at_s = strike(touch, "snare", STROKES, at_s=at_s)
    assert touch.result()["snare"] == dict.fromkeys(Dynamic, (64.0,) * STROKES)
    assert touch.result()["china"] == SAVED["china"]


def test_moving_goes_round_all_pads():
    touch = Touch(VOICES)
    seen = []
    for _ in VOICES:
        touch.move(1)
        seen.append(touch.voice)
    assert seen == ["hi-hat", "kick", "snare"]
    done = Touch(["snare"], SAVED)
    assert done.voice is None
    done.move(-1)
    assert done.voice == "snare"
    nothing = Touch([])
    nothing.move(1)
    assert nothing.voice is None


@pytest.mark.parametrize(("pause_s", "counts"), [(0.35, False), (0.5, False), (0.7, True)])
def test_the_next_group_begins_after_a_pause_at_the_players_own_pace(pause_s, counts):
    touch = Touch(["snare"])
    for number in range(STROKES):
        assert touch.hit(Hit(0.35 * number, "snare", 30.0))
    last_s = 0.35 * (STROKES - 1)
    assert touch.hit(Hit(last_s + pause_s, "snare", 80.0)) is counts
    assert touch.too_soon is not counts
    assert touch.hit(Hit(last_s + pause_s + 1.1, "snare", 80.0))
    assert not touch.too_soon
