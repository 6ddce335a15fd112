"""Rolls that simulated players play are heard as rolls; fast single strokes are not."""

from collections import Counter
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from playalong.capture.bars import ClickHeard
from playalong.capture.heard import strokes_of
from playalong.capture.understanding import understand
from playalong.midi.hits import Hit, Hits
from playalong.pattern.model import Pattern, Roll
from playalong.pattern.reader import read
from playalong.pattern.writer import write
from playalong.simulation.skills import SKILLS
from tests.helpers.captured import START_S, played, unlike

#: So many of ten seeds come back at least.
SEEDS, LEAST = range(10), 9

HEAD = """
title = "Roll"
meter = "4/4"
tempo = 84

[[bar]]
hi-hat-pedal = "x--- x--- x--- x---"
kick         = "x--- ---- x--- ----"
"""

LINES = {
    "a buzz of two beats": ("z~~~ ~~~~ x--- x---", Roll(Fraction(1, 2))),
    "a buzz of one beat": ("x--- z~~~ x--- x---", Roll(Fraction(1, 4))),
    "a counted roll of two beats": ("r~~~ ~~~~ x--- x---", Roll(Fraction(1, 2), 16)),
    "a counted roll of half a beat": ("x--- r~x- x--- r~x-", Roll(Fraction(1, 8), 4)),
}


def rolling(line: str) -> Pattern:
    return read(f'{HEAD}snare = "{line}"\n', "roll")


def understood(pattern: Pattern, hits: Hits, *, bars: int | None = None) -> Pattern:
    """What is understood of hits to the click, told the meter of the pattern."""
    return understand(
        hits,
        name="roll",
        title="Roll",
        meters=[pattern.meter],
        click=ClickHeard(tempo_bpm=84.0, start_s=START_S),
        bars=bars,
    ).pattern


def rolls_of(pattern: Pattern) -> set[Roll]:
    return {one.roll for bar in pattern.bars for one in bar.strokes if one.roll is not None}


@pytest.mark.parametrize("player", ["professional", "intermediate"])
@pytest.mark.parametrize("about", LINES)
def test_a_roll_comes_back_as_a_roll(about: str, player: str) -> None:
    line, roll = LINES[about]
    pattern = rolling(line)
    came: Counter[bool] = Counter()

    for seed in SEEDS:
        hits = played(pattern, SKILLS[player].without_habits(), seed, bars=8)
        found = understood(pattern, hits)
        assert read(write(found), "roll") == found
        came[rolls_of(found) == {roll} and unlike(pattern, found) == set()] += 1

    assert came[True] >= LEAST, came


def test_its_tempo_need_not_be_told() -> None:
    pattern = rolling(LINES["a buzz of two beats"][0])
    hits = played(pattern, SKILLS["professional"], 3, bars=8)

    found = understand(hits, name="roll", title="Roll", meters=[pattern.meter]).pattern

    assert rolls_of(found) == {Roll(Fraction(1, 2))}


def test_even_single_strokes_are_no_roll() -> None:
    chance = np.random.default_rng(5)
    levels = 80.0 * np.exp(0.1 * chance.standard_normal(160))
    hits = Hits.of(Hit(0.1 * n, "snare", float(level)) for n, level in enumerate(levels))

    assert (strokes_of(hits).roll_s == 0.0).all()


def test_what_lies_right_behind_a_buzz_is_no_bounce() -> None:
    bounces = [Hit(0.04 * n, "snare", 50.0 if n else 90.0) for n in range(12)]
    hits = Hits.of([*bounces, Hit(0.48, "snare", 100.0)])

    heard = strokes_of(hits)

    assert heard.hit.tolist() == [0, 12]
    assert heard.roll_s.tolist() == [pytest.approx(0.48), 0.0]


def test_a_stream_with_accents_is_no_roll() -> None:
    chance = np.random.default_rng(5)
    accented = [120.0 if n % 6 == 0 else 60.0 for n in range(96)]
    levels = np.array(accented) * np.exp(0.1 * chance.standard_normal(96))
    hits = Hits.of(Hit(0.1 * n, "snare", float(level)) for n, level in enumerate(levels))

    assert (strokes_of(hits).roll_s == 0.0).all()


@pytest.mark.parametrize(
    ("line", "roll"),
    [
        ("x--- ---- z~~~ ~~~~", Roll(Fraction(1, 2))),
        ("x--- ---- r~~~ ~~~~", Roll(Fraction(1, 2), 16)),
    ],
    ids=["a buzz", "a counted roll"],
)
def test_a_roll_in_a_bar_that_varies_is_a_roll_of_the_variation(line: str, roll: Roll) -> None:
    plain = rolling("x--- x--- x--- x---").bars[0]
    pattern = replace(rolling(line), bars=(*[plain] * 7, rolling(line).bars[0]))
    hits = played(pattern, SKILLS["professional"].without_habits(), 3, bars=16)

    found = understood(pattern, hits, bars=1)

    (variation,) = found.variations.values()
    (change,) = variation.changes
    assert [one.roll for one in change.added if one.roll] == [roll]
    assert read(write(found), "roll") == found
