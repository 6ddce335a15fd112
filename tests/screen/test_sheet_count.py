from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.pattern.meter import WrittenSwing
from playalong.pattern.model import Stroke
from playalong.pattern.targets import lay_out
from playalong.screen.sheet.count import Count, Weight, count_of

from .screen_samples import a_bar, a_pattern, a_run, crowded_bar, groove_bar


def spoken(bar) -> str:
    return " ".join(said.words or "-" for said in count_of(bar))


def test_sixteenths_are_counted_one_e_and_a():  # (common practice)
    assert spoken(crowded_bar()) == "1 e & a 2 e & a 3 e & a 4 e & a"


def test_each_beat_is_counted_in_its_own_parts():  # (common practice)
    third = Fraction(1, 12)
    strokes = [
        Stroke(at=Fraction(0), voice="kick"),
        *(Stroke(at=third * (3 + n), voice="snare") for n in range(3)),
    ]
    assert spoken(a_bar(strokes)) == "1 2 trip let 3 4"


def test_uneven_beats_are_counted_by_their_numbers():
    assert spoken(a_bar([Stroke(at=Fraction(0), voice="kick")], "2+2+3/8")) == "1 2 3"


@given(st.builds(WrittenSwing, st.fractions(50, 75)))
def test_the_count_stands_where_the_strokes_sound(swing):
    pattern = a_pattern([groove_bar(), crowded_bar()], swing)
    targets = lay_out(pattern, 84.0, 5, start_s=3.0)
    count = Count(targets, pattern.bars, swing)
    ticks = [tick.time_s for tick in count.between(targets.start_s, targets.end_s)]
    for time_s in targets.time_s.tolist():
        assert min(abs(tick - time_s) for tick in ticks) < 1e-9


@pytest.mark.parametrize("bars", [1, 2, 7])
def test_each_bar_has_its_one_at_its_start(bars):
    targets, written = a_run(bars)
    count = Count(targets, written)
    ones = [t for t in count.between(-9.0, 99.0) if t.weight is Weight.BAR]
    assert [tick.time_s for tick in ones] == pytest.approx(targets.bar_starts_s.tolist())
    assert [tick.bar for tick in ones] == list(range(bars))


def test_a_stretch_holds_what_lies_in_it():
    targets, written = a_run(4)
    count = Count(targets, written)
    whole = list(count.between(-1.0, 99.0))
    assert list(count.between(2.0, 5.0)) == [t for t in whole if 2.0 <= t.time_s <= 5.0]
    assert list(count.between(targets.end_s, 99.0)) == []


def test_the_closest_neighbours():
    targets, written = a_run(2)
    beat_s = 60.0 / 84.0
    closest_s = Count(targets, written).closest_s
    assert closest_s[Weight.PART] == pytest.approx(beat_s / 4)
    assert closest_s[Weight.BEAT] == pytest.approx(beat_s)
    assert closest_s[Weight.BAR] == pytest.approx(4 * beat_s)
