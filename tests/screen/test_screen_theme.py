import pygame
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.screen.base.fonts import has
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import DARK, LIGHT, Theme


def luminance(colour: tuple[int, int, int]) -> float:
    """Relative luminance (W3C, Web Content Accessibility Guidelines 2.1, definitions)."""
    parts = [part / 255 for part in colour]
    red, green, blue = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: tuple[int, int, int], other: tuple[int, int, int]) -> float:
    """Contrast ratio (ibidem)."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_text_stands_out_from_the_paper(colours):
    """Success criterion 1.4.3 of the same guidelines asks 4.5 of text."""
    for colour in (colours.ink, colours.quiet, colours.off):
        assert contrast(colour, colours.paper) >= 4.5
    assert contrast(colours.ink, colours.row) >= 7.0


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_marks_and_boxes_stand_out_from_their_row(colours):
    """Success criterion 1.4.11 of the same guidelines asks 3 of graphics."""
    for colour in (colours.off, colours.ahead_edge):
        assert contrast(colour, colours.row) >= 3.0
    for box in (colours.ahead, colours.answered):
        assert contrast(colours.ink, box) >= 3.0


@given(st.integers(400, 4000))
def test_everything_grows_with_the_height_of_the_window(height):
    theme = Theme(colours=LIGHT, letters=None)
    assert theme.unit((100_000, height)) == pytest.approx(height / 720)
    large = Theme(colours=LIGHT, letters=None, large=True)
    assert large.unit((100_000, height)) > theme.unit((100_000, height))


def test_a_narrow_window_makes_everything_smaller():
    theme = Theme(colours=LIGHT, letters=None)
    assert theme.unit((600, 1000)) < theme.unit((1200, 1000))


def test_the_fonts_have_what_is_written(fonts):
    pygame.font.init()
    letters = "".join(map(chr, [*range(0x20, 0x7F), *range(0xA0, 0x180)])) + "–—‘’“”…·←→↑↓−×≤≥"
    for name in ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf"):
        font = pygame.font.Font(fonts / name, 20)
        assert [letter for letter in letters if not has(font, letter)] == []
        assert not has(font, "\u6771")
    assert "Bitstream" in (fonts / "LICENSE-DejaVu.txt").read_text(encoding="utf-8")


@given(
    st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=80), st.integers(0, 300)
)
def test_cut_text_fits(theme, words, width):
    pen = Pen(pygame.Surface((10, 10)), theme, 1.0)
    cut = pen.cut(words, 15, width)
    assert pen.width(cut, 15) <= width or cut == ""
    if pen.width(words, 15) <= width:
        assert cut == words


@given(st.lists(st.text("abcdefg", min_size=1, max_size=9), min_size=1, max_size=30))
def test_wrapped_text_fits_and_loses_no_word(theme, words):
    pen = Pen(pygame.Surface((10, 10)), theme, 1.0)
    lines = pen.wrapped(" ".join(words), 15, 150)
    assert " ".join(lines).split() == words
    assert all(pen.width(line, 15) <= 150 for line in lines)


def test_a_word_that_is_wider_than_the_room_is_broken(theme):
    pen = Pen(pygame.Surface((10, 10)), theme, 1.0)
    path = "/home/somebody/" + "a-long-folder/" * 12
    lines = pen.wrapped(f"at {path} there", 15, 150)
    assert "".join(lines).replace(" ", "") == f"at{path}there"
    assert all(pen.width(line, 15) <= 150 for line in lines)


@pytest.mark.parametrize("left", [-12, -3, 0, 5, 18, 25])
def test_a_filled_box_keeps_its_place_beyond_the_edges(theme, left):
    pen = Pen(pygame.Surface((20, 4)), theme, 1.0)
    pen.fill(pygame.Rect(left, 0, 8, 4), (255, 0, 0))
    filled = {x for x in range(20) if pen.surface.get_at((x, 1))[0]}
    assert filled == set(range(left, left + 8)) & set(range(20))
