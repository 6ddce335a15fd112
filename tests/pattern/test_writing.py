"""Reading and writing are each other's inverse, and reading means what the file format says."""

import re
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings

from playalong.pattern.model import Change, Pattern, Variation
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


def test_a_variation_that_changes_its_bars_differently_cannot_be_written():
    pattern = read(
        'title = "T"\nmeter = "4/4"\ntempo = 90\n'
        '[[bar]]\nsnare = "x x x x"\n[[bar]]\nsnare = "x x x x"\n',
        "t",
    )
    changes = (
        Change(0, taken=((Fraction(0), "snare"),)),
        Change(1, taken=((Fraction(1, 4), "snare"),)),
    )
    fields = {"variations": {"odd": Variation("odd", "", changes)}}
    with pytest.raises(ValueError, match='"odd" changes its bars differently'):
        write(
            Pattern(
                name=pattern.name,
                title=pattern.title,
                meter=pattern.meter,
                tempo=90.0,
                bars=pattern.bars,
                **fields,
            )
        )
