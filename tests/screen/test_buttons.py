"""Buttons, the pads that do the same, and the level of the sound."""

from itertools import combinations

import pygame
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import LIGHT, Theme
from playalong.screen.base.widgets import (
    AGAIN,
    BACK,
    FASTER,
    HEAR,
    LEAVE,
    LESSON,
    LEVEL_HIGH,
    LEVEL_LOWEST_DB,
    LEVEL_WIDE,
    LISTEN,
    NEXT,
    SLOWER,
    START,
    Button,
    Buttons,
    Level,
    foot,
)
from playalong.screen.pages.plan import PlanLine, PlanPage
from playalong.screen.pages.texture import TexturePage

from .kit_samples import CALL, CALLED
from .screen_samples import Written, a_sheet, groove_bar, result_page, run_page
from .test_screen_pages import SIZES, check_texts, picture

MANY = (START, SLOWER, FASTER, NEXT, BACK, HEAR, LISTEN, LEAVE)


@pytest.fixture(params=[(False, False), (True, False), (False, True)], ids=str)
def looks(request, fonts) -> Theme:
    dark, large = request.param
    return Theme.load(fonts, dark, large)


def drawn(theme: Theme, buttons: Buttons, size: tuple[int, int]) -> pygame.Surface:
    surface = pygame.Surface(size)
    surface.fill(theme.colours.paper)
    foot(Pen(surface, theme), buttons, ["a note that is told beside them"])
    return surface


def on(written: list[Written], surface: pygame.Surface) -> list[Written]:
    return [text for text in written if text.surface is surface and text.words]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("pads", [{}, CALLED], ids=["keys", "pads"])
def test_buttons_never_overlap(looks, written, size, pads):
    buttons = Buttons(MANY, pads, CALL)
    surface = drawn(looks, buttons, size)
    texts = on(written, surface)
    for text in texts:
        assert surface.get_rect().contains(text.ink), text.words
    for one, other in combinations(texts, 2):
        assert not one.ink.colliderect(other.ink), (one.words, other.words)
    middles = {text.words.lower(): text.rect.center for text in texts}
    told = {button.words: buttons.handle(Click(*middles[button.words])) for button in MANY}
    assert told == {button.words: button.outcome for button in MANY}


@given(
    st.lists(st.sampled_from(MANY), min_size=1, max_size=8, unique=True),
    st.sets(st.sampled_from(sorted(CALLED))),
    st.integers(320, 2000),
)
@settings(max_examples=40, deadline=None)
def test_all_buttons_stand_between_the_edges_they_are_given(theme, offered, called, width):
    buttons = Buttons(offered, {outcome: CALLED[outcome] for outcome in called}, CALL)
    pen = Pen(pygame.Surface((width, 400)), theme, 1.0)
    right = buttons.draw(pen, left=20, right=width - 20, base=380)
    beside = [None, *(one for one in offered if one is not buttons.main)]
    widest = max(buttons._width(pen, one) for one in beside)
    assert right <= width - 20 or widest > width - 40 - buttons._main_room(pen)
    lines = buttons.lines(pen, width - 40)
    assert 1 <= lines <= len(offered) + 1
    assert buttons.lines(pen, 5000) == 1
    assert buttons.lines(pen, width - 140) >= lines


def test_a_pad_is_shown_beside_its_key_and_the_call_once(theme, written):
    surface = drawn(theme, Buttons([AGAIN, HEAR, LEAVE], CALLED, CALL), (1280, 720))
    texts = {text.words: text.rect for text in on(written, surface)}
    order = ["Again", CALL, "H", "hear it", "Esc", "crash", "leave"]
    lefts = [texts[words].left for words in order]
    assert lefts == sorted(lefts)
    assert len([text for text in written if text.words == CALL]) == 1
    # The pad has a ground of its own.
    pad = texts["crash"].inflate(8, 0)
    assert surface.get_at((pad.left, pad.centery))[:3] == LIGHT.ahead
    assert surface.get_at(texts["Esc"].midleft)[:3] == LIGHT.paper


def test_the_main_action_stands_first_dark_and_says_its_key_and_its_strokes(theme, written):
    buttons = Buttons([LEAVE, AGAIN], CALLED, CALL)
    surface = drawn(theme, buttons, (1280, 720))
    texts = {text.words: text for text in on(written, surface)}
    hint = texts["Enter · Kick twice, snare twice"]
    assert texts["Again"].colour == hint.colour == LIGHT.paper
    assert surface.get_at(texts["Again"].rect.midleft)[:3] == LIGHT.ink
    assert buttons.handle(Click(*hint.rect.center)) is Outcome.AGAIN
    assert Buttons([HEAR, LEAVE]).main is None


def test_without_pads_there_is_no_call(theme, written):
    drawn(theme, Buttons([HEAR], CALLED, CALL), (1280, 720))
    drawn(theme, Buttons(MANY, {}, CALL), (1280, 720))
    assert CALL not in {text.words for text in written}


@pytest.mark.parametrize("button", MANY, ids=lambda button: button.words)
def test_a_button_answers_its_keys_and_its_outcome(button):
    buttons = Buttons(MANY)
    assert buttons.offers(button.outcome)
    assert buttons.handle(button.outcome) is button.outcome
    assert {buttons.handle(key) for key in button.keys} == {button.outcome}


@given(st.sampled_from(list(Outcome)), st.sets(st.sampled_from(MANY), min_size=1))
def test_only_what_is_offered_is_answered(outcome, offered):
    buttons = Buttons(sorted(offered, key=lambda button: button.words))
    there = outcome in {button.outcome for button in offered}
    assert buttons.offers(outcome) == there
    assert buttons.handle(outcome) == (outcome if there else None)


def test_no_key_means_two_things():
    for offered in (MANY, LESSON, (AGAIN, SLOWER, FASTER, LISTEN, NEXT, LEAVE)):
        keys = [key for button in offered for key in button.keys]
        assert len(keys) == len(set(keys))


@pytest.mark.parametrize("size", SIZES)
def test_pages_that_hold_still_show_pads(looks, written, size):
    offered: tuple[Button, ...] = (AGAIN, SLOWER, FASTER, LISTEN, NEXT, LEAVE)
    plan = PlanPage(
        looks,
        "A Test",
        [PlanLine(words="Step", done=True, left_out=False, now=False, took="")] * 30,
        notices=(),
        pads=CALLED,
    )
    pages = [
        result_page(looks, [groove_bar()], offered=offered, pads=CALLED, call=CALL),
        plan,
        TexturePage(
            looks, "A Test", [("push", (1,))] * 3, bars=8, words=["Words."], pads=CALLED, call=CALL
        ),
    ]
    for page in pages:
        surface = picture(page, size)
        check_texts(written, surface)
        shown = {text.words for text in on(written, surface)}
        assert any("snare" in words for words in shown)
        assert "crash" in shown
        assert page.offers(Outcome.AGAIN)
        assert not page.offers(Outcome.SKIP)
        assert page.handle(Outcome.AGAIN) is Outcome.AGAIN


@pytest.mark.parametrize("size", SIZES)
def test_pads_in_a_rest_leave_the_sheet_where_it_is(looks, written, size):
    page = run_page(looks, a_sheet(), notices=["The click is quiet to begin with"])
    page.level.db = -18.0
    page.buttons = Buttons(LESSON)
    before = picture(page, size)
    page.buttons = Buttons(LESSON, CALLED, CALL)
    surface = picture(page, size)
    check_texts(written, surface)
    rows = round(size[1] * 0.5)
    sheet = pygame.Rect(0, 0, size[0], rows)
    assert before.subsurface(sheet).get_buffer().raw == surface.subsurface(sheet).get_buffer().raw


def level_on(theme: Theme, db: float) -> tuple[Level, pygame.Surface]:
    level, surface = Level(db), pygame.Surface((LEVEL_WIDE + 40, LEVEL_HIGH + 40))
    surface.fill(theme.colours.paper)
    level.draw(Pen(surface, theme, 1.0), (20, 20))
    return level, surface


def ink(surface: pygame.Surface) -> int:
    """How many pixels of the bar's middle row are full."""
    y = 20 + 31
    return sum(surface.get_at((x, y))[:3] == LIGHT.ink for x in range(surface.get_width()))


def test_a_louder_level_has_a_longer_bar(theme):
    lengths = [ink(level_on(theme, db)[1]) for db in (LEVEL_LOWEST_DB - 20, -36.0, -18.0, 0.0, 9.0)]
    assert lengths == [0, *sorted(lengths[1:])]
    assert lengths[1] < lengths[2] < lengths[3] == lengths[4] == LEVEL_WIDE


def test_the_level_says_its_figure_and_stays_in_its_room(theme, written):
    _, surface = level_on(theme, -18.0)
    texts = on(written, surface)
    assert {"sound", "−18 dB"} <= {text.words for text in texts}
    room = pygame.Rect(20, 20, LEVEL_WIDE, LEVEL_HIGH)
    assert all(room.contains(text.ink) for text in texts)


def test_the_level_is_moved_by_keys_and_clicks(theme, written):
    level, _ = level_on(theme, -18.0)
    middle = {text.words: text.rect.center for text in written}
    assert [level.steps(press) for press in ("-", "+", Key.ENTER, "x")] == [-1, 1, 0, 0]
    assert level.steps(Click(*middle["−"])) == -1
    assert level.steps(Click(*middle["+"])) == 1
    assert level.steps(Click(1, 1)) == 0
    assert Level().steps("+") == 0


@pytest.mark.parametrize("size", SIZES)
def test_the_level_of_a_run_stands_beside_the_count(looks, written, size):
    page = run_page(looks, a_sheet())
    page.level.db = -40.0
    surface = picture(page, size)
    check_texts(written, surface)
    assert "−40 dB" in {text.words for text in on(written, surface)}


@pytest.mark.parametrize("size", SIZES)
def test_a_pause_is_told_on_the_sheet_in_place_of_other_words(looks, written, size):
    page = run_page(looks, a_sheet())
    page.said, page.paused = ("Not now.",), ("The kit is gone: check its cable.", "The run waits.")
    surface = picture(page, size, now_s=-1.6)
    texts = on(written, surface)
    told = [text for text in texts if text.words in page.paused]
    assert [(text.words, text.bold) for text in told] == [
        ("The kit is gone: check its cable.", True),
        ("The run waits.", False),
    ]
    assert all(surface.get_rect().contains(text.rect) for text in told)
    assert not [text for text in texts if text.words == "Not now."]
    assert max(text.rect.height for text in texts) < 90 * looks.unit(size)  # no count-in
    page.paused = ()
    again = picture(page, size, now_s=2.0)
    assert "Not now." in {text.words for text in on(written, again)}


def counted(page, written: list[Written], now_s: float) -> list[tuple[str, bool]]:
    written.clear()
    picture(page, now_s=now_s)
    return [(t.words, t.bold) for t in written if t.words in set("1234") and t.rect.height > 60]


@pytest.mark.parametrize(
    ("now_s", "strong"),
    # The last beat ends as long after it as the one before did: at 6.8.
    [(3.9, None), (4.0, 0), (4.71, 1), (6.7, 3), (6.79, 3), (6.81, None), (8.0, None)],
)
def test_the_count_comes_again_in_the_middle_of_a_run(theme, written, now_s, strong):
    page = run_page(theme, a_sheet())
    page.count_in = type(page.count_in)((4.0, 4.7, 5.4, 6.1), ("1", "2", "3", "4"))
    shown = counted(page, written, now_s)
    if strong is None:
        assert shown == []
    else:
        assert [bold for _, bold in shown] == [beat == strong for beat in range(4)]


def test_the_end_of_the_count_can_be_told(theme, written):
    page = run_page(theme, a_sheet())
    page.count_in = type(page.count_in)((4.0, 5.0), ("1", "2"), end_s=7.5)
    assert counted(page, written, 7.4) == [("1", False), ("2", True)]
    assert counted(page, written, 7.6) == []
