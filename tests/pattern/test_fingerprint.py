"""The fingerprint is the same for what means the same, and another for whatever is played else."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.model import Dynamic, Hand, Pattern
from playalong.pattern.reader import read
from playalong.pattern.writer import write
from tests.helpers.shipped import SHIPPED

from .made_patterns import Made, patterns

OFTEN = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
TEXT = """
title = "One"
meter = "4/4"
tempo = 84
[[bar]]
hi-hat = "xx xx xx xx"
snare  = "-- Xg -- X-"
kick   = "x- -- x- --"
[variation.more]
kick = "-- -x -- --"
[variation.less]
snare = "-- -. -- --"
"""
#: The same to a player, written by somebody else.
SAME = """
# the same groove
practice = { start = 50, goal = 84 }
about = "for Tuesday"
tempo = 84.0
meter = "1+1+1+1/4"
title = "The one of last week"
swing = 50
[[chunk]]
name = "the turn"
from = 2
to = 3
[[bar]]
kick   = "x--- - x--- -"
snare  = "- X-g- - X"
hi-hat = "x-x- x-x- x-x- x-x-"
[variation.less]
bars  = [1]
snare = "- --.- - -"
[variation.more]
about = "one more kick"
kick  = "- -x - -"
"""
ONE = read(TEXT, "one")


def test_how_a_pattern_is_written_makes_no_difference():
    assert pattern_id(read(SAME, "another")) == pattern_id(ONE)


@OFTEN
@given(patterns())
def test_writing_and_reading_keep_it(made: Made):
    assert pattern_id(read(write(made.pattern), "again")) == pattern_id(made.pattern)


@pytest.mark.parametrize(
    ("was", "now"),
    [
        ("tempo = 84", "tempo = 85"),
        ('meter = "4/4"', 'meter = "4/4"\nswing = 60'),
        ('meter = "4/4"', 'meter = "4/4"\nswing = 60\nswung = "sixteenths"'),
        ('hi-hat = "xx xx', 'hi-hat = "xo xx'),
        ('hi-hat = "xx xx', 'hi-hat = "xx? xx'),
        ('hi-hat = "xx xx', 'sticking = "RL -- -- --"\nhi-hat = "xx xx'),
        ("Xg -- X-", "Xg -- x-"),
        ("Xg -- X-", "Xg -- F-"),
        ("Xg -- X-", "Xg -- XX"),
        ("Xg -- X-", "Xg -- -X"),
        ("kick   = ", "floor-tom = "),
        ('kick = "-- -x', 'kick = "-- x-'),
        ("[variation.more]", "[variation.most]"),
        ("[variation.more]", "[[bar]]\nsnare = '- -g - -'\n[variation.more]"),
        ('snare = "-- -.', 'snare = "-- .-'),
        ('snare = "-- -.', 'snare = "-- -x'),
    ],
)
def test_whatever_is_played_else_makes_one(was, now):
    assert TEXT.count(was) == 1
    assert pattern_id(read(TEXT.replace(was, now), "one")) != pattern_id(ONE)


@OFTEN
@given(patterns(), st.data())
def test_a_change_of_one_stroke_is_seen(made: Made, data: st.DataObject):
    pattern = made.pattern
    number = data.draw(st.sampled_from([n for n, bar in enumerate(pattern.bars) if bar.strokes]))
    bar = pattern.bars[number]
    at = data.draw(st.integers(0, len(bar.strokes) - 1))
    stroke = bar.strokes[at]
    other = data.draw(
        st.sampled_from(
            [
                replace(stroke, at=stroke.at + Fraction(1, 1000)),
                replace(stroke, voice="splash"),
                replace(stroke, optional=not stroke.optional),
                replace(stroke, graces=stroke.graces + 1),
                replace(stroke, is_open=not stroke.is_open),
                replace(stroke, hand=Hand.LEFT if stroke.hand is Hand.RIGHT else Hand.RIGHT),
                replace(
                    stroke,
                    dynamic=Dynamic.GHOST
                    if stroke.dynamic is not Dynamic.GHOST
                    else Dynamic.ACCENT,
                ),
            ]
        )
    )
    strokes = (*bar.strokes[:at], other, *bar.strokes[at + 1 :])
    bars = (*pattern.bars[:number], replace(bar, strokes=strokes), *pattern.bars[number + 1 :])
    assert pattern_id(replace(pattern, bars=bars)) != pattern_id(pattern)


def test_shipped_patterns_differ():
    found: dict[str, Pattern] = {}
    for pattern in SHIPPED.values():
        assert found.setdefault(pattern_id(pattern), pattern) is pattern
    assert len(found) > 20
