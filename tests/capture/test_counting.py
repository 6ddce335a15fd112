"""How a groove is counted: its tempo, where bar 1 is, and how many bars it has."""

import pytest

from playalong.capture.understanding import Captured, _usual_tempo, understand
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.simulation.skills import SKILLS
from tests.helpers.captured import played, unlike

#: Sixteenths of two feet and both hands all along: whatever part of the beat a window takes for
#: another, much of it fits.
DENSE = """
title = "Dense"
meter = "4/4"
tempo = 88

[[bar]]
floor-tom    = "x-x- x-x- x-x- x-x-"
kick         = "x--x x--x x--x x--x"
hi-hat-pedal = "--x- --x- --x- --x-"

[[bar]]
floor-tom    = "xxxx xxxx xxxx xxxx"
kick         = "x--x x--x x--x x--x"
hi-hat-pedal = "--x- --x- --x- --x-"
"""

#: The snare says nothing of where a bar begins, and the other hand is the same on each beat.
SNARE_AGAINST_BEATS = """
title = "Against Beats"
meter = "3/4"
tempo = 72

[[bar]]
cowbell = "x--- x--- x---"
snare   = "x--x --x- -x--"
"""

#: The last of two bars ends a beat before the other.
UNEVEN_ENDS = """
title = "Uneven Ends"
meter = "6/8"
tempo = 84

[[bar]]
snare        = "X-x xxx"
hi-hat-pedal = "--- x--"
kick         = "x-- ---"

[[bar]]
snare        = "X-x X--"
hi-hat-pedal = "--- x--"
kick         = "x-- ---"
"""

#: Eight bars to be read, none like another.
READ_ONCE = 'title = "Read Once"\nmeter = "4/4"\ntempo = 84\n' + "".join(
    f'\n[[bar]]\nsnare = "{bar}"\n'
    for bar in (
        "xx x- xx x-",
        "x- xx -x x-",
        "-x xx x- xx",
        "xx -x -x x-",
        "x- -x xx -x",
        "-x x- xx x-",
        "xx xx -x -x",
        "x- x- -x x-",
    )
)


def by_an_intermediate(text: str, seed: int) -> tuple[Pattern, Captured]:
    pattern = read(text, "groove")
    hits = played(pattern, SKILLS["intermediate"].without_habits(), seed, bars=8)
    return pattern, understand(hits, name="played", title="Played", meters=[pattern.meter])


@pytest.mark.parametrize("seed", [25, 32])
def test_the_count_does_not_slip_by_a_part_of_the_beat(seed: int) -> None:
    pattern, found = by_an_intermediate(DENSE, seed)

    assert found.pattern.tempo == pytest.approx(pattern.tempo, rel=0.005)
    assert unlike(pattern, found.pattern, bars_played=8) == set()


@pytest.mark.parametrize("seed", [13, 14])
def test_eight_whole_bars_begin_with_the_first_stroke(seed: int) -> None:
    pattern, found = by_an_intermediate(SNARE_AGAINST_BEATS, seed)

    assert unlike(pattern, found.pattern, bars_played=8) == set()


@pytest.mark.parametrize("seed", [1, 4, 8])
def test_a_last_bar_is_whole_that_ends_as_any_other_does(seed: int) -> None:
    pattern, found = by_an_intermediate(UNEVEN_ENDS, seed)

    assert found.pattern.tempo == pattern.tempo
    assert unlike(pattern, found.pattern, bars_played=8) == set()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_bars_that_came_once_are_all_written(seed: int) -> None:
    pattern, found = by_an_intermediate(READ_ONCE, seed)

    assert len(found.pattern.bars) == 8
    assert unlike(pattern, found.pattern, bars_played=8) == set()


def test_what_is_open_is_a_mark_of_a_metronome() -> None:
    assert _usual_tempo(120.98, 0.003) == 120.0
    assert _usual_tempo(97.02, 0.0005) == 97.0  # nothing is open
