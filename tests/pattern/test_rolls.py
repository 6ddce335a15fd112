"""Rolls as they are written: how long, how many strokes, and what becomes of them on the way."""

from fractions import Fraction

import numpy as np
import pytest

from playalong.pattern.fingerprint import pattern_id
from playalong.pattern.library.difficulty import difficulty
from playalong.pattern.library.playability import stop
from playalong.pattern.model import Dynamic, Pattern, Roll
from playalong.pattern.reader import PatternError, read
from playalong.pattern.targets import BUZZ_S, lay_out
from playalong.pattern.writer import write
from playalong.practice.excerpts import Part, excerpt


def pattern(snare: str, meter: str = "4/4", **lines: str) -> Pattern:
    rows = "".join(f'{name.replace("_", "-")} = "{line}"\n' for name, line in lines.items())
    head = f'title = "T"\nmeter = "{meter}"\ntempo = 60\n[[bar]]\nsnare = "{snare}"\n'
    return read(head + rows, "t")


@pytest.mark.parametrize(
    ("snare", "length", "strokes"),
    [
        ("z--- x x x", Fraction(1, 16), 0),
        ("z~~- x x x", Fraction(3, 16), 0),
        ("z~~~ ~~~~ x -", Fraction(1, 2), 0),
        ("z ~~-- x -", Fraction(3, 8), 0),  # a buzz may go on in other steps
        ("z~~~ ~~~~ ~~~~ ~~~~", Fraction(1), 0),  # up to the bar line
        ("r~-- x x x", Fraction(1, 8), 4),
        ("r~~ x x x", Fraction(1, 4), 6),
        ("R~~~ ~~~~ X -", Fraction(1, 2), 16),
    ],
)
def test_a_roll_lasts_as_long_as_it_is_held(snare, length, strokes):
    first = pattern(snare).bars[0].strokes[0]
    assert first.roll == Roll(length, strokes)
    assert first.dynamic is (Dynamic.ACCENT if snare[0].isupper() else Dynamic.NORMAL)


@pytest.mark.parametrize(
    ("snare", "told"),
    [
        ("~--- x x x", '"~" goes on with a roll: there is none before it'),
        ("z-~- x x x", '"~" goes on with a roll: there is none before it'),
        ("x~-- x x x", '"~" goes on with a roll: there is none before it'),
        ("r~~~ ~~~ x x", "a counted roll has two strokes to a step"),
        ("z~?~ x x x", '"?" goes behind a stroke'),
    ],
)
def test_what_is_no_roll_is_told(snare, told):
    with pytest.raises(PatternError, match="line 5") as error:
        pattern(snare)
    assert told in str(error.value)


def test_a_foot_plays_no_roll():
    with pytest.raises(PatternError) as error:
        pattern("x x x x", kick="z~~~ x x x")
    assert "a foot plays no roll" in str(error.value)


def test_its_strokes_are_even_and_end_before_the_next_one():
    counted, buzz = lay_out(pattern("r~~~ X - -"), 60.0), lay_out(pattern("z~~~ X - -"), 60.0)
    assert counted.bounces_s(0).tolist() == pytest.approx([n / 8 for n in range(1, 8)])
    found = buzz.bounces_s(0)
    assert np.diff(found) == pytest.approx(np.full(len(found) - 1, BUZZ_S))
    assert found[-1] == pytest.approx(1.0 - BUZZ_S)
    assert not len(buzz.bounces_s(1))
    assert counted.roll_s.tolist() == pytest.approx([1.0, 0.0])
    # A stroke that a variation puts into it ends it.
    text = 'title = "T"\nmeter = "4/4"\ntempo = 60\n[[bar]]\nsnare = "z~~~ ~~~~ - -"\n'
    cut = read(f'{text}[variation.in]\nsnare = "- x - -"\n', "t")
    assert lay_out(cut, 60.0, variations=["in"]).roll_s[0] == pytest.approx(1.0)


def test_a_part_of_the_pattern_has_what_falls_into_it():
    whole = pattern("r~~~ ~~~~ z~~~ X")
    beats = [
        Part(name=str(beat), bar=0, start=Fraction(beat, 4), end=Fraction(beat + 1, 4))
        for beat in range(4)
    ]
    for parts, rolls in (
        (beats[:1], [Roll(Fraction(1, 4), 8)]),
        (beats[:2], [Roll(Fraction(1, 2), 16)]),
        (beats[1:3], [Roll(Fraction(1, 4))]),
    ):
        cut = excerpt(whole, parts, [()])
        assert [one.roll for one in cut.bars[0].strokes if one.roll] == rolls


def test_it_is_asked_for_and_so_changes_fingerprint_and_difficulty():
    plain, buzz, longer = pattern("x x x x"), pattern("z- x x x"), pattern("z~ x x x")
    assert len({pattern_id(one) for one in (plain, buzz, longer, pattern("r~ x x x"))}) == 4
    assert difficulty(pattern("r~~~ x x x")).figure > difficulty(plain).figure


@pytest.mark.parametrize(
    ("tempo", "lines", "can"),
    [
        (90, {"kick": "x x x x"}, True),
        (90, {"hi_hat": "- x - -"}, True),
        (90, {"hi_hat": "-x - - -"}, False),
        (90, {"hi_hat": "x - - -"}, False),
        (180, {}, False),
    ],
)
def test_it_takes_both_hands_and_their_time(tempo, lines, can):
    assert (stop(pattern("r~~~ - - -", **lines), tempo) is None) is can


def test_a_roll_of_a_variation_takes_the_strokes_of_its_voice_away_as_long_as_it_lasts():
    text = 'title = "T"\nmeter = "4/4"\ntempo = 60\n[[bar]]\nsnare = "xxxx xxxx x x"\n'
    varied = read(f'{text}[variation.in]\nsnare = "-z~~ ~--- - -"\n', "t")

    (change,) = varied.variations["in"].changes
    sixteenths = [Fraction(n, 16) for n in (2, 3, 4)]
    assert [at for at, _ in change.taken] == sixteenths
    assert read(write(varied), "t") == varied
