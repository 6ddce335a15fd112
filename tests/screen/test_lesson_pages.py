"""The pages of a lesson: what is said in a rest, what is called, the plan, the texture."""

import pytest

from playalong.screen.base.fonts import CAPITAL
from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.theme import LABEL, LIGHT, Theme
from playalong.screen.base.widgets import LESSON, Buttons
from playalong.screen.pages.plan import PlanLine, PlanPage
from playalong.screen.pages.texture import TexturePage

from .every_page import PAGES
from .kit_samples import CALL, CALLED
from .screen_samples import a_pattern, a_sheet, crowded_bar, run_page
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


LONG = (
    "3 of 4 were not clean: strokes are missing, or there are too many.",
    "Slower, at 61 bpm, so that there is time for every stroke.",
    "6 minutes at this step: leave it for today? It comes back tomorrow.",
)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("is_paused", [False, True], ids=["said", "paused"])
def test_what_is_said_is_large_over_any_sheet(sized, written, size, is_paused):
    """Seven rows, and a foot of three lines: it reaches over the gauges before it gets small."""
    page = run_page(sized, a_sheet(4, a_pattern([crowded_bar()])))
    page.buttons = Buttons(LESSON, CALLED, CALL)
    page.said, page.paused = (LONG, ()) if not is_paused else ((), LONG)
    surface = picture(page, size, now_s=8.0)
    elsewhere = ("clean", "leave")
    own = [text for text in written if text.surface is surface and len(text.words) > 3]
    said = [text for text in own if text.words in " ".join(LONG) and text.words not in elsewhere]
    assert " ".join(text.words for text in said) == " ".join(LONG)
    assert min(text.size for text in said) >= LABEL
    check_texts(written, surface)


#: Pages of a lesson, the plan, and the beats of a recording.
READ_FROM_AFAR = (
    *("lesson-run", "lesson-heard", "lesson-rest", "lesson-long", "lesson-silent"),
    *("lesson-kit-gone", "lesson-kit-back", "listening-back"),
    *("plan", "afterwards", "texture", "beats"),
)


@pytest.mark.parametrize("name", READ_FROM_AFAR)
def test_what_works_a_lesson_is_read_from_two_metres(sized, written, name):
    """Six minutes of arc: more than good eyes need (five, ISO 8596); a gauge's reading a little
    less, where its title leaves no room.
    """
    maker, at_s = PAGES[name]
    surface = picture(maker(sized), now_s=at_s)
    larger = sized.unit((1280, 720))
    own = [text for text in written if text.surface is surface and text.words.strip()]
    arc_minutes = {text.words: CAPITAL * text.size * larger / 12 * 5 for text in own}
    assert min(arc_minutes.values()) > 5.7, min(arc_minutes, key=arc_minutes.get)
    buttons = {"Esc", "leave", "again", "the plan", "from the start", "kick twice"}
    assert all(minutes > 6 for words, minutes in arc_minutes.items() if words in buttons)


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
    return PlanPage(theme, "Late Bus Home", lines, notices=["Another day."])


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
