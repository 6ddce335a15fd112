"""When the click sounds, against exact arithmetic; and what it sounds like."""

from fractions import Fraction

import numpy as np
import pytest

from playalong.pattern.beats import Meter, Tempo
from playalong.sound.click import Kind, clicks, sample


@pytest.mark.parametrize(
    ("written", "beats"),
    [
        ("4/4", [0, 1, 2, 3]),  # in tempo units from the bar line
        ("7/8", [0, 1, 2, 3, 4, 5, 6]),
        ("12/8", [0, 1, 2, 3]),
        ("2+2+3/8", [0, 1, 2]),
    ],
)
@pytest.mark.parametrize("count_in", [1, 2])
def test_count_in_and_beats(written, beats, count_in):
    meter = Meter.parse(written)
    found = clicks([meter] * 3, Tempo(90.0, meter.unit), count_in)
    bar_s = Fraction(60, 90) * meter.length / meter.unit
    expected = [
        float(bar_s * bar + Fraction(60, 90) * beat)
        for bar in range(-count_in, 3)
        for beat in beats
    ]
    assert [click.time_s for click in found] == pytest.approx(expected, abs=1e-12)
    ones = [click.time_s for click in found if click.kind is Kind.ONE]
    assert ones == pytest.approx([float(bar_s * bar) for bar in range(-count_in, 3)], abs=1e-12)


def test_a_meter_that_changes():
    three, seven = Meter.parse("3/4"), Meter.parse("7/8")
    found = clicks([three, seven, three], Tempo(120.0, Fraction(1, 4)), 1)
    ones = [click.time_s for click in found if click.kind is Kind.ONE]
    assert ones == pytest.approx([-1.5, 0.0, 1.5, 3.25])


@pytest.mark.parametrize("kind", list(Kind))
def test_a_click_begins_at_once_and_dies_away(kind):
    sound = sample(kind, 48_000)
    assert abs(sound[0]) < 0.2
    assert np.abs(sound[:48]).max() > 0.5 * np.abs(sound).max()  # within the first millisecond
    assert np.abs(sound[-48:]).max() < 0.02
    assert np.abs(sound).max() <= 1.0


def test_the_one_is_louder_and_higher():
    one, beat = sample(Kind.ONE, 48_000), sample(Kind.BEAT, 48_000)
    assert np.square(one).sum() > np.square(beat).sum()
    pitch = [np.abs(np.fft.rfft(sound, 48_000)).argmax() for sound in (one, beat)]
    assert pitch[0] > 1.2 * pitch[1]
