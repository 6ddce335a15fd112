"""The pages of a lesson: what is said in a rest, what is called, the plan, the texture."""

import pytest

from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.theme import LIGHT, Theme
from playalong.screen.base.widgets import LESSON, Buttons
from playalong.screen.pages.plan import PlanLine, PlanPage
from playalong.screen.pages.texture import TexturePage

from .screen_samples import a_sheet, run_page
from .test_screen_pages import SIZES, check_texts, has, picture

SAID = (
    "The ghost note of the snare on the e of 3 is 9 dB too loud: keep the stick low.",
    "Again: three times it was not clean. Slower, at 51 bpm, so that there is time.",
)


@pytest.fixture(params=[False, True], ids=["normal", "larger"])
def sized(request, fonts) -> Theme:
    return Theme.load(fonts, large=request.param)


def lesson_page(theme: Theme):
    page = run_page(theme, a_sheet())
    page.buttons = Buttons(LESSON)
    return page


@pytest.mark.parametrize("size", SIZES)
def test_what_is_said_stands_ahead_of_the_now_line(sized, written, size):
    page = lesson_page(sized)
    page.said = SAID
    surface = picture(page, size, now_s=8.0)
    lines = [
        text
        for text in written
        if text.surface is surface and len(text.words) > 3 and text.words in " ".join(SAID)
    ]
    said = [text for text in lines if text.words not in ("clean", "snare")]  # on the page anyway
    assert " ".join(text.words for text in said) == " ".join(SAID)
    for text in said:
        assert text.rect.left > 0.39 * size[0]
        assert surface.get_rect().contains(text.rect)


@pytest.mark.parametrize("size", SIZES)
def test_what_is_called_stands_at_the_top(sized, written, size):
    page = lesson_page(sized)
    page.called = "last-whisper"
    surface = picture(page, size)
    (called,) = [text for text in written if text.words == "Next bar: last-whisper"]
    assert called.rect.bottom < size[1] / 5
    check_texts(written, surface)


def test_keys_of_a_lesson(theme):
    page = lesson_page(theme)
    wishes = {
        "p": Outcome.PLAN,
        "h": Outcome.HEAR,
        "b": Outcome.BACK,
        "e": Outcome.EASIER,
        "S": Outcome.SKIP,
        Key.ESCAPE: Outcome.LEAVE,
    }
    assert {key: page.handle(key) for key in wishes} == wishes
    assert page.handle("x") is None


def plan_page(theme: Theme, steps: int = 40, now: int = 12) -> PlanPage:
    lines = [
        PlanLine(
            words=f"Step {n}, alone; then a bar of rest.",
            done=n < now,
            left_out=n == 3,
            now=n == now,
            took="4 times, 16 s",
        )
        for n in range(steps)
    ]
    return PlanPage(theme, "Late Bus Home", lines, notes=["Another day."])


@pytest.mark.parametrize("size", SIZES)
def test_the_plan_shows_what_is_played_now(sized, written, size):
    surface = picture(plan_page(sized), size)
    words = [text.words for text in written if text.surface is surface]
    assert "Step 12, alone; then a bar of rest." in words
    assert "12 of 40 steps learned" in words
    check_texts(written, surface)


def test_the_plan_is_gone_through_by_keys_and_by_strokes(theme, written):
    page = plan_page(theme)
    picture(page)
    assert page.chosen == page.now == 12
    for key, times in ((Key.UP, 50), (Outcome.NEXT, 100), (Outcome.BACK, 100), (Key.DOWN, 100)):
        for _ in range(times):
            assert page.handle(key) is None
        written.clear()
        picture(page)
        shown = [text.words for text in written if text.words.startswith("Step ")]
        is_first = key in (Key.UP, Outcome.BACK)
        assert page.chosen == (0 if is_first else 39)
        end = "Step 0," if is_first else "Step 39,"
        assert any(words.startswith(end) for words in shown)
    assert page.handle(Key.ENTER) is Outcome.AGAIN
    assert page.handle(Key.ESCAPE) is Outcome.LEAVE


@pytest.mark.parametrize("size", SIZES)
def test_every_step_of_a_plan_can_be_reached_and_none_is_cut_off(sized, written, size):
    page = plan_page(sized, steps=24, now=0)
    seen = set()
    for number in range(24):
        assert page.chosen == number
        written.clear()
        surface = picture(page, size)
        words = [text.words for text in written if text.surface is surface]
        assert f"Step {number}, alone; then a bar of rest." in words
        seen.update(word for word in words if word.startswith("Step "))
        page.handle(Outcome.NEXT)
    assert seen == {f"Step {n}, alone; then a bar of rest." for n in range(24)}


def test_a_step_is_chosen_by_a_click(theme, written):
    page = plan_page(theme)
    picture(page)
    row = next(t for t in written if t.words.startswith("Step 14,"))
    assert page.handle(Click(*row.rect.center)) is None
    assert page.chosen == 14


@pytest.mark.parametrize("size", SIZES)
def test_the_texture_says_what_to_do_next_and_fills_its_page(sized, written, size):
    rows = [("push", (1, 5)), ("no-whispers", ()), ("as written", (0, 2, 3, 4, 6, 7))]
    page = TexturePage(
        sized, "Late Bus Home", rows, bars=8, words=["Words."], next="Play it as well."
    )
    surface = picture(page, size)
    check_texts(written, surface)
    said = next(t for t in written if t.words == "Play it as well.")
    assert said.rect.top > 0.6 * size[1]
    last = next(t for t in written if t.words == "8" and t.surface is surface)
    assert last.rect.centerx > 0.85 * size[0]


@pytest.mark.parametrize("size", SIZES)
def test_the_texture_has_a_dot_for_every_bar_played(sized, written, size):
    rows = [("push", (1, 5)), ("no-whispers", ()), ("as written", (0, 2, 3, 4, 6, 7))]
    page = TexturePage(
        sized, "Late Bus Home", rows, bars=8, words=['"push" in 2 bars.', "Never: one."]
    )
    surface = picture(page, size)
    check_texts(written, surface)
    assert has(surface, LIGHT.ink)
    names = {t.words: t.rect for t in written if t.words in ("push", "no-whispers")}
    heads = {t.words: t.rect for t in written if t.words in ("2", "3")}

    def ink(row: str, bar: str) -> bool:
        return surface.get_at((heads[bar].centerx, names[row].centery))[:3] == LIGHT.ink

    assert ink("push", "2")
    assert not ink("push", "3")
    assert not ink("no-whispers", "2")
