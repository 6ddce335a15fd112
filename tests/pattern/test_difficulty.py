"""The formula of difficulty: its parts, its laws, and a measure held against a paper."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.pattern.library.difficulty import WEIGHTS, difficulty, note_to_beat
from playalong.pattern.model import Dynamic, PatternKind
from playalong.pattern.reader import read
from playalong.records.pattern_files import library
from tests.helpers.shipped import SHIPPED

#: Five bell patterns in sixteenths, and their weighted note-to-beat distance: Gómez, Melvin,
#: Rappaport, Toussaint, "Mathematical Measures of Syncopation", BRIDGES 2005, table 2 (the figures
#: from memory; of son, rumba and bossa-nova worked out by hand from the paper's definition).
PUBLISHED = {
    "shiko": ("x---x-x---x-x---", 6 / 5),
    "son": ("x--x--x---x-x---", 14 / 5),
    "rumba": ("x--x---x--x-x---", 18 / 5),
    "bossa-nova": ("x--x--x---x--x--", 20 / 5),
    "gahu": ("x--x--x---x---x-", 18 / 5),
}
BEATS = [Fraction(beat) for beat in range(4)]


@pytest.mark.parametrize("name", PUBLISHED)
def test_syncopation_is_that_of_the_paper(name):
    line, figure = PUBLISHED[name]
    notes = [Fraction(at, 4) for at, sign in enumerate(line) if sign == "x"]
    assert note_to_beat(notes, BEATS, Fraction(4)) == pytest.approx(figure)


def of(text: str) -> object:
    return difficulty(read(f'title = "T"\nmeter = "4/4"\ntempo = 90\n[[bar]]\n{text}', "t"))


def test_more_of_each_is_harder():
    plain = of('hi-hat = "x- x- x- x-"\nsnare = "-- x- -- x-"\nkick = "x- -- x- --"')
    dense = of('hi-hat = "xx xx xx xx"\nsnare = "-- x- -- x-"\nkick = "x- -- x- --"')
    off = of('hi-hat = "x- x- x- x-"\nsnare = "-- x- -- x-"\nkick = "x- -x -- --"')
    loud = of('hi-hat = "x- x- x- x-"\nsnare = "-- X- -- g-"\nkick = "x- -- x- --"')
    foot = of(
        'hi-hat = "x- x- x- x-"\nsnare = "-- x- -- x-"\nkick = "x- x- x- -x"\n'
        'hi-hat-pedal = "-- x- -x --"'
    )
    assert dense.density > plain.density
    assert off.syncopation > plain.syncopation == 0.0
    assert loud.dynamics > plain.dynamics == 0.0
    assert foot.limbs > plain.limbs
    assert dense.tempo > plain.tempo


@given(st.sampled_from(library().names()), st.floats(30, 300), st.floats(30, 300))
def test_faster_is_never_easier_and_all_stays_in_its_range(name, one, other):
    pattern = library().get(name)
    slow, fast = (difficulty(pattern, bpm) for bpm in sorted((one, other)))
    assert 0.0 <= slow.figure <= fast.figure <= 100.0
    for part in WEIGHTS:
        assert 0.0 <= getattr(slow, part) <= getattr(fast, part) <= 1.0


def test_the_weights_are_whole():
    assert sum(WEIGHTS.values()) == pytest.approx(1.0)


def test_a_groove_without_its_ghost_notes_is_easier():
    pattern = library().get("late-bus-home")
    bars = tuple(
        replace(bar, strokes=tuple(s for s in bar.strokes if s.dynamic is not Dynamic.GHOST))
        for bar in pattern.bars
    )
    assert difficulty(replace(pattern, bars=bars)).figure < difficulty(pattern).figure


def test_the_first_beat_comes_before_grooves_with_ghost_notes():
    grooves = {name: one for name, one in SHIPPED.items() if one.kind is PatternKind.GROOVE}
    figures = {name: difficulty(one).figure for name, one in grooves.items()}
    order = sorted(figures, key=figures.__getitem__)
    assert order.index("boots-by-the-door") < 5
    for hard in ("late-bus-home", "coins-in-a-jar"):
        assert order.index(hard) > len(order) // 3
    assert max(figures.values()) - min(figures.values()) > 30
