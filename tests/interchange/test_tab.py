"""Drum tab as people post it, in and out."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, assume, given, settings

from playalong.interchange.tab.form import not_carried
from playalong.interchange.tab.reader import read
from playalong.interchange.tab.writer import write
from playalong.pattern.model import Bar, Pattern
from playalong.records.pattern_files import library
from playalong.support.errors import UserError
from tests.fuzz.damage import samples
from tests.pattern.made_patterns import Made, patterns, unrolled

#: A groove as it might be posted: a legend, a count, two systems, one of them twice.
POSTED = samples("tabs")[0].decode().partition("and then")[0]


def strokes(bars: tuple[Bar, ...]) -> list[tuple[object, ...]]:
    return [(bar.meter, *(replace(one, optional=False) for one in bar.strokes)) for bar in bars]


def without_hands(bars: tuple[Bar, ...]) -> list[list[object]]:
    return [[replace(one, optional=False, hand=None) for one in bar.strokes] for bar in bars]


def same(pattern: Pattern, again: Pattern) -> None:
    assert strokes(again.bars) == strokes(pattern.bars)
    assert (again.title, again.tempo, again.swing) == (pattern.title, pattern.tempo, pattern.swing)


def test_the_whole_library_comes_back():
    for name in library().names():
        pattern = library().get(name)
        found = read(write(pattern), f"{name}.tab")
        same(unrolled(pattern), found.pattern)
        for variation in pattern.variations:
            bars = pattern.with_variations([variation])
            varied = read(write(replace(pattern, bars=bars)), f"{name}.tab").pattern
            # Of two hands together one is written: a stroke that a variation adds has none.
            asked = unrolled(replace(pattern, bars=bars)).bars
            assert without_hands(varied.bars) == without_hands(asked), (name, variation)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(patterns())
def test_generated_patterns_come_back(made: Made):
    pattern = replace(made.pattern, title="A Title", meter=made.pattern.bars[0].meter)
    try:
        text = write(pattern)
    except UserError:  # more columns than anybody reads
        assume(False)
    same(unrolled(pattern), read(text, "made.tab").pattern)


def test_a_groove_as_people_post_it():
    found = read(POSTED, "cellar-stairs.txt")
    pattern = found.pattern
    assert (pattern.title, pattern.tempo, pattern.meter.written) == ("Cellar Stairs", 92.0, "4/4")
    assert [len(bar.strokes) for bar in pattern.bars] == [15, 15]
    first, second = pattern.bars
    assert [s.at for s in first.strokes if s.voice == "kick"] == [
        Fraction(0),
        Fraction(3, 8),
        Fraction(5, 8),
    ]
    snare = [(str(s.at), str(s.dynamic), s.graces) for s in second.strokes if s.voice == "snare"]
    assert snare == [
        ("1/4", "accent", 0),
        ("7/16", "ghost", 0),
        ("9/16", "ghost", 0),
        ("3/4", "normal", 1),
    ]
    assert [s.is_open for s in second.strokes if s.voice == "hi-hat"] == [False] * 7 + [True]
    assert any("2 bars, 2 times the same" in words for words in found.notices)


def test_a_legend_of_the_file_goes_before_what_is_usual():
    text = (
        "Time: 3/4\nW = hi-hat\nZ: bass drum\nk: accent\n. = ghost note\n"
        "W |x.k|\nZ |o--|\nRD|b--|\n"
    )
    (bar,) = read(text, "own.tab").pattern.bars
    assert [(s.voice, str(s.dynamic)) for s in bar.strokes] == [
        ("hi-hat", "normal"),
        ("ride-bell", "normal"),
        ("kick", "normal"),
        ("hi-hat", "ghost"),
        ("hi-hat", "accent"),
    ]


def test_repeats_are_unrolled_and_what_is_not_said_is_told():
    found = read("HH|x-x-x-x-|:o---x---:|\nBD|x---x---|:x-------:| x3\n", "again.tab")
    assert len(found.pattern.bars) == 4
    assert [s.is_open for s in found.pattern.bars[3].strokes if s.voice == "hi-hat"] == [
        True,
        False,
    ]
    assert found.notices == ("It says no time: 4/4 is taken.", "It says no tempo: 90 bpm is taken.")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("no bar at all", "has no bar of drum tab in it"),
        ("QQ|x-x-|", 'line 1: "QQ" is no voice that is known'),
        ("HH|x-x-|\nSD|--q-|", 'line 2, column 6: "q" is no stroke of snare that is known'),
        ("HH|x-x-|\nSD|--x|", "line 2, column 4: bar 1 has 3 columns, in line 1 it has 4"),
        ("HH|x-x-|x-x-|\nSD|--x-|", "line 2: this line has 1 bar, line 1 has 2"),
        ("HH|x-x-|\nST|R-Q-|", 'line 2, column 6: "Q" is no hand'),
        ("Time: 6/7\nHH|x-x-|", 'line 1: "6/7" is no meter'),
        ("Tempo: 900\nHH|x-x-|", "line 1: Tempo: 900 is no tempo"),
        ("Swing: 90 %\nHH|x-x-|", "line 1: swing is 50 to 80 %"),
        ("HH|" + "x" * 13 * 64 + "|", "which are no even parts of the beats of 4/4"),
        ("HH|" + "x-x-|" * 1_001, "more than 1,000 bars are no groove"),
    ],
)
def test_what_cannot_be_understood_is_told_with_its_line(text: str, told: str):
    with pytest.raises(UserError) as error:
        read(text, "bad.tab")
    assert told in error.value.lines[0]
    assert error.value.lines[0].startswith("bad.tab")


def test_what_tab_has_no_place_for_is_told():
    told = " ".join(not_carried(library().get("spare-key-on-a-nail")))
    assert "optional strokes" in told
    assert "variations that --variation does not name are left out" in told
    bare = replace(library().get("boots-by-the-door"), variations={}, about="", trains=())
    assert not_carried(bare) == ["chunks and what is asked of a lesson are left out"]
