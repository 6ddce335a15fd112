"""Chunks: the parts of a pattern, which of them are the same, and excerpts of them."""

import json
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke
from playalong.pattern.targets import lay_out
from playalong.practice.excerpts import (
    Excerpt,
    Part,
    accompaniment,
    beats,
    cut,
    excerpt,
    is_empty,
    listed,
    same_as,
    spoken,
    strokes_in,
    whole_bars,
)
from tests.helpers.exact_takes import faultless, law
from tests.helpers.shipped import SHIPPED

from .making import FOUR_BEATS, graded, pattern

PATTERNS = st.sampled_from(sorted(SHIPPED.values(), key=lambda item: item.name))


def strokes(bars: Sequence[Bar]) -> Counter[tuple[int, Stroke]]:
    return Counter((number, stroke) for number, bar in enumerate(bars) for stroke in bar.strokes)


def test_a_pattern_that_says_nothing_is_cut_into_its_beats() -> None:
    parts = cut(pattern(FOUR_BEATS))
    assert [part.name for part in parts] == ["beat 1", "beat 2", "beat 3", "beat 4"]
    assert [(part.start, part.end) for part in parts] == [
        (Fraction(0), Fraction(1, 4)),
        (Fraction(1, 4), Fraction(1, 2)),
        (Fraction(1, 2), Fraction(3, 4)),
        (Fraction(3, 4), Fraction(1)),
    ]


def test_beats_of_unequal_length_are_cut_where_they_lie() -> None:
    uneven = pattern('[[bar]]\nsnare = "xx xx xxx"', 'meter = "2+2+3/8"\ntempo = 90')
    assert [part.end - part.start for part in cut(uneven)] == [
        Fraction(2, 8),
        Fraction(2, 8),
        Fraction(3, 8),
    ]


def test_a_pattern_may_say_its_chunks_for_one_bar_and_leave_another_to_its_beats() -> None:
    body = """
[[bar]]
snare = "x x x x"
[[bar]]
snare = "x x x x"
[[chunk]]
name = "the end"
bar  = 2
from = 4
to   = 4
[[chunk]]
name = "the start"
bar  = 2
from = 1
to   = 3
"""
    names = [part.name for part in cut(pattern(body))]
    assert names == [
        *(f"beat {number} of bar 1" for number in (1, 2, 3, 4)),
        "the end",
        "the start",
    ], "a teacher's order is the order of learning"


def test_the_same_chunk_is_found_once() -> None:
    groove = pattern('[[bar]]\nhi-hat = "xx xx xx xx"\nsnare = "-- X- -- X-"\nkick = "x- -- x- -x"')
    assert same_as(cut(groove), groove) == {2: 0}


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ('snare = "x- x-"', 'snare = "x- g-"'),
        ('snare = "x- x-"', 'snare = "x- f-"'),
        ('hi-hat = "x- x-"', 'hi-hat = "x- o-"'),
        ('snare = "xx xx"', 'snare = "xx xx"\nsticking = "RL LR"'),
    ],
    ids=["dynamic", "grace stroke", "open hi-hat", "hand"],
)
def test_what_is_played_differently_is_not_the_same(first: str, second: str) -> None:
    head = 'meter = "2/4"\ntempo = 90'
    alike, other = (pattern(f"[[bar]]\n{line}", head) for line in (first, second))
    assert same_as(cut(alike), alike) == {1: 0}
    assert same_as(cut(other), other) == {}


@pytest.mark.parametrize(
    ("numbers", "words"),
    [
        ((0,), "beat 1"),
        ((0, 1), "beats 1 and 2"),
        ((0, 1, 2), "beats 1 to 3"),
        ((0, 2, 3), "beats 1, 3 and 4"),
    ],
)
def test_beats_together_are_spoken(numbers: tuple[int, ...], words: str) -> None:
    groove = pattern(FOUR_BEATS)
    assert spoken(groove, [cut(groove)[number] for number in numbers]) == words


def test_bars_together_are_spoken() -> None:
    four = pattern('[[bar]]\nkick = "x - - -"\n' * 4)
    bars = whole_bars(four)
    assert spoken(four, bars[:2]) == "bars 1 and 2"
    assert spoken(four, bars[:3]) == "bars 1 to 3"
    assert spoken(four, bars) == "the whole pattern"
    assert spoken(four, beats(four, 1)[:2]) == "beats 1 and 2 of bar 2"
    assert spoken(four, [beats(four, 0)[3], beats(four, 1)[0]]) == (
        "beat 4 of bar 1 and beat 1 of bar 2"
    )


def test_words_are_listed() -> None:
    assert [listed(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


@law(40)
@given(PATTERNS)
def test_the_beats_hold_every_stroke_once(whole: Pattern) -> None:
    every = [part for bar in range(len(whole.bars)) for part in beats(whole, bar)]
    found = Counter(item for part in every for item in strokes_in(whole, [part]))
    assert found == strokes(whole.bars)


@law(60)
@given(PATTERNS, st.data())
def test_an_excerpt_and_its_accompaniment_make_up_the_parts(
    whole: Pattern, data: st.DataObject
) -> None:
    parts = data.draw(st.lists(st.sampled_from(cut(whole)), min_size=1, unique=True))
    names = tuple(data.draw(st.lists(st.sampled_from([*whole.variations]), unique=True)))
    voices = data.draw(st.sets(st.sampled_from(whole.voices)))
    rest = data.draw(st.booleans())
    everything = excerpt(whole, parts, [names], with_rest=rest)
    own = excerpt(whole, parts, [names], with_rest=rest, voices=voices)
    others = accompaniment(whole, parts, [names], with_rest=rest, voices=voices)
    assert strokes(own.bars) + strokes(others.bars) == strokes(everything.bars)
    assert set(own.voices) <= voices
    assert not set(others.voices) & voices
    lengths = [bar.meter.length for bar in everything.bars]
    assert lengths == [bar.meter.length for bar in own.bars]
    assert lengths == [bar.meter.length for bar in others.bars]
    assert (not everything.bars[-1].strokes) or not rest


@law(60)
@given(PATTERNS, st.data())
def test_an_excerpt_is_played_and_graded_like_any_pattern(
    whole: Pattern, data: st.DataObject
) -> None:
    parts = data.draw(st.lists(st.sampled_from(cut(whole)), min_size=1, unique=True))
    part = excerpt(whole, parts, with_rest=True)
    targets = lay_out(part, 90.0)
    assert len(targets) == len(strokes_in(whole, parts))
    if any(not is_empty(whole, part) for part in parts):
        counts = graded(part, faultless(targets)).counts
        assert (counts.on_time, counts.missed, counts.extra) == (len(targets), 0, 0)


def test_rounds_hold_their_own_variations() -> None:
    groove = pattern(FOUR_BEATS + '[variation.push]\nkick = "-- -- -- -x"')
    both = excerpt(groove, whole_bars(groove), [(), ("push",)], with_rest=True)
    added = Stroke(at=Fraction(7, 8), voice="kick")
    assert [added in bar.strokes for bar in both.bars] == [False, True, False]
    assert both.bars[:2] == (groove.bars[0], groove.with_variations(["push"])[0])
    with pytest.raises(KeyError):
        excerpt(groove, whole_bars(groove), [("pull",)])


def test_a_part_holds_its_start_and_not_its_end() -> None:
    part = Part(name="beat 2", bar=0, start=Fraction(1, 4), end=Fraction(1, 2))
    assert part.holds(0, Fraction(1, 4))
    assert not part.holds(0, Fraction(1, 2))
    assert not part.holds(1, Fraction(1, 4))


@law(60)
@given(PATTERNS, st.data())
def test_what_a_take_keeps_of_an_excerpt_cuts_out_the_same(
    whole: Pattern, data: st.DataObject
) -> None:
    names = st.lists(st.sampled_from([*whole.variations]), unique=True).map(tuple)
    kept = Excerpt(
        parts=tuple(data.draw(st.lists(st.sampled_from(cut(whole)), min_size=1, unique=True))),
        rounds=tuple(data.draw(st.lists(names, min_size=1, max_size=4))),
        with_rest=data.draw(st.booleans()),
        voices=data.draw(st.none() | st.lists(st.sampled_from(whole.voices)).map(tuple)),
    )
    again = Excerpt.from_plain(json.loads(json.dumps(kept.as_plain())), whole)
    assert again == kept
    assert again.of(whole) == kept.of(whole)


def test_what_an_excerpt_in_a_take_means_stays_as_it_was() -> None:
    """Written out by hand: takes that are kept rely on it."""
    groove = pattern(FOUR_BEATS + '[variation.push]\nkick = "-- -- -- -x"')
    plain = {
        "parts": [
            {"name": "beat 2", "bar": 1, "from": "1/4", "to": "1/2"},
            {"name": "beat 4", "bar": 1, "from": "3/4", "to": "1"},
        ],
        "rounds": [[], ["push"]],
        "rest": True,
        "voices": ["snare", "kick"],
    }
    found = Excerpt.from_plain(plain, groove).of(groove)
    twice = [
        ("1/4", "snare", Dynamic.ACCENT),
        ("3/8", "kick", Dynamic.NORMAL),
        ("3/4", "snare", Dynamic.ACCENT),
        ("7/8", "snare", Dynamic.GHOST),
    ]
    assert [[(str(s.at), s.voice, s.dynamic) for s in bar.strokes] for bar in found.bars] == [
        twice,
        [*twice, ("7/8", "kick", Dynamic.NORMAL)],
        [],
    ]
    assert {bar.meter.written for bar in found.bars} == {"4/4"}


PART = {"name": "beat 1", "bar": 1, "from": "0", "to": "1/4"}
WHOLE = {"parts": [PART], "rounds": [[]], "rest": False, "voices": None}


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"parts": []}, "no part"),
        ({"rounds": []}, "no part"),
        ({"parts": [{**PART, "bar": 2}]}, "has no bar 2"),
        ({"parts": [{**PART, "bar": 0}]}, "has no bar 0"),
        ({"parts": [{**PART, "to": "1/0"}]}, "does not say which part"),
        ({"parts": [{**PART, "from": None}]}, "does not say which part"),
        ({"parts": 4}, "does not say which part"),
        ({"rounds": [["push"]]}, "has no variation 'push'"),
        ({"voices": 3}, "does not say which part"),
    ],
)
def test_an_excerpt_that_cannot_be_cut_out_is_told(change, told) -> None:
    with pytest.raises(ValueError, match=told):
        Excerpt.from_plain({**WHOLE, **change}, pattern(FOUR_BEATS))


@pytest.mark.parametrize("plain", [None, [], "beat 1", 3, {}])
def test_what_is_no_excerpt_is_told(plain) -> None:
    with pytest.raises(ValueError, match="does not say which part"):
        Excerpt.from_plain(plain, pattern(FOUR_BEATS))
