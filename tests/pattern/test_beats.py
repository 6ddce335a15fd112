"""Meters, beats, swing, and the spoken count."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.pattern.meter import (
    NOTES,
    SPOKEN,
    STRAIGHT,
    Meter,
    Tempo,
    WrittenSwing,
    spoken_count,
)
from playalong.pattern.model import Stroke, divisions

from .made_patterns import METERS

F = Fraction


@pytest.mark.parametrize(
    ("written", "beats", "unit", "length"),
    [  # (common practice)
        ("4/4", [F(1, 4)] * 4, F(1, 4), F(1)),
        ("3/4", [F(1, 4)] * 3, F(1, 4), F(3, 4)),
        ("2/2", [F(1, 2)] * 2, F(1, 2), F(1)),
        ("3/8", [F(1, 8)] * 3, F(1, 8), F(3, 8)),
        ("6/8", [F(3, 8)] * 2, F(3, 8), F(3, 4)),
        ("12/8", [F(3, 8)] * 4, F(3, 8), F(3, 2)),
        ("6/4", [F(1, 4)] * 6, F(1, 4), F(3, 2)),
        ("9/16", [F(3, 16)] * 3, F(3, 16), F(9, 16)),
        ("7/8", [F(1, 8)] * 7, F(1, 8), F(7, 8)),
        ("2+2+3/8", [F(1, 4), F(1, 4), F(3, 8)], F(1, 4), F(7, 8)),
        ("3+2+2/8", [F(3, 8), F(1, 4), F(1, 4)], F(1, 4), F(7, 8)),
    ],
)
def test_a_meter_has_the_beats_that_are_felt(written, beats, unit, length):
    meter = Meter.parse(written)
    assert list(meter.beats) == beats
    assert (meter.unit, meter.length, meter.written) == (unit, length, written)


@pytest.mark.parametrize("written", METERS)
def test_beats_begin_where_the_one_before_ends(written):
    meter = Meter.parse(written)
    assert meter.beat_starts[0] == 0
    gaps = [after - before for before, after in pairwise([*meter.beat_starts, meter.length])]
    assert gaps == list(METERS[written])


@given(st.sampled_from(list(METERS)), st.fractions(0, 1))
def test_every_position_lies_in_its_beat(written, share):
    meter = Meter.parse(written)
    at = share * meter.length * F(999, 1000)
    beat = meter.beat_of(at)
    assert meter.beat_starts[beat] <= at < meter.beat_starts[beat] + meter.beats[beat]


@pytest.mark.parametrize(
    ("written", "parts", "spoken"),
    [  # (common practice)
        ("4/4", 1, "1|2|3|4"),
        ("3/4", 2, "1|& of 1|2|& of 2|3|& of 3"),
        ("2/4", 4, "1|e of 1|& of 1|a of 1|2|e of 2|& of 2|a of 2"),
        ("2/4", 3, "1|trip of 1|let of 1|2|trip of 2|let of 2"),
        ("4/16", 1, "1|2|3|4"),
        (
            "6/8",
            6,
            "1|ta after 1|& of 1|ta after & of 1|a of 1|ta after a of 1|"
            "2|ta after 2|& of 2|ta after & of 2|a of 2|ta after a of 2",
        ),
        ("6/8", 3, "1|& of 1|a of 1|2|& of 2|a of 2"),
        ("7/8", 1, "1|2|3|4|5|6|7"),
        ("1/4", 8, "1||e of 1||& of 1||a of 1|"),
        ("2/4", 5, "1|||||2||||"),
    ],
)
def test_the_count_is_spoken_as_drummers_do(written, parts, spoken):
    meter = Meter.parse(written)
    places = [
        start + length * index / parts
        for start, length in zip(meter.beat_starts, meter.beats, strict=True)
        for index in range(parts)
    ]
    for at, word in zip(places, spoken.split("|"), strict=True):
        into = at % meter.unit / meter.unit
        assert meter.count(at) == (word or f"{into} into beat {meter.beat_of(at) + 1}")


@given(st.sampled_from(list(METERS)), st.integers(1, 16))
def test_no_two_places_are_spoken_alike(written, parts):
    meter = Meter.parse(written)
    told = [
        meter.count(start + length * index / parts)
        for start, length in zip(meter.beat_starts, meter.beats, strict=True)
        for index in range(parts)
    ]
    assert len(set(told)) == len(told)


def test_unequal_beats_are_counted_each_in_its_own_parts():
    meter = Meter.parse("2+2+3/8")
    told = [meter.count(F(eighth, 8)) for eighth in range(7)]
    assert told == ["1", "& of 1", "2", "& of 2", "3", "& of 3", "a of 3"]


@given(st.integers(1, 48))
def test_there_is_a_word_or_nothing_for_every_part(parts):
    words = spoken_count(parts)
    assert len(words) == parts
    assert words[0] == ""
    assert any(words) == (parts in SPOKEN and parts > 1)


@pytest.mark.parametrize(
    ("text", "groups", "counted"),
    [
        ("6/8", (3, 3), "& of 1"),
        ("6/8 in 2", (3, 3), "& of 1"),
        ("6/8 in 6", (1,) * 6, "2"),
        ("12/8 in 12", (1,) * 12, "2"),
        ("12/8 in 4", (3,) * 4, "& of 1"),
        ("3/4 in 1", (3,), "& of 1"),
        ("9/8 in 9", (1,) * 9, "2"),
    ],
)
def test_a_meter_is_counted_as_it_says(text, groups, counted):
    """The second unit of the bar: common practice counts 6/8 in two and, slowly, in six."""
    meter = Meter.parse(text)
    assert meter.groups == groups
    assert meter.length == F(sum(groups), meter.denominator)
    assert meter.count(F(1, meter.denominator)) == counted


FOUR = Meter.parse("4/4")
SWINGS = st.builds(
    WrittenSwing, st.fractions(50, 80, max_denominator=12), st.sampled_from(list(NOTES))
)
PLACES = st.fractions(0, 1, max_denominator=96).filter(lambda at: at < 1)


@given(PLACES, SWINGS)
def test_swing_stretches_each_half_of_a_pair_evenly(at, swing):
    """Against numpy's linear interpolation between the three points that swing is defined by."""
    pair, into = divmod(at, swing.pair)
    known = [0.0, float(swing.percent) / 100.0, 1.0]
    share = np.interp(float(into / swing.pair), [0.0, 0.5, 1.0], known)
    found = float(FOUR.swung(at, swing) / swing.pair)
    assert found == pytest.approx(int(pair) + share, abs=1e-12)


@given(PLACES)
def test_fifty_is_straight(at):
    assert FOUR.swung(at, STRAIGHT) == at


@given(st.integers(0, 3), SWINGS)
def test_the_second_note_comes_after_its_share_of_the_pair(pair, swing):
    first = pair * swing.pair
    assert FOUR.swung(first + swing.note, swing) == first + swing.pair * swing.percent / 100
    assert FOUR.swung(first, swing) == first


@given(PLACES, PLACES, SWINGS)
def test_swing_never_changes_the_order(one, other, swing):
    swung = FOUR.swung(one, swing), FOUR.swung(other, swing)
    assert (swung[0] < swung[1]) == (one < other)


@given(
    st.fractions(20, 400, max_denominator=10),
    st.sampled_from([F(1, 4), F(1, 8), F(3, 8), F(1, 2)]),
    st.fractions(0, 100, max_denominator=48),
    st.integers(-10, 10),
)
def test_a_tempo_counts_its_unit_in_a_minute(bpm, unit, whole, start):
    exact = start + whole / unit * 60 / bpm
    tempo = Tempo(float(bpm), unit, float(start))
    assert tempo.seconds(whole) == pytest.approx(float(exact), abs=1e-9)


def test_divisions_are_the_coarsest_grid_that_has_a_place_for_all():
    strokes = [
        Stroke(at=F(1, 8), voice="snare"),
        Stroke(at=F(1, 4) + F(1, 12), voice="kick"),
        Stroke(at=F(5, 16), voice="kick"),
    ]
    assert divisions(FOUR, strokes) == (2, 12, 1, 1)
    assert divisions(FOUR, strokes, (4, 1, 3, 1)) == (4, 12, 3, 1)
