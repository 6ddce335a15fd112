from fractions import Fraction
from itertools import combinations

import numpy as np
import pygame
import pytest

from playalong.grading.matching.live_grader import Grader
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import BY_NAME
from playalong.records.pattern_files import library
from playalong.screen.base.keys import Click, Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.theme import LIGHT, Theme
from playalong.screen.base.widgets import HEAR, LEAVE, Buttons
from playalong.screen.sheet.sheet import Sheet

from .screen_samples import (
    RULES,
    a_pattern,
    a_run,
    a_sheet,
    answering,
    crowded_bar,
    groove_bar,
    place_grade,
    result_page,
    run_page,
)

SIZES = [(900, 560), (1280, 720), (2560, 1440)]


@pytest.fixture(params=[False, True], ids=["normal", "larger"])
def sized(request, fonts) -> Theme:
    return Theme.load(fonts, large=request.param)


def has(surface: pygame.Surface, colour: tuple[int, int, int]) -> bool:
    return bool((pygame.surfarray.array3d(surface) == np.array(colour)).all(axis=2).any())


def picture(page, size=(1280, 720), now_s: float = 2.0) -> pygame.Surface:
    surface = pygame.Surface(size)
    page.draw(surface, now_s)
    return surface


def check_texts(written, surface: pygame.Surface) -> None:
    """No text on ``surface`` touches another or the edge."""
    texts = [text for text in written if text.surface is surface and text.words]
    assert len(texts) > 8
    for text in texts:
        assert surface.get_rect().contains(text.ink), text.words
    for one, other in combinations(texts, 2):
        assert not one.ink.colliderect(other.ink), (one.words, other.words)


def filled(page) -> None:
    """Something in every gauge."""
    for number in range(60):
        page.timing.add((number % 23) * 5.0 - 60.0)
        page.ghosts.add(number % 3 > 0, -30.0 + number % 5)
    page.steadiness.course = [(bar, 84.0 + bar / 10) for bar in range(20)]
    page.steadiness.trend = "speeding up"
    page.steadiness.first_bpm, page.steadiness.last_bpm = 84.0, 185.9


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("now_s", [-1.6, 3.0])
def test_no_text_of_a_run_touches_another(sized, written, size, now_s):
    page = run_page(
        sized,
        a_sheet(8, a_pattern([crowded_bar()])),
        title="A Rather Long Name for a Groove of One Bar",
        subtitle="beats 1 to 3 joined  ·  step 6 of 14  ·  one bar rest between repetitions",
        notices=["The click is quiet to begin with", "No sound: the output is used elsewhere"],
    )
    filled(page)
    surface = picture(page, size, now_s)
    check_texts(written, surface)


def test_what_stands_still_is_drawn_anew_where_it_shows_something_else(theme):
    """A page that was drawn before looks as one that never was, whatever has changed since."""

    def changed(page, step: int) -> None:
        if step >= 1:
            page.timing.add(12.0, "snare hand")
        if step >= 2:
            page.ghosts.add(True, -30.0)
        if step >= 3:
            page.steadiness.course = [(0, 84.0), (1, 86.0)]
        if step >= 4:
            page.clean, page.called, page.notices = (1, 3), "more", ["The kit is gone."]
        if step >= 5:
            page.tempo_bpm, page.buttons = 90.0, Buttons([HEAR, LEAVE])

    kept, pictures = run_page(theme), set()
    for step in range(6):
        changed(page := run_page(theme), step)
        for name in ("timing", "ghosts", "steadiness", "clean", "called", "notices"):
            setattr(kept, name, getattr(page, name))
        kept.tempo_bpm, kept.buttons = page.tempo_bpm, page.buttons
        drawn = pygame.image.tobytes(picture(kept), "RGB")
        assert drawn == pygame.image.tobytes(picture(page), "RGB")
        assert drawn == pygame.image.tobytes(picture(kept), "RGB")
        pictures.add(drawn)
    assert len(pictures) == 6


@pytest.mark.parametrize("size", SIZES)
def test_no_text_of_an_empty_run_touches_another(sized, written, size):
    surface = picture(run_page(sized), size)
    check_texts(written, surface)


FIGURES = [
    (f"what was told {number}", "6 ms behind on average, 11 ms spread, leads")
    for number in range(14)
]


@pytest.mark.parametrize("size", SIZES)
def test_no_text_of_a_result_touches_another(sized, written, size):
    bars = [crowded_bar(), groove_bar(), groove_bar()]
    places = [
        place_grade(number, stroke, bar.meter, missed=8, late=7)
        for number, bar in enumerate(bars)
        for stroke in bar.strokes
    ]
    page = result_page(
        sized,
        bars,
        places,
        total=100.0,
        advice="The ghost note of the floor tom on the e of 2 is 11 dB too loud, 12 of 16 times: "
        "keep the stick low.",
        figures=FIGURES,
        notices=["The take is kept: /a/rather/long/folder/with/takes/a-test-2031-01-01-101500.mid"],
        caution="Rest your hands between runs, keep the volume low, and stop on pain or ringing.",
    )
    surface = picture(page, size)
    check_texts(written, surface)


def test_every_row_has_its_name(theme, written):
    pattern = a_pattern([crowded_bar()])
    surface = picture(run_page(theme, a_sheet(2, pattern)))
    words = [text.words for text in written if text.surface is surface]
    assert [BY_NAME[voice].label for voice in pattern.voices] == [
        word for word in words if word in {BY_NAME[voice].label for voice in pattern.voices}
    ]


def played(targets, late_ms: float, kept: int) -> Sheet:
    """A sheet after a player who plays every ``kept``-th target, so late."""
    _, bars = a_run()
    sheet, grader = Sheet(targets, bars, RULES), Grader(targets, RULES)
    for number, target in enumerate(range(0, len(targets), kept)):
        hit = answering(targets, target, late_ms)
        events = grader.time_passed(hit.time_s)
        sheet.hit(number, hit)
        for event in [*events, *grader.hit(hit)]:
            sheet.judged(event)
    for event in grader.finish():
        sheet.judged(event)
    return sheet


def test_only_what_is_off_has_the_second_colour(theme):
    pattern = a_pattern([crowded_bar()])
    targets = lay_out(pattern, 84.0, 2)

    def off(late_ms: float, kept: int) -> bool:
        page = run_page(theme, played(targets, late_ms, kept))
        # As large as it takes for a ring to be more than its soft edges.
        return has(picture(page, (1920, 1080), now_s=1.0), LIGHT.off)

    assert not off(5.0, 1)
    assert off(70.0, 1)
    assert off(5.0, 3)


def test_a_word_shows_in_the_next_frame(theme):
    targets, bars = a_run()
    sheet, grader = Sheet(targets, bars, RULES), Grader(targets, RULES)
    page = run_page(theme, sheet)
    before = pygame.surfarray.array3d(picture(page, now_s=0.05))
    hit = answering(targets, 0)
    sheet.hit(0, hit)
    for event in grader.hit(hit):
        sheet.judged(event)
    after = pygame.surfarray.array3d(picture(page, now_s=0.05))
    changed = np.argwhere((before != after).any(axis=2))
    assert len(changed)
    # Only about the box at the now-line, a good third of the way across.
    assert changed[:, 0].max() - changed[:, 0].min() < 40
    assert 400 < changed[:, 0].mean() < 640


def test_the_sheet_scrolls_to_the_left_by_what_time_has_passed(theme):
    page = run_page(theme)
    row = slice(160, 440)
    before = pygame.surfarray.array3d(picture(page, now_s=1.0))[760:1160, row]
    seconds = 0.4
    after = pygame.surfarray.array3d(picture(page, now_s=1.0 + seconds))
    shifts = [
        shift
        for shift in range(20, 140)
        if np.array_equal(after[760 - shift : 1160 - shift, row], before)
    ]
    assert len(shifts) == 1
    # Six beats at 84 bpm lie across a sheet that is not wider than the window.
    assert shifts[0] <= seconds * 1280 / (6 * 60 / 84)


def test_the_sheet_follows_the_size_of_the_window(theme):
    page = run_page(theme)
    for size in [*SIZES, (1280, 720)]:
        surface = picture(page, size)
        assert surface.get_at((size[0] - 2, size[1] // 3))[:3] == LIGHT.paper
        assert has(surface, LIGHT.ahead)


def test_the_beat_that_sounds_is_strong_in_the_count_in(theme, written):
    surface = picture(run_page(theme), now_s=-1.6)
    counted = [t for t in written if t.surface is surface and t.words in set("1234")]
    assert [(text.words, text.bold) for text in counted] == [
        ("1", False),
        ("2", True),
        ("3", False),
        ("4", False),
    ]
    assert min(text.rect.height for text in counted) > 60


def test_the_count_in_is_gone_at_bar_one(theme, written):
    surface = picture(run_page(theme), now_s=0.0)
    assert not [t for t in written if t.surface is surface and t.words in set("1234")]


def test_a_count_in_of_two_bars_has_two_rows(theme, written):
    page = run_page(theme)
    words = ("1", "2", "3", "4") * 2
    page.count_in = type(page.count_in)(tuple(-0.7 * (8 - n) for n in range(8)), words)
    surface = picture(page, now_s=-5.5)
    counted = [t for t in written if t.surface is surface and t.words in set("1234")]
    assert len({text.rect.centery for text in counted}) == 2
    assert [text.bold for text in counted] == [True] + [False] * 7


def test_a_run_shows_pads_once_they_are_known_and_keeps_what_does_not_move(theme, written):
    page, surface = run_page(theme), pygame.Surface((1280, 720))
    page.draw(surface, 1.0)
    names = {BY_NAME[voice].label for voice in page.sheet.targets.voices}
    assert names <= {one.words for one in written if one.surface is surface}
    written.clear()
    page.draw(surface, 1.1)
    assert not [one for one in written if one.surface is surface]
    page.buttons.show_pads({Outcome.LEAVE: "crash"}, "Kick twice, then:")
    page.draw(surface, 1.2)
    now = {one.words for one in written if one.surface is surface}
    assert names | {"Kick twice, then:"} <= now


@pytest.mark.parametrize("press", [Key.ESCAPE, Key.CLOSE])
def test_a_run_is_left(theme, press):
    assert run_page(theme).handle(press) is Outcome.LEAVE


@pytest.mark.parametrize("press", [Key.ENTER, Key.SPACE, "q", Click(5, 5)])
def test_other_presses_leave_a_run_alone(theme, press):
    page = run_page(theme)
    picture(page)
    assert page.handle(press) is None


def test_buttons_take_clicks(theme, written):
    page = result_page(theme, [groove_bar()])
    surface = picture(page)
    middle = {t.words: t.rect.center for t in written if t.surface is surface}
    assert page.handle(Click(*middle["Esc"])) is Outcome.LEAVE
    assert page.handle(Click(*middle["leave"])) is Outcome.LEAVE
    assert page.handle(Click(*middle["Again"])) is Outcome.AGAIN
    assert page.handle(Click(3, 3)) is None


@pytest.mark.parametrize(
    ("press", "outcome"),
    [(Key.ENTER, Outcome.AGAIN), (Key.ESCAPE, Outcome.LEAVE), (Key.CLOSE, Outcome.LEAVE)],
)
def test_a_result_is_left(theme, press, outcome):
    assert result_page(theme, [groove_bar()]).handle(press) is outcome


def test_a_result_says_score_advice_and_figures(theme, written):
    page = result_page(theme, [groove_bar()], advice="Wait for the snare.", total=80.6)
    surface = picture(page)
    words = {text.words for text in written if text.surface is surface}
    assert {"81", "Wait for the snare.", "on time", "112 of 128", "Rest between runs."} <= words
    score = next(text for text in written if text.words == "81")
    assert score.rect.height == max(text.rect.height for text in written)


def test_a_clean_result_has_no_second_colour(theme):
    assert not has(picture(result_page(theme, [groove_bar()])), LIGHT.off)


@pytest.mark.parametrize(("step", "count"), [(0, "1"), (3, "a"), (8, "3")])
def test_faults_are_drawn_under_their_count_in_their_row(theme, written, step, count):
    bar, at = crowded_bar(), Fraction(step, 16)
    voice = next(stroke.voice for stroke in bar.strokes if stroke.at == at)
    places = [place_grade(0, s, bar.meter, missed=5 if s.at == at else 0) for s in bar.strokes]
    surface = picture(result_page(theme, [bar], places))
    texts = [text for text in written if text.surface is surface]
    told = next(text for text in texts if text.words == "5")
    middle = next(text.rect.centerx for text in texts if text.words == count)
    name = next(text for text in texts if text.words == BY_NAME[voice].label)
    assert told.colour == LIGHT.off
    assert 0 < told.rect.left - middle < 24
    assert abs(told.rect.bottom - name.rect.bottom) < name.rect.height
    off = np.argwhere((pygame.surfarray.array3d(surface) == np.array(LIGHT.off)).all(axis=2))
    assert abs(off[off[:, 0] < told.rect.left, 0].mean() - middle) < 12


def test_a_long_pattern_is_gone_through_with_the_arrows(theme, written):
    bars = [crowded_bar()] * 5
    places = [
        place_grade(number, stroke, bar.meter, late=3 if number == 4 else 0)
        for number, bar in enumerate(bars)
        for stroke in bar.strokes
    ]
    page = result_page(theme, bars, places)

    def told() -> str:
        written.clear()
        picture(page)
        return next(text.words for text in written if "of 5" in text.words)

    assert told() == "← bar 5 of 5 →"  # the bar with the most faults comes first
    page.handle(Key.RIGHT)
    assert told() == "← bar 5 of 5 →"
    page.handle(Key.LEFT)
    assert told() == "← bar 4 of 5 →"
    for _ in range(4):
        page.handle(Key.LEFT)
    assert told() == "← bar 1 of 5 →"


def test_a_stroke_that_never_came_is_drawn_without_a_mark(theme):
    bar = groove_bar()
    places = [
        place_grade(0, stroke, bar.meter, missed=16 if stroke.voice == "kick" else 0)
        for stroke in bar.strokes
    ]
    assert has(picture(result_page(theme, [bar], places)), LIGHT.off)


def test_clean_repetitions_are_dots_or_figures(theme, written):
    page = run_page(theme)
    picture(page)
    assert "clean" in {text.words for text in written}
    page.clean = (12, 32)
    picture(page)
    assert "clean 12 of 32" in {text.words for text in written}


@pytest.mark.parametrize("name", ["late-bus-home", "falling-crates"])
@pytest.mark.parametrize("sentences", [1, 4, 7])
def test_the_course_of_the_tempo_is_on_every_result_page(theme, name, sentences):
    """Few rows and many, short words and long: it finds its room somewhere."""
    pattern = library().get(name)
    words = "The ghost note on the e of 3 is too loud, 7 of 8 times."
    advice = " ".join([words] * ((sentences + 1) // 2))
    told = {"advice": advice, "also": [words] * min(2, sentences)}
    drawn = []
    for course in ((), tuple((bar, 84.0 + bar % 3) for bar in range(8))):
        surface = pygame.Surface((1280, 720))
        page = result_page(theme, pattern.bars, course=course, requested_bpm=84.0, **told)
        page.draw(surface, 0.0)
        drawn.append(pygame.image.tobytes(surface, "RGB"))
    assert drawn[0] != drawn[1]
