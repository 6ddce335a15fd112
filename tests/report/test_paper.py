"""The sheet on paper: every note in its place, nothing over anything else or beyond the margins."""

import re
from fractions import Fraction
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree.ElementTree import tostring

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring

from playalong.app.own_patterns.printed import KINDS, Printing, as_files, write_all
from playalong.interchange.musicxml import writer as musicxml_writer
from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from playalong.practice import excerpts
from playalong.records.pattern_files import library
from playalong.report.paper import staff
from playalong.report.paper.layout import Page, Paper
from playalong.report.paper.letters import POINT, width
from playalong.report.paper.piece import Outline, Words, corners
from playalong.support.errors import UserError
from playalong.support.files import FileError
from tests.helpers.shipped import CHOSEN, SHIPPED

#: All that a sheet can say, in two bars and a variation.
EVERYTHING = """\
title = "Everything at Once"
about = "Graces, ghosts, accents, open and closed hats, triplets, and what may be left out."
meter = "4/4"
tempo = 84
[[bar]]
crash        = "X--- ---- ---- ----"
hi-hat       = "-xox (x)-x- xxx xxO"
snare        = "--g- X-d- f-- gFg?"
kick         = "x--x ---x x-x ---"
hi-hat-pedal = "---- x--- --- x--"
sticking     = "RRLR R-L- RLR LRL"
[[bar]]
ride         = "x-x- x-x- x-xx x-x-"
ride-bell    = "---- -x-- ---- ----"
cross-stick  = "---- x--- ---- x---"
high-tom     = "---x ---- ---- ----"
floor-tom    = "---- ---- ---- --xx"
kick         = "x--- --x- x?-x- ----"
hi-hat-pedal = "---- x--- ---- x---"
[variation.rush]
about = "more in the feet"
bars = [2]
kick = "---- ---- ---- xx--"
"""

ROOM = 176.0


def everything() -> Pattern:
    return read(EVERYTHING, "everything")


def everywhere() -> list[Pattern]:
    more = ("flags-at-the-corner", "flam-drag", "ledger-sixth-page", "zip-on-an-old-coat")
    return [everything(), *(SHIPPED[name] for name in (*CHOSEN, *more))]


@cache
def sheets(on_grid: bool) -> list[tuple[Pattern, list[Page]]]:
    """The sheet of every pattern: staves on A4, or the grid on Letter."""
    printing = Printing(Paper.LETTER if on_grid else Paper.A4, on_grid=on_grid)
    return [(pattern, printing.pages(pattern)) for pattern in everywhere()]


def test_each_stroke_has_a_place_and_later_ones_stand_further_right():
    for pattern in everywhere():
        pieces = staff.engraved(musicxml_writer.write(pattern), width=ROOM)
        found = {place: x for piece in pieces for place, x in piece.x_of.items()}
        for number, bar in enumerate(pattern.bars):
            assert {(number, stroke.at) for stroke in bar.strokes} <= found.keys()
        for piece in pieces:
            in_order = [x for _, x in sorted(piece.x_of.items())]
            assert all(before < after for before, after in pairwise(in_order)), pattern.name
            assert piece.width <= ROOM + 1.0


def test_a_place_where_nothing_is_written_lies_between_its_neighbours():
    (piece,) = staff.engraved(musicxml_writer.write(library().get("late-bus-home")), width=ROOM)
    lengths = {0: Fraction(1)}
    before, after = piece.x_of[0, Fraction(0)], piece.x_of[0, Fraction(1, 8)]
    between = piece.x_at((0, Fraction(1, 16)), lengths)
    assert between == pytest.approx((before + after) / 2)
    last = piece.x_at((0, Fraction(15, 16)), lengths)
    assert last is not None
    assert piece.x_of[0, Fraction(7, 8)] < last < piece.width
    assert piece.x_at((1, Fraction(0)), {1: Fraction(1)}) is None


def test_what_may_be_left_out_is_grey_and_nothing_else():
    pattern = everything()
    optional = [(0, Fraction(11, 12), "snare"), (1, Fraction(1, 2), "kick")]
    pieces = staff.engraved(musicxml_writer.write(pattern), width=ROOM, optional=optional)
    # The head of a ghost note in a chord with its two brackets; a kick alone with its stem.
    assert sum(one.is_quiet for piece in pieces for one in piece.outlines) == 5
    plain = staff.engraved(musicxml_writer.write(pattern), width=ROOM)
    assert not any(one.is_quiet for piece in plain for one in piece.outlines)


def test_count_words_stand_under_the_heads_and_not_under_their_brackets():
    """The engraver's own places: the middles of the heads, as it writes them into its drawing."""
    import verovio

    pattern = library().get("late-bus-home")
    (piece,) = staff.engraved(musicxml_writer.write(pattern), width=ROOM)
    toolkit = verovio.toolkit()
    toolkit.setOptions({**staff._OPTIONS, "pageWidth": 1760, "unit": staff._UNIT})
    root = fromstring(musicxml_writer.write(pattern))
    staff._made_ready(root, False, True)
    toolkit.loadData(tostring(root, encoding="unicode"))
    drawn = fromstring(toolkit.renderToSVG(1))
    heads = [
        float(re.findall(r"translate\((\d+)", group[0].get("transform"))[0]) / 100
        for group in drawn.iter("{http://www.w3.org/2000/svg}g")
        if group.get("class") == "notehead"
    ]
    for x in piece.x_of.values():
        assert any(0.0 <= x - left <= 2.0 for left in heads) or x == pytest.approx(
            piece.width, 0.01
        )


def test_heads_are_those_that_drummers_read():
    """A triangle has three corners; a slashed head is one more line than a plain one."""

    def outlines(voice: str) -> list[Outline]:
        text = f'title = "T"\nmeter = "1/4"\ntempo = 90\n[[bar]]\n{voice} = "x"\n'
        (piece,) = staff.engraved(musicxml_writer.write(read(text, "t")), width=60.0)
        return list(piece.outlines)

    three = [one for one in outlines("cowbell") if not one.width and len(one.path) == 4]
    assert len(three) == 1
    assert len(outlines("rim-shot")) == len(outlines("snare")) + 1


def extent(words: Words) -> tuple[float, float, float, float]:
    """Left, right, top, bottom of words without tails."""
    wide = width(words.text, words.size, words.bold)
    left = words.x - words.align * wide
    return left, left + wide, words.y - 0.73 * words.size * POINT, words.y


def collisions(page: Page) -> list[tuple[str, str]]:
    found = []
    placed = [(one, extent(one)) for one in page.words if one.text]
    for (one, first), (other, second) in combinations(placed, 2):
        across = min(first[1], second[1]) - max(first[0], second[0])
        down = min(first[3], second[3]) - max(first[2], second[2])
        if across > 0.05 and down > 0.05:
            found.append((one.text, other.text))
    return found


@pytest.mark.parametrize("on_grid", [False, True])
def test_nothing_stands_over_other_words_or_beyond_the_margins(on_grid: bool):
    for pattern, pages in sheets(on_grid):
        for page in pages:
            assert collisions(page) == [], pattern.name
            for words in page.words:
                left, right, top, bottom = extent(words)
                assert left >= 16.9, words
                assert right <= page.width - 15.0, words
                assert top >= 9.0, words
                assert bottom <= page.height - 9.0, words
            for outline in page.outlines:
                low, high = corners(outline.path).min(axis=0), corners(outline.path).max(axis=0)
                assert low[0] >= 16.5, pattern.name
                assert high[0] <= page.width - 15.0, pattern.name
                assert low[1] >= 9.0, pattern.name
                assert high[1] <= page.height - 12.0, pattern.name


@pytest.mark.parametrize("on_grid", [False, True])
def test_all_that_is_asked_stands_on_the_sheet(on_grid: bool):
    for pattern, pages in sheets(on_grid):
        said = [words.text for page in pages for words in page.words if words.bold]
        assert said.count(pattern.title) == len(pages)
        goals = [one.text for page in pages for one in page.words if one.text.startswith("goal ")]
        assert len(goals) == len(pages)
        assert said.count("Notes") == 1
        parts = excerpts.cut(pattern)
        same = excerpts.same_as(parts, pattern)
        if len(parts) - len(same) > 1:
            for number, part in enumerate(parts):
                if number not in same and not excerpts.is_empty(pattern, part):
                    assert said.count(part.name) == 1, (pattern.name, part.name)
        for name in pattern.variations:
            assert sum(text.split(" (")[0] == name for text in said) == 1, (pattern.name, name)


def test_the_count_and_the_hands_stand_under_the_notes():
    pattern = library().get("odd-socks-drawer")
    (page, *_) = Printing().pages(pattern)
    heading = next(words.y for words in page.words if words.text == "Piece by piece")
    under = [words for words in page.words if words.y < heading and words.size < 10]
    beats = [words.x for words in under if words.bold]
    assert [words.text for words in under if words.bold] == ["1", "2", "3", "4"]
    assert beats == sorted(beats)
    hands = sorted((words.x, words.text) for words in under if words.text in ("R", "L"))
    written = [stroke.hand for stroke in pattern.bars[0].strokes if stroke.hand]
    assert [text for _, text in hands] == [hand.value for hand in written]
    (mirrored, *_) = Printing(left_handed=True).pages(pattern)
    turned = [
        (words.x, words.text)
        for words in mirrored.words
        if words.y < heading and words.text in ("R", "L")
    ]
    assert [text for _, text in sorted(turned)] == [
        "L" if text == "R" else "R" for _, text in hands
    ]


def test_there_is_room_for_a_pen_on_every_sheet():
    for pattern, pages in sheets(False):
        page = pages[-1]
        notes = next(words for words in page.words if words.text == "Notes")
        ruled = [
            one
            for one in page.outlines
            if one.is_quiet and one.width and corners(one.path)[:, 1].min() > notes.y
        ]
        wide = [float(np.ptp(corners(one.path)[:, 0])) for one in ruled]
        assert len([one for one in wide if one >= 60.0]) >= 2, pattern.name


def test_files_are_what_they_say_and_the_same_each_time(tmp_path):
    pattern = everything()
    printing = Printing()
    for kind in KINDS:
        pages = printing.pages(pattern)
        first = as_files(pages, tmp_path / f"sheet{kind}", pattern.title)
        again = as_files(printing.pages(pattern), tmp_path / f"sheet{kind}", pattern.title)
        assert first == again
        write_all(first)
        for path, data in first:
            assert path.read_bytes() == data
    assert (tmp_path / "sheet.pdf").read_bytes()[:5] == b"%PDF-"
    counted = len(re.findall(rb"/Type /Page\b", (tmp_path / "sheet.pdf").read_bytes()))
    assert counted == len(pages) == len(list(tmp_path.glob("sheet-*.png"))) == 2
    svg = fromstring((tmp_path / "sheet-1.svg").read_bytes())
    assert (svg.get("width"), svg.get("height")) == ("595.275591pt", "841.889764pt")  # A4
    letters = "".join(svg.itertext())
    assert "Everything at Once" in letters
    assert "goal 84 bpm" in letters


def test_where_one_page_cannot_be_written_none_is(tmp_path):
    (tmp_path / "b.svg").mkdir()
    old = tmp_path / "a.svg"
    old.write_bytes(b"old")
    with pytest.raises(FileError):
        write_all([(old, b"new"), (tmp_path / "c.svg", b"new"), (tmp_path / "b.svg", b"new")])
    assert old.read_bytes() == b"old"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.svg", "b.svg"]


def test_titles_of_other_scripts_and_of_any_length_are_set():
    for title in ("中文" * 4, "ночь", "x" * 300, "a $b$ c_d", "№ 7 🥁", "a\\bb"):
        pattern = read(
            f'title = "{title}"\nmeter = "4/4"\ntempo = 90\n[[bar]]\nsnare = "x x x x"\n', "t"
        )
        pages = Printing().pages(pattern)
        assert not any(collisions(page) for page in pages)
        assert len(as_files(pages, Path("t.pdf"), title)) == 1


def test_what_no_note_value_says_is_drawn_on_the_grid():
    line = f"x{46 * '-'}x"
    text = f'title = "T"\nmeter = "1/32"\ntempo = 90\n[[bar]]\nsnare = "{line}"\n'
    pattern = read(text, "t")
    with pytest.raises(UserError):
        musicxml_writer.write(pattern)
    printing = Printing()
    (page,) = printing.pages(pattern)
    assert "Reading it" not in [words.text for words in page.words]
    assert not printing.on_grid
