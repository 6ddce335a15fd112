"""The patterns that come with the program: they can be read, played and learned from."""

from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

import pytest

from playalong.pattern.model import Bar, Dynamic, Pattern
from playalong.pattern.reader import read
from playalong.pattern.voices import BY_NAME, Limb
from playalong.pattern.writer import write
from playalong.support.resources import folder

FILES = sorted(folder("patterns").glob("*.toml"))
FEET = (Limb.KICK_FOOT, Limb.HAT_FOOT)

each = pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)


def pattern_in(path) -> Pattern:
    return read(path.read_text(encoding="utf-8"), path.stem)


def every_bar(pattern: Pattern) -> Iterator[Bar]:
    """The bars as written, and under each variation alone."""
    yield from pattern.bars
    for name in pattern.variations:
        yield from pattern.with_variations([name])


def test_there_are_enough():
    assert len(FILES) >= 16


@each
def test_it_says_what_it_trains(path):
    pattern = pattern_in(path)
    assert pattern.about
    assert all(variation.about for variation in pattern.variations.values())


@each
def test_two_hands_and_two_feet_can_play_it(path):
    for bar in every_bar(pattern_in(path)):
        limbs: dict[Fraction, Counter[Limb]] = {}
        for stroke in bar.strokes:
            limbs.setdefault(stroke.at, Counter())[BY_NAME[stroke.voice].limb] += 1
        for at, counts in limbs.items():
            hands = sum(count for limb, count in counts.items() if limb not in FEET)
            assert hands <= 2, f"{hands} hands at {at}"
            for foot in FEET:
                assert counts[foot] <= 1, f"the {foot} twice at {at}"


@each
def test_writing_it_and_reading_it_again_gives_the_same(path):
    pattern = pattern_in(path)
    assert read(write(pattern), path.stem) == pattern


def test_no_title_comes_twice():
    titles = [pattern_in(path).title for path in FILES]
    assert len(set(titles)) == len(titles)


def test_most_have_variations_to_mix():
    rich = [path for path in FILES if len(pattern_in(path).variations) >= 2]
    assert len(rich) > len(FILES) / 2


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
    assert any(FEATURES[feature](pattern_in(path)) for path in FILES)
