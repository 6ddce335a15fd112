"""The click among the drums, by levels as an ear has them."""

import numpy as np
import pytest

from playalong.pattern.model import Dynamic
from playalong.sound.mix import SOFT_CLICK_DB
from playalong.sound.synth.click import Kind, sample
from playalong.sound.synth.drums import stroke
from playalong.sound.synth.notes import VELOCITIES
from playalong.sound.timeline import RATE
from tests.sound.a_weighting import level_db, weight_db

#: IEC 61672-1, table 3: A-weighting at nominal frequencies (from memory).
TABLE = {63: -26.2, 125: -16.1, 250: -8.6, 500: -3.2, 1000: 0.0, 2000: 1.2, 4000: 1.0, 8000: -1.1}


def test_the_weighting_is_that_of_the_standard():
    exact = 1000.0 * 10.0 ** (np.round(10.0 * np.log10(np.array(list(TABLE)) / 1000.0)) / 10.0)
    assert weight_db(exact) == pytest.approx(list(TABLE.values()), abs=0.1)


def test_a_tone_of_1_khz_has_the_level_that_it_has():
    tone = np.sin(2.0 * np.pi * 1000.0 * np.arange(RATE // 20) / RATE).astype(np.float32)
    assert level_db(tone, RATE) == pytest.approx(-3.01, abs=0.1)


@pytest.mark.parametrize("voice", ["hi-hat", "snare", "kick", "ride"])
def test_in_what_is_heard_the_click_does_not_cover_the_strokes_that_it_falls_on(voice):
    plain = level_db(stroke(voice, VELOCITIES[Dynamic.NORMAL], RATE), RATE)
    click = level_db(sample(Kind.BEAT, RATE), RATE)
    assert click - plain > 9.0  # as it is by itself
    assert click + SOFT_CLICK_DB - plain < 6.0
