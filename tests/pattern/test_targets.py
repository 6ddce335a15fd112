"""Targets against the same places in exact fractions."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from playalong.pattern.meter import WrittenSwing
from playalong.pattern.model import Bar, Pattern, Stroke
from playalong.pattern.reader import read
from playalong.pattern.targets import DYNAMICS, lay_out
from playalong.pattern.voices import STAFF_ORDER

from .made_patterns import Made, patterns

OFTEN = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def varied(pattern: Pattern, names: list[str]) -> list[list[Stroke]]:
    """The strokes of each bar with variations, as the model says it in words."""
    bars = [{(item.at, item.voice): item for item in bar.strokes} for bar in pattern.bars]
    for name in names:
        for change in pattern.variations[name].changes:
            before = dict(bars[change.bar])
            for place in change.taken:
                bars[change.bar].pop(place, None)
            for item in change.added:
                was = before.get((item.at, item.voice))
                hand = item.hand or (was.hand if was else None)
                bars[change.bar][item.at, item.voice] = replace(item, hand=hand)
    return [list(bar.values()) for bar in bars]


def swung(bar: Bar, at: Fraction, swing: WrittenSwing) -> Fraction:
    """Where a stroke of a beat that is not counted in triplets sounds: by halves of a pair."""
    into = at % swing.pair
    first = swing.pair * swing.percent / 100
    second = swing.pair - first
    if into < swing.note:
        return at - into + into * first / swing.note
    return at - into + first + (into - swing.note) * second / swing.note


def exact(
    pattern: Pattern, bpm: Fraction, bars: int, *, names: list[str]
) -> list[tuple[Fraction, int, int, Stroke]]:
    """(seconds, place in staff order, bar of the run, stroke), in order."""
    strokes = varied(pattern, names)
    whole_s = 60 / (bpm * min(pattern.meter.beats))
    begin, rows = Fraction(0), []
    for number in range(bars):
        bar = pattern.bars[number % len(pattern.bars)]
        for item in strokes[number % len(strokes)]:
            at = item.at if pattern.swing.is_straight else swung(bar, item.at, pattern.swing)
            rows.append(((begin + at) * whole_s, STAFF_ORDER[item.voice], number, item))
        begin += sum(bar.meter.beats)
    return sorted(rows, key=lambda row: row[:2])


@OFTEN
@given(patterns(), st.integers(1, 8), st.fractions(20, 400, max_denominator=7), st.data())
def test_targets_lie_where_fractions_say(made: Made, bars: int, bpm: Fraction, data: st.DataObject):
    pattern = made.pattern
    names = (
        data.draw(st.lists(st.sampled_from(list(pattern.variations)), unique=True))
        if (pattern.variations)
        else []
    )
    written = pattern.with_variations(names)
    # Swing and triplets meet in a test of their own.
    plain = all(parts % 3 for bar in written for parts in bar.divisions)
    assume(pattern.swing.is_straight or plain)
    start_s = data.draw(st.sampled_from([0.0, 2.5]))
    targets = lay_out(pattern, float(bpm), bars, variations=names, start_s=start_s)
    rows = exact(pattern, bpm, bars, names=names)

    assert len(targets) == len(rows)
    seconds = np.array([start_s + float(row[0]) for row in rows])
    np.testing.assert_allclose(targets.time_s, seconds, rtol=0, atol=1e-9)
    assert targets.voice.tolist() == [row[1] for row in rows]
    assert targets.bar.tolist() == [row[2] for row in rows]
    assert [DYNAMICS[code] for code in targets.dynamic] == [row[3].dynamic for row in rows]
    assert targets.graces.tolist() == [row[3].graces for row in rows]
    assert targets.optional.tolist() == [row[3].optional for row in rows]
    assert [targets.places[index].stroke for index in targets.place] == [row[3] for row in rows]
    assert [targets.places[index].bar for index in targets.place] == [
        row[2] % len(written) for row in rows
    ]
    assert targets.names == tuple(row[3].voice for row in rows)

    whole_s = 60 / (bpm * min(pattern.meter.beats))
    lengths = [sum(written[number % len(written)].meter.beats) for number in range(bars)]
    begins = [start_s + float(sum(lengths[:number]) * whole_s) for number in range(bars + 1)]
    np.testing.assert_allclose(targets.bar_starts_s, begins[:-1], rtol=0, atol=1e-9)
    assert targets.end_s == pytest.approx(begins[-1], abs=1e-9)
    assert (targets.start_s, targets.bars) == (start_s, bars)
    np.testing.assert_allclose(
        targets.time_s, start_s + targets.written * targets.seconds_per_whole, atol=1e-9
    )


@OFTEN
@given(patterns(), st.integers(1, 5), st.fractions(-1, 2, max_denominator=16))
def test_a_run_broken_off_keeps_what_came_before(made: Made, bars: int, share: Fraction):
    whole = lay_out(made.pattern, 100.0, bars)
    time_s = float(share) * whole.end_s
    part = whole.until(time_s)
    count = int((whole.time_s < time_s).sum())
    for name in ("time_s", "written", "voice", "dynamic", "graces", "optional", "bar", "place"):
        np.testing.assert_array_equal(getattr(part, name), getattr(whole, name)[:count])
    assert part.bars == max(1, int((whole.bar_starts_s < time_s).sum()))
    assert part.end_s == min(whole.end_s, max(time_s, 0.0))
    assert part.places == whole.places


def test_a_run_broken_off_keeps_no_stroke_of_a_bar_that_is_not_begun():
    """Along a player who came back too soon a bar's first stroke may lie before its own start."""
    pattern = read('title = "T"\nmeter = "4/4"\ntempo = 60\n[[bar]]\nsnare = "x x x x"\n', "t")
    whole = lay_out(pattern, 60.0, 3)
    early = replace(whole, time_s=np.where(whole.bar == 2, whole.time_s - 1.0, whole.time_s))
    part = early.until(7.5)
    assert part.bars == 2
    assert part.bar.tolist() == [0, 0, 0, 0, 1, 1, 1, 1]


SWING = """
title = "T"
meter = "4/4"
tempo = 60
swing = 66
[[bar]]
hi-hat = "xx xxx xxxx x--x"
kick   = "x- x-- -x   x-x-"
"""


def test_sixteenths_swing_along_and_triplets_do_not():
    """At 60 a quarter lasts a second, so places within a beat are shares of it."""
    targets = lay_out(read(SWING, "t"), 60.0)
    hat = targets.time_s[targets.voice == STAFF_ORDER["hi-hat"]]
    kick = targets.time_s[targets.voice == STAFF_ORDER["kick"]]
    beats = [[0, 0.66], [0, 1 / 3, 2 / 3], [0, 0.33, 0.66, 0.83], [0, 0.83]]
    expected = [beat + at for beat, places in enumerate(beats) for at in places]
    np.testing.assert_allclose(hat, expected, atol=1e-9)
    np.testing.assert_allclose(kick, [0, 1, 2.66, 3, 3.66], atol=1e-9)


def test_a_long_run_does_not_drift_from_its_fractions():
    text = 'title = "T"\nmeter = "7/8"\ntempo = 60\n[[bar]]\nsnare = "xxx - - - - - -"\n'
    bars, bpm = 5000, Fraction(137)
    targets = lay_out(read(text, "t"), float(bpm), bars)
    last = Fraction(7, 8) * (bars - 1) + Fraction(1, 12)
    assert targets.time_s[-1] == pytest.approx(float(last * 8 * 60 / bpm), abs=1e-8)


def test_variations_apply_in_the_order_given():
    text = (
        'title = "T"\nmeter = "1/4"\ntempo = 60\n[[bar]]\nsnare = "x"\n'
        '[variation.loud]\nsnare = "X"\n[variation.soft]\nsnare = "g"\n'
    )
    pattern = read(text, "t")
    for names, dynamic in ((["loud", "soft"], "ghost"), (["soft", "loud"], "accent")):
        targets = lay_out(pattern, 60.0, 1, variations=names)
        assert [DYNAMICS[code] for code in targets.dynamic] == [dynamic]


def test_an_unknown_variation_is_a_key_error():
    with pytest.raises(KeyError):
        lay_out(read(SWING, "t"), 60.0, 1, variations=["nowhere"])


def test_voices_are_those_of_any_line_that_may_be_played():
    text = (
        'title = "T"\nmeter = "1/4"\ntempo = 60\n[[bar]]\nsnare = "x"\nkick = "-"\n'
        '[variation.a]\nride = "x"\n'
    )
    assert lay_out(read(text, "t"), 60.0).voices == ("ride", "snare")


def test_a_sextuplet_stays_straight_under_swing_to_its_last_note():
    """Its fourth note stands on the &, but belongs to the triplets of its voice."""
    text = (
        'title = "T"\nmeter = "2/4"\ntempo = 60\nswing = 66\n[[bar]]\n'
        'snare = "xxxxxx xx"\nhi-hat = "xx xx"\n'
    )
    targets = lay_out(read(text, "t"), 60.0)
    by_voice = {
        name: [t for t, own in zip(targets.time_s, targets.names, strict=True) if own == name]
        for name in ("snare", "hi-hat")
    }
    assert by_voice["snare"] == pytest.approx([0, 1 / 6, 2 / 6, 3 / 6, 4 / 6, 5 / 6, 1, 1.66])
    assert by_voice["hi-hat"] == pytest.approx([0, 0.66, 1, 1.66])
