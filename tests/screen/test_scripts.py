"""Titles in any script are drawn, in the order in which they are read."""

import pygame
import pytest

from playalong.screen.base import fonts as letters_module
from playalong.screen.base.fonts import Letters
from playalong.screen.base.scripts import runs, spelled, visual

TITLES = {
    "Greek": "\u03a0\u03c1\u03c9\u03b9\u03bd\u03cc",
    "Cyrillic": "\u0423\u0442\u0440\u043e",
    "Hebrew": "\u05d1\u05d5\u05e7\u05e8",
    "Arabic": "\u0635\u0628\u0627\u062d",
    "Japanese": "\u671d\u306e\u9053",
    "Korean": "\uc544\uce68",
    "Devanagari": "\u0938\u0941\u092c\u0939",
    "emoji": "\U0001f941",
    "private use": "\ue000",
}


@pytest.fixture
def letters(fonts) -> Letters:
    return Letters(fonts / "DejaVuSans.ttf", fonts / "DejaVuSans-Bold.ttf")


def ink(surface: pygame.Surface) -> int:
    return pygame.mask.from_surface(surface).count()


@pytest.mark.parametrize("words", TITLES.values(), ids=TITLES.keys())
@pytest.mark.parametrize("bold", [False, True])
def test_a_title_in_any_script_is_drawn_as_wide_as_it_is_measured(letters, words, bold):
    drawn = letters.rendered(f"a {words} b", 24, bold, colour=(0, 0, 0))
    plain = letters.rendered("a  b", 24, bold, colour=(0, 0, 0))
    assert ink(drawn) > ink(plain) + 10
    assert drawn.get_width() == letters.width(f"a {words} b", 24, bold)
    assert drawn.get_height() >= letters.ascent(24, bold)


@pytest.mark.parametrize("words", ["gr\udcffoove", "gr\0oove", "\0", "Ψ\udcff"])
def test_what_is_no_text_is_drawn_as_a_question(letters, words):
    assert letters.rendered(words, 24, False, colour=(0, 0, 0)).get_width() > 0
    assert letters.width(words, 24, False) > 0


def test_letters_without_width_are_no_error(letters):
    assert letters.rendered("\u00ad\u200d", 24, False, colour=(0, 0, 0)).get_width() == 0


def test_without_a_face_a_title_is_spelled_in_latin_letters(letters, monkeypatch):
    monkeypatch.setattr(letters_module.pygame.font, "match_font", lambda *_, **__: None)
    assert runs("\u6771\u4eac", letters._face_of) == [(0, "DongJing")]
    assert spelled("\ue000") == "?"


def test_a_face_of_the_system_is_used_where_it_has_the_letter(letters, fonts, monkeypatch):
    asked = []

    def match(name: str, bold: bool = False) -> str:
        asked.append(name)
        return str(fonts / "DejaVuSans.ttf")

    monkeypatch.setattr(letters_module.pygame.font, "match_font", match)
    assert letters._face_of("\u6771") is None, "the face that was found has no such letter"
    assert "notosanscjksc" in asked


def test_right_to_left_stands_as_it_is_read():
    """Examples after the Unicode bidirectional algorithm (UAX 9): Hebrew runs from right to left,
    and what is Latin in it, or a number, does not."""
    hebrew = TITLES["Hebrew"]
    assert visual(hebrew) == hebrew[::-1]
    assert visual(f"{hebrew} 84") == f"84 {hebrew[::-1]}"
    assert visual("Late Bus Home") == "Late Bus Home"
    assert visual(TITLES["Greek"]) == TITLES["Greek"]


def test_a_title_does_not_turn_a_sentence_round():
    hebrew = TITLES["Hebrew"]
    assert visual(f"{hebrew}: it was kept.") == f"{hebrew[::-1]}: it was kept."


def test_arabic_letters_are_joined():
    """The first letter of the word, drawn last, has its initial form (Unicode, Arabic Presentation
    Forms-B: U+FEBB is sad, initial form)."""
    assert visual(TITLES["Arabic"])[-1] == "\ufebb"


@pytest.mark.parametrize("mark", ["\u202e", "\u2067", "\u200f"])
def test_marks_of_direction_turn_no_title_round(mark):
    """UAX 9: an override or an isolate would write what follows from right to left."""
    assert visual(f"{mark}Late Bus Home").endswith("Late Bus Home")
