"""When the click sounds, against exact arithmetic; and what it sounds like."""

from fractions import Fraction
from itertools import accumulate

import numpy as np
import pytest

from playalong.pattern.beats import Meter, Tempo
from playalong.sound.click import Kind, clicks, sample

RATE = 48_000

#: What a musician counts in a bar, in units of the lower number (common practice), and the unit
#: that a tempo counts, of a whole note.
COUNTED = {
    "4/4": ([1, 1, 1, 1], 4, Fraction(1, 4)),
    "7/8": ([1, 1, 1, 1, 1, 1, 1], 8, Fraction(1, 8)),
    "12/8": ([3, 3, 3, 3], 8, Fraction(3, 8)),
    "2+2+3/8": ([2, 2, 3], 8, Fraction(2, 8)),
}


@pytest.mark.parametrize("written", COUNTED)
@pytest.mark.parametrize("bpm", [57, 90, 203])
@pytest.mark.parametrize("count_in", [1, 2])
def test_count_in_and_beats_stand_where_fractions_say(written, bpm, count_in):
    lengths, under, unit = COUNTED[written]
    whole_s = Fraction(60, bpm) / unit
    bar = Fraction(sum(lengths), under)
    starts = [Fraction(start, under) for start in accumulate(lengths[:-1], initial=0)]
    expected = [
        (float((number * bar + start) * whole_s), "beat" if start else "one")
        for number in range(-count_in, 3)
        for start in starts
    ]
    found = clicks([Meter.parse(written)] * 3, Tempo(float(bpm), unit), count_in)
    assert [click.time_s for click in found] == pytest.approx([t for t, _ in expected], abs=1e-9)
    assert [click.kind for click in found] == [kind for _, kind in expected]


def test_a_run_that_starts_later_is_moved_as_a_whole():
    meter = Meter.parse("4/4")
    at_0 = clicks([meter] * 2, Tempo(100.0, meter.unit))
    at_7 = clicks([meter] * 2, Tempo(100.0, meter.unit, start_s=7.0))
    assert [click.time_s - 7.0 for click in at_7] == pytest.approx([c.time_s for c in at_0])


def test_a_meter_that_changes():
    three, seven = Meter.parse("3/4"), Meter.parse("7/8")
    found = clicks([three, seven, three], Tempo(120.0, Fraction(1, 4)))
    ones = [click.time_s for click in found if click.kind is Kind.ONE]
    # At 120 quarter notes a minute 3/4 lasts 1.5 s and 7/8 lasts 1.75 s.
    assert ones == pytest.approx([-1.5, 0.0, 1.5, 3.25])
    assert len(found) == 3 + 3 + 7 + 3


@pytest.mark.parametrize(
    ("written", "between", "count"),
    [("4/4", Fraction(1, 8), 4), ("4/4", Fraction(1, 12), 8), ("2+2+3/8", Fraction(1, 8), 4)],
)
def test_soft_clicks_fill_the_beats_evenly_and_change_no_other(written, between, count):
    meter = Meter.parse(written)
    tempo = Tempo(80.0, meter.unit)
    plain = clicks([meter], tempo, 0)
    filled = clicks([meter], tempo, 0, between)
    assert [click for click in filled if click.kind is not Kind.BETWEEN] == plain
    assert len(filled) == len(plain) + count
    steps_s = np.diff([click.time_s for click in filled])
    assert steps_s == pytest.approx(float(between) * tempo.seconds_per_whole)


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("rate", [44_100, 48_000])
def test_a_click_begins_at_once_and_dies_away(kind, rate):
    sound = np.abs(sample(kind, rate))
    assert 0 < sound[0] < 0.1 * sound.max()  # no crack at its start
    assert sound[: rate // 1000].max() > 0.5 * sound.max()  # there within a millisecond
    assert sound[-rate // 1000 :].max() < 0.005 * sound.max()  # nor at its end
    assert sound.max() <= 1.0


def test_the_one_is_strongest_and_highest_and_what_is_between_softest_and_lowest():
    ordered = [sample(kind, RATE) for kind in (Kind.ONE, Kind.BEAT, Kind.BETWEEN)]
    energies = [float(np.square(sound).sum()) for sound in ordered]
    pitches = [int(np.abs(np.fft.rfft(sound, RATE)).argmax()) for sound in ordered]
    assert energies == sorted(energies, reverse=True)
    assert energies[0] > 2 * energies[1] > 4 * energies[2]
    assert pitches[0] > 1.2 * pitches[1] > 1.2 * 1.2 * pitches[2]
