"""The pages of a kit, and the kit as it is drawn."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pygame
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.grading.loudness import Band
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME, VOICES
from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import LIGHT, Theme
from playalong.screen.kit_pages.kit_drawing import KitDrawing, Link, Part, Spot
from playalong.screen.kit_pages.latency import LatencyPage
from playalong.screen.kit_pages.messages import MAX_ROWS, MessageRow
from playalong.screen.kit_pages.overview import PAGES

from .kit_samples import (
    EVERY_PIECE,
    KIT,
    PAGES_OF_A_KIT,
    kit_page,
    latency_page,
    loudness_page,
    messages_page,
    pad_commands_page,
    pads_page,
    triggers_page,
)
from .test_buttons import on
from .test_screen_pages import SIZES, check_texts, has, picture

ALL_SIZES = [*SIZES, (1920, 1080)]


@pytest.fixture(params=[(False, False), (True, False), (False, True)], ids=str)
def looks(request, fonts) -> Theme:
    dark, large = request.param
    return Theme.load(fonts, dark, large)


@pytest.mark.parametrize("size", ALL_SIZES)
@pytest.mark.parametrize("name", PAGES_OF_A_KIT)
def test_no_text_touches_another(looks, written, size, name):
    check_texts(written, picture(PAGES_OF_A_KIT[name](looks), size))


@pytest.mark.parametrize("name", PAGES_OF_A_KIT)
def test_every_page_can_be_left(theme, name):
    page = PAGES_OF_A_KIT[name](theme)
    assert page.offers(Outcome.LEAVE)
    for press in (Key.ESCAPE, Key.CLOSE, Outcome.LEAVE):
        assert page.handle(press) is Outcome.LEAVE


# The drawing.

RECT = pygame.Rect(0, 0, 1000, 590)


def kit(theme: Theme, drawing: KitDrawing, now_s: float = 0.0) -> np.ndarray:
    surface = pygame.Surface(RECT.size)
    surface.fill(theme.colours.paper)
    drawing.draw(Pen(surface, theme, 1.0), RECT, now_s)
    return pygame.surfarray.array3d(surface)


def changed(before: np.ndarray, after: np.ndarray) -> pygame.Rect:
    """What of the drawing differs."""
    where = np.argwhere((before != after).any(axis=2))
    if not len(where):
        return pygame.Rect(0, 0, 0, 0)
    (left, top), (right, bottom) = where.min(axis=0), where.max(axis=0)
    return pygame.Rect(left, top, right - left + 1, bottom - top + 1)


@pytest.mark.parametrize("voice", [voice.name for voice in VOICES])
def test_every_voice_has_its_place(theme, voice):
    drawing = KitDrawing(EVERY_PIECE)
    before = kit(theme, drawing)
    drawing.lit = Spot(voice)
    where = changed(before, kit(theme, drawing))
    assert 15 < where.width < 260
    assert RECT.contains(where)


def test_no_two_pieces_touch(theme):
    """Lit up one after the other, no two cover the same pixel."""
    drawing = KitDrawing(EVERY_PIECE)
    before, taken = kit(theme, drawing), np.zeros(RECT.size, dtype=int)
    for voice in EVERY_PIECE:
        for part in (Part.MIDDLE, Part.RIM):
            drawing.lit = Spot(voice, part)
            taken_now = (kit(theme, drawing) != before).any(axis=2)
            taken[taken_now & (taken != 0) & (taken != list(EVERY_PIECE).index(voice) + 1)] = -1
            taken[taken_now & (taken == 0)] = list(EVERY_PIECE).index(voice) + 1
    assert (taken > 0).any()
    assert not (taken < 0).any()


def test_the_rim_is_lit_around_the_head_and_the_bell_in_the_middle(theme):
    drawing = KitDrawing()
    before = kit(theme, drawing)
    drawing.lit = Spot("snare")
    head_lit = changed(before, kit(theme, drawing))
    drawing.lit = Spot("rim-shot")
    after = kit(theme, drawing)
    rim = changed(before, after)
    assert rim.contains(head_lit)
    assert rim.width > head_lit.width
    middle = rim.centerx, rim.centery + rim.height // 4
    assert (after[middle] == before[middle]).all()
    drawing.lit = Spot("ride")
    bow = changed(before, kit(theme, drawing))
    drawing.lit = Spot("ride-bell")
    bell = changed(before, kit(theme, drawing))
    assert bow.contains(bell)
    assert bell.width < bow.width / 2


def test_a_stroke_flashes_and_pales(theme):
    drawing = KitDrawing()
    before = kit(theme, drawing, 5.0)
    drawing.strike("kick", 100.0, 5.0)
    at = changed(before, kit(theme, drawing, 5.0))
    spot = (at.centerx, at.bottom - at.height // 4)
    darkness = [765 - int(kit(theme, drawing, 5.0 + after)[spot].sum()) for after in (0, 0.2, 2)]
    assert darkness[0] > darkness[1] > darkness[2]
    assert (kit(theme, drawing, 7.0) == before).all()


def test_a_louder_stroke_has_a_larger_ring(theme):
    def ring(velocity: float) -> int:
        drawing = KitDrawing()
        before = kit(theme, drawing)
        drawing.strike("floor-tom", velocity, 0.0)
        # By now the pad is pale again, and only the ring is left.
        return changed(before, kit(theme, drawing, 0.6)).width

    widths = [ring(velocity) for velocity in (20.0, 50.0, 90.0, 127.0)]
    assert widths == sorted(set(widths))


def test_a_piece_that_is_struck_is_added(theme, written):
    drawing = KitDrawing(("snare", "kick"))
    kit(theme, drawing)
    assert {text.words for text in written} == {"snare", "kick"}
    drawing.strike("china", 80.0, 0.0)
    kit(theme, drawing)
    assert "china" in {text.words for text in written}


def test_names_lie_in_their_pieces_apart_from_one_another(theme, written):
    kit(theme, KitDrawing(EVERY_PIECE))
    assert {text.words for text in written} == {BY_NAME[voice].label for voice in EVERY_PIECE}
    for one, other in combinations(written, 2):
        assert not one.rect.colliderect(other.rect)


def test_crosstalk_is_a_line_with_its_share(theme, written):
    drawing = KitDrawing()
    before = kit(theme, drawing)
    drawing.links = [Link(start="kick", end="floor-tom", words="12 %", share=0.12)]
    after = kit(theme, drawing)
    assert "12 %" in {text.words for text in written}
    where = changed(before, after)
    assert where.left + 20 >= 486
    assert where.right <= 690 + 20
    assert (after == np.array(LIGHT.off)).all(axis=2).any()


# The overview.


def test_every_page_of_the_kit_is_reached_by_key_click_and_strokes(theme, written):
    page = kit_page(theme)
    surface = picture(page)
    names = {text.words: text.rect.center for text in on(written, surface)}
    for number, button in enumerate(PAGES):
        assert page.handle(button.keys[0]) is button.outcome
        assert page.handle(Click(*names[button.words])) is button.outcome
        assert page.chosen == number
        assert page.handle(Outcome.START) is button.outcome
        assert page.handle(Outcome.NEXT) is None
    assert page.chosen == 0
    assert page.handle(Key.UP) is None
    assert page.handle(Key.ENTER) is PAGES[-1].outcome


def test_the_overview_says_whether_the_port_is_there(theme):
    page = kit_page(theme)
    assert has(picture(page), LIGHT.off)
    page.there, page.port = True, "Some Module MIDI 1"
    assert not has(picture(page), LIGHT.off)


def test_the_chosen_line_is_marked(theme, written):
    page = kit_page(theme)
    for _ in PAGES:
        surface = picture(page)
        label = next(
            button.words for button in PAGES if button.outcome is page.lines[page.chosen].outcome
        )
        at = next(text.rect for text in on(written, surface) if text.words == label)
        assert surface.get_at((at.right + 4, at.centery))[:3] == LIGHT.band
        page.handle(Key.DOWN)


# Learning the pads.


def test_what_is_asked_is_told_and_lit(theme, written):
    page = pads_page(theme)
    surface = picture(page)
    words = [text.words for text in on(written, surface)]
    assert "Strike the rim of the snare." in " ".join(words)
    assert "4 of 19" in words
    assert has(surface, LIGHT.ahead_edge)
    page.drawing.lit = None
    assert not has(picture(page), LIGHT.ahead_edge)


def test_learning_is_answered_by_keys(theme):
    page = pads_page(theme)
    wishes = {"s": Outcome.SKIP, "b": Outcome.BACK, "f": Outcome.FOLD, Key.ESCAPE: Outcome.LEAVE}
    assert {key: page.handle(key) for key in wishes} == wishes
    assert not page.offers(Outcome.START)


def test_progress_grows_to_the_right(theme):
    page = pads_page(theme)
    lengths = []
    for page.done in (0, 5, 19):
        row = pygame.surfarray.array3d(picture(page))[:, 88 + 4]
        lengths.append(int((row == np.array(LIGHT.ink)).all(axis=1).sum()))
    assert lengths[0] == 0
    assert lengths[1] == pytest.approx(lengths[2] * 5 / 19, abs=2)
    assert lengths[2] == 1280 - 2 * 44


# Loudness.


def reddish(surface: pygame.Surface) -> bool:
    """Whether there is a mark in the second colour, however thin and softened at its edges."""
    pixels = pygame.surfarray.array3d(surface).astype(int)
    return bool((pixels[..., 0] - pixels[..., 2] > 60).any())


def test_boxes_fill_with_the_strokes(theme):
    page = loudness_page(theme)
    page.bands, page.words = {}, ()
    filled = []
    for count in range(9):
        page.strokes = {Dynamic.GHOST: [30.0] * count}
        left = pygame.surfarray.array3d(picture(page))[36:430, 100:300]
        filled.append(int((left == np.array(LIGHT.ink)).all(axis=2).sum()))
    grown = np.diff(filled)
    assert (grown > 100).all()
    assert len(set(grown.tolist())) <= 2  # eight boxes of one size, to the pixel


def test_a_stroke_outside_its_band_is_off(theme):
    page = loudness_page(theme)
    page.is_off, page.pads = False, ()
    page.strokes, page.bands = {Dynamic.GHOST: [30.0]}, {Dynamic.GHOST: Band(1, 50)}
    assert not reddish(picture(page))
    page.strokes = {Dynamic.GHOST: [60.0]}
    assert reddish(picture(page))


def test_a_pad_that_cannot_tell_strokes_apart_is_told_in_words(theme, written):
    surface = picture(loudness_page(theme))
    off = " ".join(t.words for t in on(written, surface) if t.colour == LIGHT.off)
    assert "This pad cannot tell normal from accent" in off
    assert "sensitivity" in off


def test_touch_is_answered_by_keys(theme):
    page = loudness_page(theme)
    wishes = {
        "u": Outcome.UNDO,
        Key.BACKSPACE: Outcome.UNDO,
        "a": Outcome.AGAIN,
        Key.RIGHT: Outcome.NEXT,
        Key.LEFT: Outcome.BACK,
        Key.ENTER: Outcome.ACCEPT,
    }
    assert {key: page.handle(key) for key in wishes} == wishes


# Double triggers and crosstalk.


def test_guards_are_answered_pad_by_pad(theme, written):
    page = triggers_page(theme)
    surface = picture(page)
    # The first of that name is the picture's, the second lies in the drawing.
    at = next(text.rect.center for text in on(written, surface) if text.words == "hi-hat")
    assert page.handle(Key.RIGHT) is None
    assert page.chosen == 1
    assert page.handle(Outcome.BACK) is None
    assert page.handle(Key.LEFT) is None
    assert page.chosen == len(page.pads) - 1
    assert page.handle(Click(at[0], at[1] + 40)) is None
    assert page.pads[page.chosen].voice == "hi-hat"
    wishes = {Key.ENTER: Outcome.ACCEPT, "o": Outcome.REFUSE, "a": Outcome.ACCEPT_ALL}
    assert {key: page.handle(key) for key in wishes} == wishes


@pytest.mark.parametrize("count", [0, 1, 2, 5, 12])
def test_any_number_of_pads_has_room(looks, written, count):
    for size in ALL_SIZES:
        surface = picture(triggers_page(looks, count), size)
        check_texts(written, surface)


def test_what_a_mask_covers_is_shaded(theme):
    page = triggers_page(theme, 1)
    page.drawing.links = ()
    pads = page.pads[0]
    shaded = []
    for mask_ms in (0.0, 15.0, 30.0, 60.0):
        page.pads = [replace(pads, voice="snare", seconds=(), mask_ms=mask_ms, threshold_db=None)]
        pixels = pygame.surfarray.array3d(picture(page))
        shaded.append(int((pixels == np.array(LIGHT.ahead)).all(axis=2).sum()))
    assert shaded[0] == 0
    assert shaded[2] == pytest.approx(2 * shaded[1], rel=0.05)
    assert shaded[3] == pytest.approx(4 * shaded[1], rel=0.05)


# Latency.


@given(st.integers(-50, 500))
def test_a_figure_is_typed_in(theme, figure):
    page = LatencyPage(theme=theme, kit=KIT)
    assert [page.handle(letter) for letter in f"{figure}.5"] == [None] * len(f"{figure}.5")
    assert float(page.typed) == float(f"{figure}.5")
    assert page.offers(Outcome.TYPED)
    assert page.handle(Key.ENTER) is Outcome.TYPED


def test_a_figure_can_be_taken_back(theme, written):
    page = latency_page(theme)
    for press in ("1", "2", ",", Key.BACKSPACE):
        assert page.handle(press) is None
    assert page.typed == "12"
    surface = picture(page)
    assert "typed in: 12 ms" in {text.words for text in on(written, surface)}
    check_texts(written, surface)
    assert page.handle("a") is None  # a letter is no figure
    assert page.handle(Key.ESCAPE) is None
    assert page.typed == ""
    assert page.handle(Key.ESCAPE) is Outcome.LEAVE
    wishes = {Key.ENTER: Outcome.ACCEPT, "a": Outcome.AGAIN, "k": Outcome.CLICK_ON_KIT}
    assert {key: page.handle(key) for key in wishes} == wishes


def test_closing_the_window_leaves_though_a_figure_is_typed_in(theme):
    page = latency_page(theme)
    page.handle("9")
    assert page.handle(Key.CLOSE) is Outcome.LEAVE


def test_a_later_hit_lies_further_to_the_right(theme):
    """The hit of the last click, alone on the ruler."""
    places = []
    for error_ms in (-40.0, 10.0, 50.0):
        page = LatencyPage(theme=theme, kit=KIT, errors_ms=[None] * 15 + [error_ms])
        empty = LatencyPage(theme=theme, kit=KIT, errors_ms=[None] * 15)
        rows = slice(130, 680)
        before, after = (pygame.surfarray.array3d(picture(p))[:, rows] for p in (empty, page))
        places.append(changed(before, after).centerx)
    assert places == sorted(places)
    # The ruler is even: 50 ms and 40 ms apart.
    assert (places[1] - places[0]) / (places[2] - places[1]) == pytest.approx(50 / 40, rel=0.03)


# Messages.


def test_the_newest_message_is_below_and_earlier_ones_stay_when_looked_at(theme, written):
    page = messages_page(theme)

    def shown() -> list[str]:
        written.clear()
        picture(page)
        return [t.words for t in sorted(written, key=lambda t: t.rect.top) if "·" in t.words[:3]]

    for number in range(50):
        page.heard(MessageRow(time_s=float(number), words=f"· {number}"))
    assert shown()[-1] == "· 49"
    for _ in range(5):
        page.handle(Key.UP)
    assert shown()[-1] == "· 44"
    page.heard(MessageRow(time_s=50.0, words="· 50"))
    assert shown()[-1] == "· 44"
    for _ in range(6):
        page.handle(Key.DOWN)
    assert shown()[-1] == "· 50"


@given(st.lists(st.sampled_from([Key.UP, Key.DOWN, "heard"]), max_size=60))
def test_scrolling_never_leaves_the_messages(theme, presses):
    page = messages_page(theme)
    for press in presses:
        if press == "heard":
            page.heard(MessageRow(time_s=0.0, words="note"))
        else:
            assert page.handle(press) is None
    picture(page, (900, 560))
    for _ in range(MAX_ROWS + 5):
        page.heard(MessageRow(time_s=0.0, words="note"))
    assert len(page.rows) == MAX_ROWS


def test_what_was_dropped_says_why_in_the_second_colour(theme, written):
    surface = picture(messages_page(theme))
    off = {text.words for text in on(written, surface) if text.colour == LIGHT.off}
    assert off == {"double trigger", "unknown pad"}


# Sticks.


def test_a_call_is_chosen_by_key_and_strokes(theme, written):
    page = pad_commands_page(theme)
    assert page.handle(Outcome.NEXT) is None
    assert page.chosen == 3
    for _ in page.calls:
        page.handle(Key.UP)
    assert page.chosen == 3
    surface = picture(page)
    (bold,) = [t.words for t in on(written, surface) if t.bold and t.words in dict(page.calls)]
    assert bold == "slower"
    assert page.handle(Key.ENTER) is Outcome.ACCEPT
