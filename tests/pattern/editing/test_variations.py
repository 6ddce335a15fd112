"""Variations and rolls, written in the editor: undone, and said by the pattern's file."""

from fractions import Fraction

from playalong.pattern.editing.changes import new_pattern
from playalong.pattern.editing.editor import Editor
from playalong.pattern.model import Dynamic, Pattern, Roll
from playalong.pattern.reader import read
from playalong.pattern.writer import write
from playalong.records.pattern_files import load_pattern


def editor(row: str = "snare") -> Editor:
    one = Editor(new_pattern())
    one.go(0, 0, list(one.rows).index(row))
    return one


def as_filed(pattern: Pattern) -> Pattern:
    return read(write(pattern), pattern.name)


def test_a_buzz_is_put_made_longer_and_taken_away() -> None:
    one = editor()

    one.roll(0)
    one.longer(1)
    one.longer(1)
    (stroke,) = one.pattern.bars[0].strokes
    assert stroke.roll == Roll(Fraction(3, 16))
    one.longer(-1)
    (stroke,) = one.pattern.bars[0].strokes
    assert stroke.roll == Roll(Fraction(2, 16))
    assert as_filed(one.pattern).bars[0].strokes == one.pattern.bars[0].strokes

    one.roll(0)
    assert one.pattern.bars[0].strokes[0].roll is None
    one.undo()
    one.undo()
    assert one.pattern.bars[0].strokes[0].roll == Roll(Fraction(3, 16))


def test_a_counted_roll_has_two_strokes_to_a_cell() -> None:
    one = editor()

    one.roll(2)
    for _ in range(7):
        one.longer(1)

    assert one.pattern.bars[0].strokes[0].roll == Roll(Fraction(1, 2), 16)
    assert 'snare = "r~~~ ~~~~' in write(one.pattern)


def test_a_roll_ends_before_the_next_stroke_and_the_bar_line() -> None:
    one = editor()
    one.move(2)
    one.toggle()
    one.move(-2)
    one.roll(0)
    one.longer(1)

    one.longer(1)

    assert "no room" in one.said
    assert one.pattern.bars[0].strokes[0].roll == Roll(Fraction(2, 16))


def test_a_foot_rolls_nothing_and_a_ghost_note_that_rolls_is_none() -> None:
    foot = editor("kick")
    foot.roll(0)
    assert "foot" in foot.said
    assert not foot.pattern.bars[0].strokes

    hand = editor()
    hand.loudness(Dynamic.GHOST)
    hand.roll(2)
    (stroke,) = hand.pattern.bars[0].strokes
    assert (stroke.dynamic, stroke.roll) == (Dynamic.NORMAL, Roll(Fraction(1, 16), 2))


def test_what_is_written_on_a_variation_leaves_the_pattern_as_it_is() -> None:
    one = editor()
    one.toggle()
    plain = one.pattern.bars

    one.vary("busy")
    one.move(2)
    one.loudness(Dynamic.GHOST)
    one.move(-2)
    one.take_away()

    assert one.pattern.bars == plain
    filed = as_filed(one.pattern)
    (bar,) = filed.with_variations(["busy"])
    assert [(stroke.at, stroke.dynamic) for stroke in bar.strokes] == [
        (Fraction(2, 16), Dynamic.GHOST)
    ]
    assert one.shown.bars[0].strokes == bar.strokes


def test_variations_are_gone_through_undone_and_taken_away() -> None:
    one = Editor(load_pattern("falling-crates"))
    names = list(one.pattern.variations)

    seen = []
    for _ in range(len(names) + 1):
        one.next_variation()
        seen.append(one.variation)
    assert seen == [*names, None]

    one.vary(names[0])
    one.take_variation_away()
    assert names[0] not in one.pattern.variations
    assert one.variation is None
    one.undo()
    assert list(one.pattern.variations) == names


def test_undoing_a_new_variation_goes_back_to_the_pattern() -> None:
    one = editor()
    one.toggle()
    one.vary("busy")
    one.move(1)
    one.toggle()

    one.undo()

    assert one.variation is None
    assert not one.pattern.variations


def test_cutting_a_beat_on_a_variation_moves_nothing_of_the_pattern() -> None:
    one = editor()
    one.move(1)
    one.toggle()
    one.vary("busy")

    one.grid(3)

    assert "move strokes" in one.said
    assert one.pattern.bars[0].strokes[0].at == Fraction(1, 16)
    one.grid(8)
    assert one.pattern.bars[0].divisions[0] == 8
