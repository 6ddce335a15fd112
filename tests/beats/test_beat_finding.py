"""Beats found without tapping, with librosa."""

import mir_eval.beat
import numpy as np
import pytest

from playalong.sound.recordings.beat_finding import find
from playalong.sound.recordings.onsets import Onsets
from playalong.sound.timeline import RATE
from playalong.support.errors import UserError
from tests.sound.making_music import GROOVES, Played, rendered, swaying, wandering

pytestmark = pytest.mark.beats


@pytest.mark.parametrize("beats", [swaying, wandering])
@pytest.mark.parametrize("groove", ["straight", "sixteenths"])
def test_the_beats_of_a_plain_groove_are_found(beats: object, groove: str) -> None:
    assert callable(beats)
    truth = beats(96)[:-1]
    found = find(Onsets.of(rendered(truth, GROOVES[groove])))
    # Source: mir_eval.beat, with its usual window of 70 ms.
    assert mir_eval.beat.f_measure(truth, np.array(found.times_s)) > 0.9
    # Bar 1 begins on the first beat that is heard.
    assert found.bar_start_s(0) == pytest.approx(truth[0], abs=0.010)


@pytest.mark.parametrize("intro_bars", [4, 8])
@pytest.mark.parametrize("groove", ["straight", "swung"])
def test_bar_1_is_right_behind_an_intro_without_drums(intro_bars: int, groove: str) -> None:
    truth = swaying(128)
    onsets = Onsets.of(rendered(truth, GROOVES[groove], intro_bars=intro_bars))
    found = find(onsets)
    per_beat = (truth[1] - truth[0]) / float(np.median(np.diff(found.times_s)))
    if 0.8 < per_beat < 1.25:  # counted at half or twice the tempo it is no beat of the truth
        assert found.bar_start_s(0) == pytest.approx(truth[4 * intro_bars], abs=0.015)
    else:
        assert per_beat == pytest.approx(round(per_beat), abs=0.1)


def test_where_there_is_no_beat_that_is_told() -> None:
    silence = Onsets.of(Played(np.zeros((10 * RATE, 2), np.float32)))
    with pytest.raises(UserError, match="No steady beat was found in the recording: tap along"):
        find(silence)


@pytest.mark.parametrize(("bpm", "factor"), [(178, 1.0), (178, 0.5), (89, 2.0), (70, 1.0)])
def test_a_hint_decides_between_half_and_double(bpm: int, factor: float) -> None:
    """A straight groove of eighths may be counted at either; the hint says which is meant."""
    truth = 2.0 + np.arange(128) * 60.0 / bpm
    onsets = Onsets.of(rendered(truth, GROOVES["straight"]))
    found = find(onsets, hint_bpm=0.97 * factor * bpm)
    kept = 60.0 / float(np.median(np.diff(found.times_s)))
    assert kept == pytest.approx(factor * bpm, rel=0.02)
