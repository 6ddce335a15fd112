"""The editor: whatever is done can be undone, and a pattern file can say all of it."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.pattern.editing import changes
from playalong.pattern.editing.changes import new_pattern
from playalong.pattern.editing.editor import Editor
from playalong.pattern.model import Dynamic, Hand, Pattern
from playalong.pattern.reader import read
from playalong.pattern.voices import VOICES
from playalong.pattern.writer import write
from playalong.records.pattern_files import library
from tests.helpers import letters

#: What can be done, each with what it is done with.
ACTS = st.one_of(
    st.builds(
        lambda cells, rows: lambda one: one.move(cells, rows),
        st.integers(-9, 9),
        st.integers(-3, 3),
    ),
    st.sampled_from(
        [
            Editor.toggle,
            Editor.open,
            Editor.optional,
            Editor.take_away,
            Editor.undo,
            Editor.redo,
            Editor.take_bar_away,
            lambda one: one.graces(1),
            lambda one: one.graces(2),
            lambda one: one.roll(0),
            lambda one: one.roll(2),
            lambda one: one.longer(1),
            lambda one: one.longer(-1),
            lambda one: one.vary("busy"),
            Editor.next_variation,
            Editor.take_variation_away,
            lambda one: one.hand(Hand.RIGHT),
            lambda one: one.hand(Hand.LEFT),
            lambda one: one.add_bar(copied=True),
            lambda one: one.add_bar(copied=False),
        ]
    ),
    st.builds(lambda to: lambda one: one.loudness(to), st.sampled_from(Dynamic)),
    st.builds(
        lambda parts, all_of_it: lambda one: one.grid(parts, everywhere=all_of_it),
        st.sampled_from(changes.GRIDS),
        st.booleans(),
    ),
    st.builds(lambda meter: lambda one: one.meter(meter), st.sampled_from(changes.METERS)),
    st.builds(lambda bpm: lambda one: one.tempo(bpm), st.floats(1, 1000)),
    st.builds(lambda to: lambda one: one.swing(to), st.integers(0, 100)),
    st.builds(
        lambda voice, to: lambda one: one.strike(voice.name, to),
        st.sampled_from(VOICES),
        st.sampled_from(Dynamic),
    ),
    st.builds(lambda voice: lambda one: one.take_row_away(voice.name), st.sampled_from(VOICES)),
    st.builds(
        lambda words: lambda one: one.title(words), st.text(letters.ANY, min_size=1, max_size=20)
    ),
)

SHIPPED = library()
STARTS = st.one_of(st.just(None), st.sampled_from(SHIPPED.names()))


def start(name: str | None) -> Pattern:
    return new_pattern() if name is None else SHIPPED.get(name)


@settings(max_examples=150, deadline=None)
@given(STARTS, st.lists(ACTS, max_size=30))
def test_whatever_is_done_a_file_can_say_and_all_of_it_is_undone(name, acts):
    first = start(name)
    editor = Editor(first)
    for act in acts:
        act(editor)
        pattern = editor.pattern
        assert 0 <= editor.bar < len(pattern.bars)
        assert 0 <= editor.cell < len(changes.cells(pattern.bars[editor.bar]))
        assert 0 <= editor.row < len(editor.rows)
        assert set(pattern.voices) <= set(editor.rows)
    if not changes.is_empty(editor.pattern):
        again = read(write(editor.pattern), "again")
        assert [bar.strokes for bar in again.bars] == [bar.strokes for bar in editor.pattern.bars]
        assert again.variations.keys() == editor.pattern.variations.keys()
        assert again.meter == editor.pattern.meter
    last = editor.pattern
    for _ in range(len(acts) + 1):
        editor.undo()
    assert editor.pattern == first
    assert not editor.is_changed
    for _ in range(len(acts) + 1):
        editor.redo()
    # What was undone last while writing is done again as well.
    assert last == first or editor.pattern != first


def test_a_stroke_is_put_made_louder_and_taken_away():
    editor = Editor(new_pattern())
    editor.go(0, 4, 1)
    editor.toggle()
    assert editor.stroke is not None
    assert (editor.stroke.voice, editor.stroke.at) == ("snare", Fraction(1, 4))
    editor.loudness(Dynamic.ACCENT)
    editor.graces(1)
    assert (editor.stroke.dynamic, editor.stroke.graces) == (Dynamic.ACCENT, 1)
    editor.graces(1)
    assert editor.stroke.graces == 0
    editor.graces(2)
    editor.loudness(Dynamic.GHOST)
    assert (editor.stroke.dynamic, editor.stroke.graces) == (Dynamic.GHOST, 0)
    editor.open()
    assert editor.said == "Only the hi-hat can be open."
    assert [one.voice for one in editor.struck] == ["snare"] * 6
    editor.toggle()
    assert editor.stroke is None
    assert changes.is_empty(editor.pattern)


def test_a_hand_gives_what_is_struck_with_it_the_other_one():
    editor = Editor(new_pattern())
    editor.toggle()
    editor.move(0, 1)
    editor.toggle()
    editor.hand(Hand.LEFT)
    hands = {one.voice: one.hand for one in editor.pattern.bars[0].strokes}
    assert hands == {"hi-hat": Hand.RIGHT, "snare": Hand.LEFT}
    editor.hand(Hand.LEFT)
    assert {one.hand for one in editor.pattern.bars[0].strokes} == {None}
    editor.move(0, 1)
    editor.toggle()
    editor.hand(Hand.LEFT)
    assert editor.said == "A foot plays this: it has no hand."


def test_strokes_go_to_the_nearest_place_of_another_grid():
    editor = Editor(new_pattern())
    for cell in (0, 1, 3):
        editor.go(0, cell, 0)
        editor.toggle()
    editor.go(0, 0, 0)
    editor.grid(3)
    third = Fraction(1, 12)
    assert [one.at for one in editor.pattern.bars[0].strokes] == [0, third, 2 * third]
    assert editor.pattern.bars[0].divisions == (3, 4, 4, 4)
    editor.undo()
    assert [one.at for one in editor.pattern.bars[0].strokes] == [
        0,
        Fraction(1, 16),
        Fraction(3, 16),
    ]


def test_bars_that_move_take_their_variations_and_chunks_along():
    pattern = SHIPPED.get("falling-crates")
    second = {name: one for name, one in pattern.variations.items() if one.changes[0].bar == 1}
    editor = Editor(pattern)
    editor.add_bar(copied=False)
    assert all(editor.pattern.variations[name].changes[0].bar == 2 for name in second)
    editor.undo()
    editor.go(0, 0, 0)
    editor.take_bar_away()
    assert editor.pattern.bars == pattern.bars[1:]
    assert all(editor.pattern.variations[name].changes[0].bar == 0 for name in second)
    assert [chunk.name for chunk in editor.pattern.chunks] == [
        chunk.name for chunk in pattern.chunks if chunk.bar == 1
    ]


def test_what_a_lesson_asks_goes_with_the_tempo_and_stays_in_its_bounds():
    pattern = SHIPPED.get("late-bus-home")
    editor = Editor(pattern)
    editor.tempo(168)
    practice = editor.pattern.practice
    assert practice is not None
    assert (practice.start_tempo, practice.goal_tempo) == (120, 192)
    editor.tempo(5000)
    assert editor.pattern.tempo == 400
    assert editor.pattern.practice is not None
    assert editor.pattern.practice.goal_tempo == 400


def test_a_shorter_meter_leaves_out_what_no_longer_fits():
    editor = Editor(SHIPPED.get("late-bus-home"))
    editor.meter("3/4")
    assert all(one.at < Fraction(3, 4) for one in editor.pattern.bars[0].strokes)
    assert "push" not in editor.pattern.variations
    editor.undo()
    assert editor.pattern == SHIPPED.get("late-bus-home")
