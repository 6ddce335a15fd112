"""The patterns that come with the program: they can be read, played and learned from."""

from collections.abc import Iterator
from fractions import Fraction

import pytest

from playalong.pattern.library.playability import stop
from playalong.pattern.model import Bar, Dynamic, Pattern, PatternKind
from playalong.pattern.reader import read
from playalong.pattern.writer import write
from playalong.support.resources import folder
from tests.helpers.shipped import CHOSEN, NAMES, SHIPPED

each = pytest.mark.parametrize("name", NAMES)

#: What they train, in the words that the choice of patterns is filtered by. A word that only one
#: pattern has leads nowhere.
TRAINED = {
    "accents", "compound meters", "cross-stick", "double kick", "doubles", "drags", "endurance",
    "fast tempi", "first beats", "flams", "form", "ghost notes", "half time", "hi-hat foot",
    "improvising", "independence", "kick off the beat", "linear", "odd meters", "open hi-hat",
    "paradiddles", "polyrhythm", "reading", "ride", "rolls", "shuffle", "singles", "sixteenths",
    "slow tempi", "swing", "thirty-seconds", "time keeping", "toms", "triplets",
}  # fmt: skip


def every_bar(pattern: Pattern) -> Iterator[Bar]:
    """The bars as written, and under each variation alone."""
    yield from pattern.bars
    for name in pattern.variations:
        yield from pattern.with_variations([name])


def test_there_are_enough():
    kinds = [pattern.kind for pattern in SHIPPED.values()]
    assert len(kinds) - kinds.count(PatternKind.RUDIMENT) >= 80
    assert set(CHOSEN) <= set(NAMES)


@pytest.mark.parametrize("kind", PatternKind)
def test_each_kind_has_its_folder(kind):
    files = {path.stem for path in (folder("patterns") / f"{kind}s").glob("*.toml")}
    assert files == {name for name, pattern in SHIPPED.items() if pattern.kind is kind}


@each
def test_it_says_what_it_trains_and_what_it_is_called(name):
    pattern = SHIPPED[name]
    assert pattern.about.endswith(".")
    assert pattern.practice
    assert all(variation.about for variation in pattern.variations.values())
    assert pattern.trains
    assert set(pattern.trains) <= TRAINED
    plain = "".join(char if char.isalnum() else " " for char in pattern.title.lower())
    assert "-".join(plain.split()) == name


def test_each_thing_is_trained_by_several():
    for word in TRAINED:
        assert sum(word in pattern.trains for pattern in SHIPPED.values()) > 1, word


@each
def test_two_hands_and_two_feet_can_play_it(name):
    """Up to the goal tempo, as written and under each variation; two pedals where it says so."""
    pattern = SHIPPED[name]
    for variation in (None, *pattern.variations):
        bars = pattern.with_variations([variation] if variation else [])
        pedals = "double kick" in pattern.trains
        assert stop(pattern, pattern.practice.goal_tempo, bars=bars, second_pedal=pedals) is None


@each
def test_writing_it_and_reading_it_again_gives_the_same(name):
    assert read(write(SHIPPED[name]), name) == SHIPPED[name]


def test_no_title_comes_twice():
    titles = [pattern.title for pattern in SHIPPED.values()]
    assert len(set(titles)) == len(titles)


def test_most_have_variations_to_mix():
    rich = [pattern for pattern in SHIPPED.values() if len(pattern.variations) >= 2]
    assert len(rich) > len(SHIPPED) / 2


FEATURES = {
    "triplets": lambda p: any(parts % 3 == 0 for bar in every_bar(p) for parts in bar.divisions),
    "swing": lambda p: not p.swing.is_straight,
    "ghost notes": lambda p: uses(p, lambda s: s.dynamic is Dynamic.GHOST),
    "accents": lambda p: uses(p, lambda s: s.dynamic is Dynamic.ACCENT),
    "an open hi-hat": lambda p: uses(p, lambda s: s.is_open),
    "a flam": lambda p: uses(p, lambda s: s.graces == 1),
    "a drag": lambda p: uses(p, lambda s: s.graces == 2),
    "an optional stroke": lambda p: uses(p, lambda s: s.optional),
    "sticking": lambda p: uses(p, lambda s: s.hand is not None),
    "the pedal": lambda p: uses(p, lambda s: s.voice == "hi-hat-pedal"),
    "chunks": lambda p: bool(p.chunks),
    "practice": lambda p: p.practice is not None,
    "seven eighths": lambda p: any(bar.meter.length == Fraction(7, 8) for bar in p.bars),
    "a compound meter": lambda p: any(set(bar.meter.groups) == {3} for bar in p.bars),
    "several bars": lambda p: len(p.bars) > 1,
}


def uses(pattern: Pattern, wanted) -> bool:
    return any(wanted(stroke) for bar in every_bar(pattern) for stroke in bar.strokes)


@pytest.mark.parametrize("feature", FEATURES)
def test_between_them_they_use_all_that_a_file_can_say(feature):
    assert any(FEATURES[feature](pattern) for pattern in SHIPPED.values())
