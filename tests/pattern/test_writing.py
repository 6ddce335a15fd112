"""Reading and writing are each other's inverse, and reading means what the file format says."""

import re
from fractions import Fraction

from hypothesis import HealthCheck, given, settings

from playalong.pattern.reader import read
from playalong.pattern.writer import write

from .made_patterns import Made, patterns

OFTEN = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


@OFTEN
@given(patterns())
def test_a_file_means_what_is_written(made: Made):
    assert read(made.text, "made") == made.pattern


@OFTEN
@given(patterns())
def test_what_is_written_reads_as_it_was(made: Made):
    again = read(write(made.pattern), "made")
    assert again == made.pattern
    assert list(again.variations) == list(made.pattern.variations)


@OFTEN
@given(patterns())
def test_writing_again_changes_nothing(made: Made):
    text = write(made.pattern)
    assert write(read(text, "made")) == text


def test_groups_of_a_beat_stand_below_each_other():
    text = (
        'title = "T"\nmeter = "4/4"\ntempo = 90\n[[bar]]\n'
        'hi-hat = "xx xxx xx xx"\nsnare = "--g- x - x?---"\n'
    )
    bar = write(read(text, "t")).partition("[[bar]]\n")[2].splitlines()
    hat, snare = ([group.start() for group in re.finditer(r"[^ ]+", line)][2:] for line in bar)
    assert len(hat) == 4
    assert hat == snare


def test_a_variation_may_change_each_bar_differently_and_its_hands():
    text = (
        'title = "T"\nmeter = "4/4"\ntempo = 90\n'
        '[[bar]]\nsnare = "xx xx xx xx"\nsticking = "RL RR LR LL"\nkick = "x- -- -- --"\n'
        '[[bar]]\nsnare = "x x x x"\n'
        '[variation.turn]\nabout = "turned round"\n'
        '[[variation.turn.bar]]\nbars = [1]\nsnare = "X- -- -- --"\nsticking = "-- LL -- R-"\n'
        '[[variation.turn.bar]]\nbars = [2]\nsnare = "- - - ."\n'
    )
    pattern = read(text, "t")
    first, second = pattern.with_variations(["turn"])
    snare = [stroke for stroke in first.strokes if stroke.voice == "snare"]
    assert "".join(stroke.hand or "-" for stroke in snare) == "RLLLLRRL"
    assert [str(stroke.dynamic) for stroke in snare] == ["accent"] + ["normal"] * 7
    assert [stroke.at for stroke in second.strokes] == [Fraction(n, 4) for n in range(3)]
    again = read(write(pattern), "t")
    assert again == pattern
    assert write(again) == write(pattern)


def test_hands_of_a_variation_stay_where_only_one_of_two_changes():
    """The right hand moves below the left, whose stroke is the same as before."""
    text = (
        'title = "T"\nmeter = "2/4"\ntempo = 90\n'
        '[[bar]]\nride = "x x"\nsnare = "x -"\nsticking = "R R"\n'
        '[variation.down]\nride = ". -"\nfloor-tom = "x -"\nsticking = "L -"\n'
    )
    pattern = read(text, "t")
    (bar,) = pattern.with_variations(["down"])
    assert [(stroke.voice, stroke.hand) for stroke in bar.strokes[:2]] == [
        ("snare", "L"),
        ("floor-tom", "R"),
    ]
    assert read(write(pattern), "t") == pattern
