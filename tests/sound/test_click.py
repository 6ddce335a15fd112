"""When the click sounds, against exact arithmetic; and what it sounds like."""

from fractions import Fraction
from itertools import accumulate, islice

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pretty_midi.constants import DRUM_MAP
from scipy.optimize import brentq

from playalong.pattern.meter import Meter, Tempo, WrittenSwing
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.sound.synth.click import (
    BAR_MODES,
    CHANNEL,
    Clicking,
    Gap,
    Kind,
    Places,
    clicks,
    midi,
    sample,
)

RATE = 48_000

#: What a musician counts in a bar, in units of the lower number (common practice), and the unit
#: that a tempo counts, of a whole note.
COUNTED = {
    "4/4": ([1, 1, 1, 1], 4, Fraction(1, 4)),
    "7/8": ([1, 1, 1, 1, 1, 1, 1], 8, Fraction(1, 8)),
    "12/8": ([3, 3, 3, 3], 8, Fraction(3, 8)),
    "2+2+3/8": ([2, 2, 3], 8, Fraction(2, 8)),
}


#: The first of a bar and its other beats: in a bar that is played, and in the count-in.
KINDS = ((Kind.ONE, Kind.BEAT), (Kind.COUNT_ONE, Kind.COUNT))

#: The off-beats of a bar, in whole notes (common practice; see the module for beats of three).
OFF_BEATS = {
    "4/4": ["1/8", "3/8", "5/8", "7/8"],
    "2/2": ["1/4", "3/4"],
    "3/8": ["1/16", "3/16", "5/16"],
    "7/8": ["1/16", "3/16", "5/16", "7/16", "9/16", "11/16", "13/16"],
    "6/8": ["2/8", "5/8"],
    "12/8": ["2/8", "5/8", "8/8", "11/8"],
    "2+2+3/8": ["1/8", "3/8", "6/8"],
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
        (float((number * bar + start) * whole_s), KINDS[number < 0][start > 0])
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
    ones = [click.time_s for click in found if click.kind in (Kind.COUNT_ONE, Kind.ONE)]
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
    filled = clicks([meter], tempo, 0, between=between)
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


# What sounds after the count-in.


@pytest.mark.parametrize("written", OFF_BEATS)
def test_off_beats_alone_come_after_a_count_in_that_has_them_too(written):
    meter = Meter.parse(written)
    tempo = Tempo(100.0, meter.unit)
    found = clicks([meter] * 2, tempo, 1, clicking=Clicking(Places.OFF_BEATS))
    inside_s = [tempo.seconds(Fraction(at)) for at in OFF_BEATS[written]]
    bar_s = tempo.seconds(meter.length)

    def times_s(bar, *kinds):
        return [
            click.time_s - bar * bar_s
            for click in found
            if bar * bar_s <= click.time_s + 1e-9 < (bar + 1) * bar_s and click.kind in kinds
        ]

    assert times_s(-1, Kind.COUNT_ONE, Kind.COUNT) == pytest.approx(
        [tempo.seconds(start) for start in meter.beat_starts]
    )
    assert times_s(-1, Kind.BETWEEN) == pytest.approx(inside_s)
    for bar in (0, 1):
        assert times_s(bar, Kind.OFF_BEAT) == pytest.approx(inside_s)
        assert times_s(bar, *Kind) == times_s(bar, Kind.OFF_BEAT)


@pytest.mark.parametrize("written", ["4/4", "12/8", "2+2+3/8", "7/8"])
def test_eighths_are_the_beats_and_the_eighths_between(written):
    meter = Meter.parse(written)
    tempo = Tempo(80.0, meter.unit)
    found = clicks([meter] * 2, tempo, 1, clicking=Clicking(Places.EIGHTHS))
    assert found == clicks([meter] * 2, tempo, 1, between=Fraction(1, 8))
    steps_s = np.diff([click.time_s for click in found])
    assert steps_s == pytest.approx(tempo.seconds(Fraction(1, 8)))


@pytest.mark.parametrize(
    ("written", "line", "swing"),
    [
        ("4/4", "xx xx xx xx", 50),
        ("4/4", "xx xx xx xx", 58),
        ("3/4", "xx xx xx", 66),
        ("12/8", "xxx xxx xxx xxx", 50),
        ("2+2+3/8", "xx xx xxx", 50),
    ],
)
def test_eighths_fall_where_the_strokes_of_the_pattern_do(written, line, swing):
    text = f'title = "A Test"\nmeter = "{written}"\ntempo = 90\nswing = {swing}\n'
    pattern = read(f'{text}[[bar]]\nhi-hat = "{line}"\n', "a-test")
    tempo = Tempo(90.0, pattern.meter.unit)
    clicking = Clicking(Places.EIGHTHS, pattern.swing)
    found = clicks([pattern.meter] * 3, tempo, 0, clicking=clicking)
    asked = lay_out(pattern, 90.0, 3)
    assert [click.time_s for click in found] == pytest.approx(asked.time_s.tolist())


def test_a_swung_off_beat_lies_where_the_swing_says():
    """At 60 bpm a pair of eighths lasts a second, so per cent are hundredths of one."""
    meter = Meter.parse("4/4")
    clicking = Clicking(Places.OFF_BEATS, WrittenSwing(Fraction(62)))
    found = clicks([meter], Tempo(60.0, meter.unit), 0, clicking=clicking)
    assert [click.time_s for click in found] == pytest.approx([0.62, 1.62, 2.62, 3.62])


def test_a_shuffle_has_the_off_beats_of_twelve_eight():
    four, twelve = Meter.parse("4/4"), Meter.parse("12/8")
    two_thirds = WrittenSwing(Fraction(200, 3))
    swung = clicks(
        [four], Tempo(76.0, four.unit), 0, clicking=Clicking(Places.OFF_BEATS, two_thirds)
    )
    of_three = clicks([twelve], Tempo(76.0, twelve.unit), 0, clicking=Clicking(Places.OFF_BEATS))
    assert [c.time_s for c in swung] == pytest.approx([c.time_s for c in of_three])


def test_triplets_between_are_not_swung():
    meter = Meter.parse("4/4")
    tempo = Tempo(90.0, meter.unit)
    straight = clicks([meter], tempo, 1, between=Fraction(1, 12))
    assert (
        clicks(
            [meter],
            tempo,
            1,
            between=Fraction(1, 12),
            clicking=Clicking(swing=WrittenSwing(Fraction(66))),
        )
        == straight
    )


@pytest.mark.parametrize(
    ("gap", "bars"),
    [
        (Gap(2, 2), "xx--xx--xx--"),
        (Gap(1, 3), "x---x---x---"),
        (Gap(2, 1, 1), "xx-xx--xx---xx----"),
        (Gap(1, 0, 2), "xx--x----x------x"),
        (Gap(3, 0), "xxxxxx"),
    ],
)
def test_a_gap_click_leaves_out_whole_bars(gap, bars):
    assert "".join("x" if sounds else "-" for sounds in islice(gap.bars(), len(bars))) == bars
    meter = Meter.parse("3/4")
    tempo = Tempo(60.0, meter.unit)  # a bar lasts 3 s
    found = clicks([meter] * len(bars), tempo, 2, clicking=Clicking(gap=gap))
    kept = [click for click in clicks([meter] * len(bars), tempo, 2) if click.time_s < 0]
    assert found[:6] == kept  # the count-in always sounds
    heard = [number for number, mark in enumerate(bars) if mark == "x"]
    assert [click.time_s for click in found[6:]] == pytest.approx(
        [3.0 * bar + beat for bar in heard for beat in range(3)]
    )


@pytest.mark.parametrize("numbers", [(0, 1, 0), (1, -1, 0), (1, 1, -1)])
def test_a_gap_that_makes_no_sense_is_refused(numbers):
    with pytest.raises(ValueError, match="gap click"):
        Gap(*numbers)


@given(
    places=st.sampled_from(Places),
    gap=st.none() | st.builds(Gap, st.integers(1, 4), st.integers(0, 4), st.integers(0, 2)),
    swing=st.integers(50, 75).map(Fraction).map(WrittenSwing),
    written=st.sampled_from(list(OFF_BEATS)),
    rest=st.integers(0, 2),
)
def test_a_rest_sounds_as_the_count_in_of_what_follows(places, gap, swing, written, rest):
    meter = Meter.parse(written)
    tempo = Tempo(100.0, meter.unit)
    clicking = Clicking(places, swing, gap)
    run = clicks([meter] * 5, tempo, rest, clicking=clicking)
    with_rest = clicks([meter] * (5 + rest), tempo, 0, clicking=clicking, rest=rest)
    counted = [click for click in run if click.time_s < -1e-9]
    played = run[len(counted) :]
    assert with_rest[: len(played)] == played
    later_s = tempo.seconds(meter.length) * (5 + rest)
    resting = with_rest[len(played) :]
    assert [click.kind for click in resting] == [click.kind for click in counted]
    assert [click.time_s - later_s for click in resting] == pytest.approx(
        [click.time_s for click in counted]
    )
    times_s = [click.time_s for click in with_rest]
    assert times_s == sorted(times_s)


# The sticks, and the kit's own sounds.


def test_the_sticks_ring_in_the_modes_of_a_free_bar():
    """The squares of the roots of cos(x) cosh(x) = 1 over the first (scipy.optimize.brentq)."""
    roots = [
        brentq(lambda x: np.cos(x) - 1.0 / np.cosh(x), (n + 0.4) * np.pi, (n + 0.6) * np.pi)
        for n in range(1, 6)
    ]
    assert pytest.approx([(root / roots[0]) ** 2 for root in roots[2:]], abs=0.001) == BAR_MODES


def test_the_count_sounds_like_none_of_the_clicks():
    spectra = {}
    for kind in Kind:
        density = np.abs(np.fft.rfft(sample(kind, RATE), RATE)) ** 2
        spectra[kind] = density / np.sqrt(np.square(density).sum())
    for kind in (Kind.ONE, Kind.BEAT, Kind.OFF_BEAT, Kind.BETWEEN):
        assert spectra[Kind.COUNT] @ spectra[kind] < 0.1
    assert spectra[Kind.COUNT] @ spectra[Kind.COUNT_ONE] > 0.99
    loud, soft = (np.square(sample(k, RATE)).sum() for k in (Kind.COUNT_ONE, Kind.COUNT))
    assert loud > 2 * soft


def test_the_kit_plays_them_on_wood():
    """General MIDI Level 1 percussion key map, from pretty_midi, which begins at note 35."""
    names = {kind: DRUM_MAP[midi(kind)[0] - 35] for kind in Kind}
    assert {names[kind] for kind in (Kind.COUNT_ONE, Kind.COUNT)} == {"Side Stick"}
    assert names[Kind.ONE] == "Hi Wood Block"
    assert {names[k] for k in (Kind.BEAT, Kind.OFF_BEAT, Kind.BETWEEN)} == {"Low Wood Block"}
    assert CHANNEL == 10
    assert all(1 <= midi(kind)[1] <= 127 for kind in Kind)
    for louder, softer in (
        (Kind.COUNT_ONE, Kind.COUNT),
        (Kind.ONE, Kind.BEAT),
        (Kind.OFF_BEAT, Kind.BETWEEN),
        (Kind.BEAT, Kind.BETWEEN),
    ):
        assert midi(louder)[1] > midi(softer)[1]
