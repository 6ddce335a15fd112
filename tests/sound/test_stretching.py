"""Slower and faster with the same pitch."""

import numpy as np
import pytest

from playalong.sound.recordings import stretching
from playalong.sound.recordings.decoding import Reel
from playalong.sound.recordings.stretching import stretched
from playalong.sound.timeline import RATE, Frames
from playalong.support.errors import UserError
from tests.sound.making_music import Played

PERCENTS = (50, 63, 75, 93, 110)


@pytest.fixture
def shorter_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Many seams, where there would be one in a minute."""
    monkeypatch.setattr(stretching, "PART", 3 * RATE)


def sound_of(reel: Reel) -> Frames:
    return reel.read(0, reel.frames)


def clicks(length_s: float, at: list[int]) -> Played:
    sound = np.zeros((round(length_s * RATE), 2), np.float32)
    sound[at] = 0.8
    return Played(sound)


@pytest.mark.parametrize("percent", PERCENTS)
@pytest.mark.usefixtures("shorter_parts")
def test_a_click_comes_out_where_it_belongs(percent: int) -> None:
    begin = 1_234
    at = [round((0.4 + 0.6137 * number) * RATE) for number in range(20)]
    made = np.abs(sound_of(stretched(clicks(13.0, at), percent, begin=begin, end=13 * RATE))[:, 0])
    errors_s = []
    for place in at:
        belongs = round((place - begin) * 100 / percent)
        low = belongs - RATE // 10
        errors_s.append((low + int(made[low : belongs + RATE // 10].argmax()) - belongs) / RATE)
    assert np.abs(errors_s).max() < 0.002


@pytest.mark.parametrize("percent", PERCENTS)
@pytest.mark.parametrize("hz", [110.0, 440.0, 3_000.0])
def test_the_pitch_stays(percent: int, hz: float) -> None:
    at_s = np.arange(12 * RATE) / RATE
    tone = (0.5 * np.sin(2 * np.pi * hz * at_s)).astype(np.float32)
    made = sound_of(
        stretched(Played(np.stack([tone, tone], axis=1)), percent, begin=0, end=len(tone))
    )
    heard = made[RATE // 2 : -RATE // 2, 0]
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    assert spectrum.argmax() * RATE / len(heard) == pytest.approx(hz, rel=0.005)
    assert np.sqrt(np.mean(heard**2)) == pytest.approx(0.5 / 2**0.5, rel=0.1)


@pytest.mark.parametrize("percent", PERCENTS)
def test_the_length_is_as_asked(percent: int) -> None:
    reel = stretched(clicks(4.0, [100]), percent, begin=5_000, end=150_000)
    assert reel.frames == pytest.approx(145_000 * 100 / percent, abs=1)


def test_a_seam_is_not_heard() -> None:
    at_s = np.arange(9 * RATE) / RATE
    tone = (0.5 * np.sin(2 * np.pi * 220.0 * at_s)).astype(np.float32)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stretching, "PART", 3 * RATE)
        made = sound_of(
            stretched(Played(np.stack([tone, tone], axis=1)), 80, begin=0, end=len(tone))
        )
    # A crack would be a jump: no step is larger than the steepest of the tone, and a little.
    steepest = 0.5 * 2 * np.pi * 220.0 / RATE
    assert np.abs(np.diff(made[RATE:-RATE, 0])).max() < 1.3 * steepest


def test_full_speed_changes_nothing() -> None:
    noise = np.random.default_rng(2).normal(0.0, 0.2, (2 * RATE, 2)).astype(np.float32)
    made = sound_of(stretched(Played(noise), 100, begin=10_000, end=80_000))
    # Kept as 16 bit: half a step at most.
    assert np.abs(made - noise[10_000:80_000]).max() < 1.01 / 32767


def test_left_and_right_stay_apart() -> None:
    sound = np.zeros((3 * RATE, 2), np.float32)
    sound[:, 0] = 0.3 * np.sin(2 * np.pi * 300.0 * np.arange(3 * RATE) / RATE)
    made = sound_of(stretched(Played(sound), 70, begin=0, end=3 * RATE))
    assert np.abs(made[:, 1]).max() < 0.01
    assert np.abs(made[:, 0]).max() > 0.2


@pytest.mark.usefixtures("shorter_parts")
def test_progress_is_told_up_to_all() -> None:
    shares: list[float] = []
    stretched(clicks(10.0, [9]), 50, begin=0, end=10 * RATE, progress=shares.append)
    assert shares == sorted(shares)
    assert len(shares) > 2
    assert shares[-1] == 1.0


@pytest.mark.parametrize(("percent", "begin", "end"), [(40, 0, 9), (111, 0, 9), (80, 9, 9)])
def test_what_cannot_be_played_is_told(percent: int, begin: int, end: int) -> None:
    with pytest.raises(UserError, match=r"choose 50 to 110|nothing to play"):
        stretched(clicks(1.0, [9]), percent, begin=begin, end=end)
