"""Files in which brackets made a stroke optional, told from those of today and rewritten."""

import pytest

from playalong.pattern.old_brackets import is_old, lines_with_brackets, rewritten
from playalong.pattern.reader import PatternError, read

HEAD = 'title = "Shelf"\nmeter = "4/4"\ntempo = 90\n[[bar]]  # (g) is no stroke here\n'
OLD = HEAD + 'hi-hat = "xx   xx xx xx"\nsnare  = "-(g) X- -(o) X-"\nkick   = "x- -(x) x- --"\n'


def optional(text: str) -> list[tuple[str, str]]:
    (bar,) = read(text, "shelf").bars
    return [(stroke.voice, str(stroke.dynamic)) for stroke in bar.strokes if stroke.optional]


def test_brackets_are_ghost_notes_and_a_question_mark_makes_a_stroke_optional():
    today = HEAD + 'snare = "(x)- X- (x)?- g?-"\n'
    (bar,) = read(today, "shelf").bars
    found = [(str(one.dynamic), one.optional) for one in bar.strokes]
    assert found == [("ghost", False), ("accent", False), ("ghost", True), ("ghost", True)]
    assert [str(one.at) for one in bar.strokes] == ["0", "1/4", "1/2", "3/4"]


def test_a_file_of_the_old_kind_is_told_by_line_and_column_and_read_once_it_is_rewritten():
    with pytest.raises(PatternError) as told:
        read(OLD, "shelf")
    (first,) = told.value.problems
    assert (first.line, first.column) == (6, 12)
    assert "playalong check --mend" in first.message
    assert '"g?"' in first.message
    assert is_old(OLD)
    assert lines_with_brackets(OLD) == [6, 7]
    mended = rewritten(OLD)
    assert optional(mended) == [("snare", "ghost"), ("kick", "normal"), ("snare", "normal")]
    assert 'hi-hat = "xx   xx xx xx"' in mended
    assert "# (g) is no stroke here" in mended
    assert 'snare  = "-g?  X- -o?  X-"' in mended
    assert rewritten(mended) == mended
    assert not is_old(mended)


@pytest.mark.parametrize(
    ("line", "old"),
    [
        ('snare = "-(x) X- -(x) X-"', False),
        ('snare = "-(x) X- -g X-"', True),
        ("snare = '-(f) X- -- X-'", True),
        ('"snare" = "-(X) X- -- X-"', True),
        ('about = "(g)"', False),
    ],
)
def test_of_which_kind_a_file_is_shows_in_its_lines_of_voices(line, old):
    assert is_old(HEAD + line + "\n") is old
