"""The page before the first run."""

import pygame
import pytest

from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.base.rows import Choice, Rows
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
    assert {"84 bpm", "12 ms ± 3, played along", "−18 dB"} <= words
    assert any(text.startswith("16 bars") for text in words)
    assert any("physician" in text for text in words)
    assert {"snare", "kick", "floor tom", "1", "e", "&", "a"} <= words


def test_the_strokes_to_come_are_drawn_as_they_will_be_on_the_sheet(theme):
    page = ReadyPage(
        theme=theme,
        title="A Test",
        tempo_bpm=84.0,
        run_bars=4,
        bars=[groove_bar()],
        voices=("hi-hat", "snare", "kick"),
    )
    surface = picture(page)
    assert has(surface, LIGHT.ahead)
    assert not has(surface, LIGHT.off)
    page.bars = [type(groove_bar())(groove_bar().meter, (), groove_bar().divisions)]
    assert not has(picture(page), LIGHT.ahead)


@pytest.mark.parametrize("size", [(900, 560), (1280, 720)])
def test_the_chosen_row_is_always_shown(looks, written, size):
    page = ready_page(looks)
    for number in range(len(page.rows.choices)):
        written.clear()
        page.rows.chosen = number
        surface = picture(page, size)
        texts = [text for text in on(written, surface) if text.bold]
        (name,) = [text for text in texts if text.words == page.rows.choice.name]
        assert surface.get_rect().contains(name.ink)
        assert any(text.words == page.rows.choice.value for text in texts)


def test_presses_give_outcomes(theme, written):
    page = ready_page(theme)
    page.rows.chosen = 0
    wishes = {
        Key.ENTER: Outcome.START,
        Key.RIGHT: Outcome.MORE,
        Key.LEFT: Outcome.LESS,
        Outcome.FASTER: Outcome.MORE,
        Outcome.SLOWER: Outcome.LESS,
        "h": Outcome.HEAR,
        "p": Outcome.PRACTISE,
        Key.ESCAPE: Outcome.LEAVE,
        Key.CLOSE: Outcome.LEAVE,
    }
    assert {key: page.handle(key) for key in wishes} == wishes
    assert not page.offers(Outcome.SKIP)
    assert page.handle("x") is None
    chosen = []
    for press in (Key.DOWN, Outcome.NEXT, Key.UP, Outcome.BACK, Outcome.BACK):
        assert page.handle(press) is None
        chosen.append(page.rows.chosen)
    assert chosen == [1, 2, 1, 0, len(page.rows.choices) - 1]
    surface = picture(page)
    start = next(text for text in on(written, surface) if text.words == "Start")
    assert page.handle(Click(*start.rect.center)) is Outcome.START


def test_rows_that_find_no_room_are_told(theme, monkeypatch):
    """How many lie above and below, where not all are shown."""
    said: list[str] = []
    text = Pen.text

    def noted(pen, words, *more, **how):
        said.append(words)
        return text(pen, words, *more, **how)

    monkeypatch.setattr(Pen, "text", noted)
    surface = pygame.Surface((1280, 720))
    rows = Rows([Choice(name=f"row {number}", value="on") for number in range(12)])
    rows.draw(Pen(surface, theme), pygame.Rect(0, 0, 600, 200))
    shown = [words for words in said if words.startswith("row")]
    assert f"{12 - len(shown)} more below" in said
    said.clear()
    rows.chosen = 6
    rows.draw(Pen(surface, theme), pygame.Rect(0, 0, 600, 200))
    shown = [words for words in said if words.startswith("row")]
    assert any("more above" in words and "more below" in words for words in said)
    assert "row 6" in shown
    said.clear()
    rows.draw(Pen(surface, theme), pygame.Rect(0, 0, 600, 600))
    assert len([words for words in said if words.startswith("row")]) == 12
    assert not any("more" in words for words in said)
