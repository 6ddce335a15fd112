"""The rudiments that come with the program, against the list of the Percussive Arts Society.

Its 40 International Drum Rudiments, names and stickings from memory: a capital letter is a main
stroke, a small one before it a grace stroke; the first figure, and the second where the hands turn.
"""

import pytest

from playalong.pattern.model import PatternKind
from tests.helpers.shipped import SHIPPED

RUDIMENTS = {
    "Single Stroke Roll": "R L R L R L R L",
    "Single Stroke Four": "R L R L",
    "Single Stroke Seven": "R L R L R L R",
    "Multiple Bounce Roll": "R",  # a stroke of each hand in turn, all of them buzzed
    "Triple Stroke Roll": "R R R L L L",
    "Double Stroke Open Roll": "R R L L R R L L",
    "Five Stroke Roll": "R R L L R L L R R L",
    "Six Stroke Roll": "R L L R R L",
    "Seven Stroke Roll": "R R L L R R L",
    "Nine Stroke Roll": "R R L L R R L L R L L R R L L R R L",
    "Ten Stroke Roll": "R R L L R R L L R L",
    "Eleven Stroke Roll": "R R L L R R L L R R L",
    "Thirteen Stroke Roll": "R R L L R R L L R R L L R",
    "Fifteen Stroke Roll": "R R L L R R L L R R L L R R L",
    "Seventeen Stroke Roll": "R R L L R R L L R R L L R R L L R",
    "Single Paradiddle": "R L R R L R L L",
    "Double Paradiddle": "R L R L R R L R L R L L",
    "Triple Paradiddle": "R L R L R L R R L R L R L R L L",
    "Single Paradiddle-diddle": "R L R R L L R L R R L L",
    "Flam": "lR rL",
    "Flam Accent": "lR L R rL R L",
    "Flam Tap": "lR R rL L",
    "Flamacue": "lR L R L lR",
    "Flam Paradiddle": "lR L R R rL R L L",
    "Single Flammed Mill": "lR R L R rL L R L",
    "Flam Paradiddle-diddle": "lR L R R L L rL R L L R R",
    "Pataflafla": "lR L R rL lR L R rL",
    "Swiss Army Triplet": "lR R L lR R L",
    "Inverted Flam Tap": "lR L rL R",
    "Flam Drag": "lR L L R rL R R L",
    "Drag": "llR rrL",
    "Single Drag Tap": "llR L rrL R",
    "Double Drag Tap": "llR llR L rrL rrL R",
    "Lesson 25": "llR L R llR L R",
    "Single Dragadiddle": "R R L R R L L R L L",
    "Drag Paradiddle #1": "R llR L R R L rrL R L L",
    "Drag Paradiddle #2": "R llR llR L R R L rrL rrL R L L",
    "Single Ratamacue": "llR L R L rrL R L R",
    "Double Ratamacue": "llR llR L R L rrL rrL R L R",
    "Triple Ratamacue": "llR llR llR L R L rrL rrL rrL R L R",
}


def test_all_of_them_are_there():
    found = {one.title for one in SHIPPED.values() if one.kind is PatternKind.RUDIMENT}
    assert found == set(RUDIMENTS)
    assert len(found) == 40


@pytest.mark.parametrize("title", RUDIMENTS)
def test_the_hands_are_those_of_the_list(title):
    (pattern,) = (one for one in SHIPPED.values() if one.title == title)
    strokes = [stroke for bar in pattern.bars for stroke in bar.strokes]
    asked = RUDIMENTS[title].split()
    for stroke, hands in zip(strokes, asked, strict=False):
        main, graces = hands[-1], hands[:-1]
        assert (stroke.hand, stroke.graces) == (main, len(graces))
        assert set(graces) <= {"l" if main == "R" else "r"}
    assert len(strokes) >= len(asked)


@pytest.mark.parametrize("title", RUDIMENTS)
def test_both_hands_get_to_lead_it(title):
    """In its own bars, or in a variation that begins with the left hand."""
    (pattern,) = (one for one in SHIPPED.values() if one.title == title)
    written = RUDIMENTS[title].split()
    own = "".join(hands[-1] for hands in written)
    turned = own.translate(str.maketrans("RL", "LR"))
    told = ["".join(stroke.hand for bar in 2 * pattern.bars for stroke in bar.strokes)]
    if "left-hand-leads" in pattern.variations:
        bars = pattern.with_variations(["left-hand-leads"])
        told.append("".join(stroke.hand for bar in bars for stroke in bar.strokes))
    assert any(turned in hands for hands in told)
