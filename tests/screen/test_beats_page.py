"""The page on which the beats of a recording are set."""

import numpy as np
import pygame
import pytest

from playalong.pattern.beat_map import BeatMap
from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.theme import LIGHT, Theme
from playalong.screen.pages import beats as beats_page
from playalong.screen.pages.beats import SETTINGS, SPANS_S, BeatsPage, Setting
from playalong.screen.pages.wait import WaitPage

from .beats_samples import BEATS, LENGTH_S, a_page, overview
from .kit_samples import CALL, CALLED
from .screen_samples import Written
from .test_buttons import on
from .test_screen_pages import SIZES, check_texts, has, picture


@pytest.fixture(params=[(False, False), (True, False), (False, True)], ids=str)
def looks(request, fonts) -> Theme:
    dark, large = request.param
    return Theme.load(fonts, dark, large)


@pytest.mark.parametrize("size", [*SIZES, (1920, 1080)])
@pytest.mark.parametrize("called", [False, True], ids=["keys", "pads"])
@pytest.mark.parametrize("span", [0, 3, 6])
def test_no_text_touches_another(looks, written, size, called, span):
    pads = {"pads": CALLED, "call": CALL} if called else {}
    check_texts(written, picture(a_page(looks, span=span, **pads), size, 20.0))


def words_of(written: list[Written], page, now_s: float = 20.0) -> set[str]:
    return {text.words for text in on(written, picture(page, now_s=now_s))}


def test_it_says_where_it_is_and_what_is_set(theme, written):
    said = words_of(written, a_page(theme), now_s=7.52)  # just after the 1 of bar 4
    assert {"bar 4, beat 1", "bar 3", "bar 6", "−6 dB", "8 s", "on beat 3", "110"} <= said
    assert {*Setting} <= said
    assert "0:07.5 of 1:00.0" in said


def test_without_beats_it_shows_none(theme, written):
    page = a_page(theme, beats=None, loop=None)
    assert "no beats yet" in words_of(written, page)
    assert not any("bpm" in words for words in words_of(written, page))


# The sheet.


def row_of_beats(page: BeatsPage, now_s: float, size=(1280, 720)) -> np.ndarray:
    """Where on the sheet there is ink from near its top to near its bottom, in seconds."""
    surface = picture(page, size, now_s)
    scale = page._sheets[0]
    rect = scale.rect
    part = pygame.surfarray.array3d(surface)[rect.left : rect.right, rect.top : rect.bottom]
    ink = (part[:, rect.height // 4 : -8] == np.array(LIGHT.ink)).all(axis=2).all(axis=1)
    columns = np.flatnonzero(ink)
    firsts = columns[np.insert(np.diff(columns) > 1, 0, True)]
    return np.array([scale.time_s(rect.left + int(x)) for x in firsts])


def test_every_beat_in_sight_is_a_line_where_it_is(theme):
    now_s = 20.13
    found_s = row_of_beats(a_page(theme, loop=None), now_s)
    scale_s = SPANS_S[3]
    times_s = np.array(BEATS.times_s)
    seen = times_s[(times_s > now_s - 0.35 * scale_s) & (times_s < now_s + 0.64 * scale_s)]
    pixel_s = scale_s / 1208
    expected = np.sort(np.append(seen, now_s))
    assert len(found_s) == len(expected)
    assert np.abs(found_s - expected).max() < 2.5 * pixel_s


def test_the_line_stands_still_and_the_sheet_runs(theme):
    page = a_page(theme)
    places = set()
    for now_s in (10.0, 10.5, 33.3):
        picture(page, now_s=now_s)
        places.add(round(page._sheets[0].x(now_s)))
    assert max(places) - min(places) <= 1


def test_bars_that_are_to_be_played_are_shown(theme):
    assert has(picture(a_page(theme, chosen=0), now_s=BEATS.bar_start_s(4)), LIGHT.ahead)
    page = a_page(theme, loop=None, tapping=True)  # nothing is chosen either
    assert not has(picture(page, now_s=20.0), LIGHT.ahead)


def test_the_sound_is_drawn_where_it_is(theme):
    page = a_page(theme, beats=None, loop=None)
    surface = picture(page, now_s=20.0)
    scale = page._sheets[0]
    y = scale.rect.top + scale.rect.height // 4
    for time_s, is_loud in ((19.05, True), (19.5, False), (21.05, True), (22.6, False)):
        at = (round(scale.x(time_s)), y)
        assert (surface.get_at(at)[:3] == LIGHT.rule) is is_loud, time_s


def test_what_was_drawn_is_kept_and_not_too_much_of_it(theme):
    page = a_page(theme)
    for now_s in np.arange(0.0, LENGTH_S, 0.5).tolist():
        picture(page, now_s=now_s)
    assert len(page._pieces) <= beats_page._PIECES


def test_before_the_recording_and_after_it_the_page_still_stands(theme):
    for now_s in (0.0, LENGTH_S, LENGTH_S + 5.0):
        assert has(picture(a_page(theme), now_s=now_s), LIGHT.ink)
    empty = BeatsPage(theme=theme, title="short.wav", length_s=0.0, overview=overview)
    assert has(picture(empty, now_s=0.0), LIGHT.ink)


@pytest.mark.parametrize("per_bar", [1, 7, 200])
def test_any_bar_is_drawn(theme, written, per_bar):
    beats = BeatMap.of(BEATS.times_s, 0, per_bar)
    said = words_of(written, a_page(theme, beats=beats, loop=None, per_bar=per_bar))
    assert ("less than a bar of beats" in said) is (per_bar == 200)


# What can be done.


def test_arrows_choose_and_change(theme):
    page = a_page(theme, chosen=0)
    for setting in SETTINGS:
        assert page.setting is setting
        assert page.handle(Key.DOWN) is None
    assert page.setting is SETTINGS[0]
    page.handle(Key.UP)
    assert page.setting is SETTINGS[-1]


@pytest.mark.parametrize("setting", [one for one in SETTINGS if one is not Setting.SHEET])
def test_less_and_more_of_a_setting(theme, setting):
    page = a_page(theme, chosen=SETTINGS.index(setting))
    own = {
        Setting.ORIGIN: (Outcome.AGAIN, Outcome.FASTER),
        Setting.CHANGES: (Outcome.UNDO, Outcome.REDO),
    }
    asked = page.handle(Key.LEFT), page.handle(Key.RIGHT)
    assert asked == own.get(setting, (Outcome.SLOWER, Outcome.FASTER))


def test_less_and_more_on_the_sheet(theme):
    page = a_page(theme, chosen=SETTINGS.index(Setting.SHEET))
    before_s = page.span_s
    assert page.handle(Key.RIGHT) is None
    assert page.span_s == 2 * before_s
    for _ in range(20):
        page.handle(Key.LEFT)
    assert page.span_s == SPANS_S[0]
    for _ in range(20):
        page.handle(Key.RIGHT)
    assert page.span_s == SPANS_S[-1]


@pytest.mark.parametrize(
    ("key", "outcome"),
    [
        (Key.ENTER, Outcome.START),
        ("t", Outcome.AGAIN),
        ("u", Outcome.UNDO),
        ("K", Outcome.LEAVE),
        (Key.ESCAPE, Outcome.LEAVE),
        (Key.CLOSE, Outcome.LEAVE),
    ],
)
def test_keys(theme, key, outcome):
    assert a_page(theme).handle(key) is outcome
    assert a_page(theme).offers(outcome)


def test_while_the_player_taps_only_stopping_and_leaving_are_offered(theme):
    page = a_page(theme, tapping=True, playing=True)
    for outcome in (Outcome.AGAIN, Outcome.UNDO, Outcome.SLOWER, Outcome.NEXT):
        assert not page.offers(outcome)
    assert page.handle(Key.ENTER) is Outcome.START
    assert page.handle(Key.SPACE) is None
    assert page.handle(Key.SPACE) is None
    assert page.struck == 2


def test_space_is_no_tap_while_nothing_is_tapped(theme):
    page = a_page(theme)
    page.handle(Key.SPACE)
    assert page.struck == 0


def test_strokes_ask_as_keys_do(theme):
    page = a_page(theme, chosen=0, pads=CALLED, call=CALL)
    assert page.handle(Outcome.NEXT) is None
    assert page.chosen == 1
    assert page.handle(Outcome.FASTER) is Outcome.FASTER


def test_pads_are_shown_unless_they_tap(theme, written):
    assert CALL in words_of(written, a_page(theme, pads=CALLED, call=CALL))
    assert CALL in words_of(written, a_page(theme, pads=CALLED, call=CALL, playing=True))
    tapping = a_page(theme, pads=CALLED, call=CALL, playing=True, tapping=True)
    assert CALL not in words_of(written, tapping)


def test_to_leave_is_to_keep_where_there_is_something(theme, written):
    assert "keep them" in words_of(written, a_page(theme))
    assert "leave" in words_of(written, a_page(theme, beats=None, loop=None))


def test_a_click_goes_to_a_place(theme):
    page = a_page(theme)
    picture(page, now_s=20.0)
    sheet, whole = page._sheets
    page.handle(Click(round(sheet.x(22.0)), sheet.rect.centery))
    assert page.wanted_s == pytest.approx(22.0, abs=0.01)
    page.handle(Click(round(whole.x(45.0)), whole.rect.centery))
    assert page.wanted_s == pytest.approx(45.0, abs=0.1)
    picture(page, now_s=1.0)
    page.handle(Click(page._sheets[0].rect.left, sheet.rect.centery))
    assert page.wanted_s == 0.0  # not before the beginning


def test_a_click_on_a_sheet_is_a_tap_while_the_player_taps(theme):
    page = a_page(theme, tapping=True, playing=True, chosen=0)
    picture(page, now_s=20.0)
    for scale in page._sheets:
        assert page.handle(Click(*scale.rect.center)) is None
    assert page.struck == 2
    page.handle(Click(*page._cells[3].center))
    assert (page.wanted_s, page.chosen, page.struck) == (None, 0, 2)


def test_a_click_chooses_a_setting(theme, written):
    page = a_page(theme)
    surface = picture(page)
    for number, setting in enumerate(SETTINGS):
        label = next(text for text in on(written, surface) if text.words == setting)
        assert page.handle(Click(*label.rect.center)) is None
        assert page.chosen == number


# Waiting.


@pytest.mark.parametrize("size", SIZES)
def test_waiting_says_what_for_and_how_far(looks, written, size):
    page = WaitPage(
        theme=looks, title="rainy evening.flac", words="Reading rainy evening.flac", share=0.37
    )
    surface = picture(page, size)
    said = {text.words for text in on(written, surface)}
    assert {"rainy evening.flac", "Reading rainy evening.flac", "37 %"} <= said
    assert page.handle(Key.ESCAPE) is Outcome.LEAVE
    assert page.offers(Outcome.LEAVE)


def test_the_bar_grows(theme):
    def ink(share: float) -> int:
        surface = picture(WaitPage(theme=theme, title="", words="", share=share))
        middle = pygame.surfarray.array3d(surface)[:, 365]
        return int((middle == np.array(LIGHT.ink)).all(axis=1).sum())

    assert ink(0.0) == 0
    assert ink(0.5) == pytest.approx(ink(1.0) / 2, abs=2)
