"""The page before the first run."""

from itertools import combinations

import pytest

from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.theme import LIGHT, Theme
from playalong.screen.base.widgets import Buttons
from playalong.screen.pages.ready import READY, ReadyPage

from .kit_samples import CALL, CALLED, ready_page
from .screen_samples import groove_bar
from .test_buttons import on
from .test_screen_pages import SIZES, check_texts, has, picture

ALL_SIZES = [*SIZES, (1920, 1080)]


@pytest.fixture(params=[(False, False), (True, False), (False, True)], ids=str)
def looks(request, fonts) -> Theme:
    dark, large = request.param
    return Theme.load(fonts, dark, large)


@pytest.mark.parametrize("size", ALL_SIZES)
@pytest.mark.parametrize("called", [False, True], ids=["keys", "pads"])
def test_no_text_touches_another(looks, written, size, called):
    page = ready_page(looks)
    if called:
        page.buttons = Buttons(READY, CALLED, CALL)
    check_texts(written, picture(page, size))


def test_it_says_what_will_be_played_and_on_what(theme, written):
    surface = picture(ready_page(theme))
    words = {text.words for text in on(written, surface)}
    assert {"84 bpm", "16 bars", "12 ms ± 3, played along", "−18 dB"} <= words
    assert any("physician" in text for text in words)
    assert {"snare", "kick", "floor tom", "1", "e", "&", "a"} <= words


def test_the_strokes_to_come_are_drawn_as_they_will_be_on_the_sheet(theme):
    page = ReadyPage(theme, "A Test", 84.0, 4, [groove_bar()], ("hi-hat", "snare", "kick"))
    surface = picture(page)
    assert has(surface, LIGHT.ahead)
    assert not has(surface, LIGHT.off)
    page.bars = [type(groove_bar())(groove_bar().meter, (), groove_bar().divisions)]
    assert not has(picture(page), LIGHT.ahead)


@pytest.mark.parametrize("choice", range(10))
@pytest.mark.parametrize("size", [(900, 560), (1280, 720)])
def test_the_chosen_variation_is_always_shown(looks, written, size, choice):
    page = ready_page(looks)
    page.choices = [f"variation number {number}" for number in range(10)]
    page.choice = choice
    surface = picture(page, size)
    texts = [text for text in on(written, surface) if text.words.startswith("variation")]
    assert [text.words for text in texts if text.bold] == [f"variation number {choice}"]
    assert all(surface.get_rect().contains(text.rect) for text in texts)
    assert not any(a.rect.colliderect(b.rect) for a, b in combinations(texts, 2))


def test_presses_give_outcomes(theme, written):
    page = ready_page(theme)
    wishes = {
        Key.ENTER: Outcome.START,
        Key.DOWN: Outcome.SLOWER,
        Key.UP: Outcome.FASTER,
        Key.RIGHT: Outcome.NEXT,
        Key.LEFT: Outcome.BACK,
        "h": Outcome.HEAR,
        Key.ESCAPE: Outcome.LEAVE,
        Key.CLOSE: Outcome.LEAVE,
    }
    assert {key: page.handle(key) for key in wishes} == wishes
    assert all(page.offers(outcome) for outcome in wishes.values())
    assert not page.offers(Outcome.SKIP)
    assert page.handle("x") is None
    surface = picture(page)
    start = next(text for text in on(written, surface) if text.words == "Start")
    assert page.handle(Click(*start.rect.center)) is Outcome.START
