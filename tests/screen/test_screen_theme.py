import numpy as np
import pygame
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.screen.base import marks
from playalong.screen.base.fonts import has
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import LIGHT, PALETTES, Theme
from playalong.screen.sheet.geometry import CROSS, DOT


def luminance(colour: tuple[int, int, int]) -> float:
    """Relative luminance (W3C, Web Content Accessibility Guidelines 2.1, definitions)."""
    parts = [part / 255 for part in colour]
    red, green, blue = (p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: tuple[int, int, int], other: tuple[int, int, int]) -> float:
    """Contrast ratio (ibidem)."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


ALL = pytest.mark.parametrize("colours", PALETTES.values(), ids=["light", "dark", "strong", "both"])


@ALL
def test_text_stands_out_from_whatever_it_is_written_on(colours):
    """Success criterion 1.4.3 of the same guidelines asks 4.5 of text."""
    grounds = (colours.paper, colours.row, colours.band, colours.answered)
    for ground in grounds:
        for colour in (colours.ink, colours.quiet, colours.off):
            assert contrast(colour, ground) >= 4.5
    assert contrast(colours.ink, colours.ahead) >= 4.5  # the name of a pad
    assert contrast(colours.paper, colours.ink) >= 4.5  # the main action


@ALL
def test_marks_and_boxes_stand_out_from_their_row(colours):
    """Success criterion 1.4.11 of the same guidelines asks 3 of graphics."""
    for ground in (colours.paper, colours.row, colours.band):
        for colour in (colours.ink, colours.off, colours.rule, colours.ahead_edge):
            assert contrast(colour, ground) >= 3.0
    for box in (colours.ahead, colours.answered):
        assert contrast(colours.ink, box) >= 3.0


@pytest.mark.parametrize("dark", [False, True])
def test_strong_contrast_is_stronger(dark):
    """Success criterion 1.4.6 asks 7 of text."""
    usual, strong = PALETTES[dark, False], PALETTES[dark, True]
    for name in ("quiet", "off", "rule", "ahead_edge"):
        colour = getattr(strong, name)
        assert contrast(colour, strong.paper) >= 7.0
        assert contrast(colour, strong.paper) > contrast(getattr(usual, name), usual.paper)


#: What people with protanopia, deuteranopia and tritanopia see of linear red, green and blue:
#: Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color Vision
#: Deficiency", IEEE Transactions on Visualization and Computer Graphics 15(6), 2009, severity 1.0
#: (the authors' published tables, from memory; each row adds up to 1).
BLINDNESS = {
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}


def seen(colour: tuple[int, int, int], matrix: object) -> tuple[int, int, int]:
    """A colour as somebody with that blindness sees it."""
    part = np.array(colour) / 255
    linear = np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4)
    mixed = (np.array(matrix) @ linear).clip(0, 1)
    back = np.where(mixed <= 0.0031308, mixed * 12.92, 1.055 * mixed ** (1 / 2.4) - 0.055)
    return tuple(round(float(one) * 255) for one in back)


@pytest.mark.parametrize("blindness", BLINDNESS)
def test_the_matrices_leave_grey_as_it_is(blindness):
    for row in BLINDNESS[blindness]:
        assert sum(row) == pytest.approx(1.0, abs=2e-5)
    assert seen((128, 128, 128), BLINDNESS[blindness]) == (128, 128, 128)


@ALL
@pytest.mark.parametrize("blindness", BLINDNESS)
def test_everything_is_seen_without_telling_colours_apart(colours, blindness):
    """Text and marks stand out by lightness, for people who do not see the colours."""
    matrix = BLINDNESS[blindness]
    see = {name: seen(getattr(colours, name), matrix) for name in colours.__dataclass_fields__}
    for ground in ("paper", "row", "band"):
        for mark in ("ink", "off", "rule", "ahead_edge"):
            assert contrast(see[mark], see[ground]) >= 3.0, (mark, ground)
    for text in ("ink", "quiet", "off"):
        assert contrast(see[text], see["paper"]) >= 4.5, text


def test_nothing_is_told_by_colour_alone(theme):
    """A stroke that is off has another shape than one that is right, whatever its colour: drawn
    in one ink, ring, cross, hatching and dot are still different pictures.
    """
    ink = theme.colours.ink
    dot = marks.dot(DOT, ink)
    ring = marks.ring(DOT, width=2, colour=ink, inside=theme.colours.row)
    cross = marks.cross(CROSS, 3, ink)
    box = marks.box((24, 24), fill=theme.colours.row, edge=ink, width=1, dash=0)
    hatched = marks.hatched((24, 24), 4, theme.colours.row, edge=ink, width=1, dash=0)
    middles = [
        surface.get_at((surface.get_width() // 2, surface.get_height() // 2))
        for surface in (dot, ring)
    ]
    assert middles[0] != middles[1]
    assert cross.get_width() > 1.5 * dot.get_width()
    filled = [pygame.mask.from_threshold(one, ink, (8, 8, 8)).count() for one in (box, hatched)]
    assert filled[1] > 1.2 * filled[0]


@given(st.integers(400, 4000))
def test_everything_grows_with_the_height_of_the_window(height):
    theme = Theme(colours=LIGHT, letters=None)
    assert theme.unit((100_000, height)) == pytest.approx(height / 720)
    assert Theme(colours=LIGHT, letters=None, large=True).unit((100_000, height)) > theme.unit(
        (100_000, height)
    )


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
