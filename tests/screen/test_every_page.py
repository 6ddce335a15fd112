"""Every page at every size: nothing leaves the window, overlaps, is cut off, or is too small.

What is measured are boxes of ink: the pixels that a text draws.
"""

from dataclasses import replace
from functools import cache

import pygame
import pytest

from playalong.app.home.pattern_list import pattern_list
from playalong.app.home.waiting import shown_voices
from playalong.app.lesson.plan_lines import plan_lines
from playalong.app.play.tasks import task_of
from playalong.grading.gauges import Gauges
from playalong.grading.verdicts import Rules
from playalong.pattern.model import Pattern
from playalong.practice.lesson import Lesson
from playalong.screen.base.fonts import CAPITAL
from playalong.screen.base.keys import Key
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import SMALL, Theme
from playalong.screen.base.widgets import Buttons
from playalong.screen.home_pages.first import FirstPage, GoingOn
from playalong.screen.home_pages.patterns import PatternsPage
from playalong.screen.pages.plan import PlanLine, PlanPage
from playalong.screen.pages.ready import ReadyPage, unplayed
from playalong.screen.pages.result import ResultPage
from playalong.screen.pages.run import RunPage
from playalong.screen.sheet.sheet import Sheet

from .every_page import PAGES
from .kit_samples import CALL, CALLED, also
from .screen_samples import Written

#: A small old screen, the usual one, full high definition, and four times that.
SIZES = [(640, 480), (1280, 720), (1920, 1080), (3840, 2160)]


@pytest.fixture(scope="module", params=[False, True], ids=["normal", "larger"])
def sized(request, fonts) -> Theme:
    """Loaded once: what it has drawn of a text it has for the next page too."""
    return Theme.load(fonts, large=request.param)


@pytest.fixture
def cuts(monkeypatch) -> list[str]:
    """What was cut off while the test runs."""
    found: list[str] = []
    cut = Pen.cut

    def noted(pen, words, *where, bold=False) -> str:
        kept = cut(pen, words, *where, bold=bold)
        if kept != words:
            found.append(words)
        return kept

    monkeypatch.setattr(Pen, "cut", noted)
    return found


def check(page, at_s: float, size: tuple[int, int], *, written: list[Written]) -> None:
    written.clear()
    surface = pygame.Surface(size)
    page.draw(surface, at_s)
    texts = [text for text in written if text.surface is surface and text.words.strip()]
    assert texts
    for text in texts:
        assert surface.get_rect().contains(text.ink), text.words
    inks = [text.ink for text in texts]
    for number, text in enumerate(texts, 1):
        other = text.ink.collidelist(inks[number:])
        assert other < 0, (text.words, texts[number + other].words)
    unit = page_theme(page).unit(size)
    for text in texts:
        assert text.size >= SMALL, f"{text.words}: {text.size}"
        assert text.ink.height <= 2.2 * text.size * unit + 2


def page_theme(page) -> Theme:
    page = getattr(page, "_page", page)
    return getattr(page, "theme", None) or page._theme


def run_page_of(pattern: Pattern, theme: Theme) -> RunPage:
    """A run of ``pattern`` that has just begun."""
    task = task_of(pattern, Rules())
    targets, gauges = task.targets(), Gauges(task.targets(), task.rules, task.tempo_bpm)
    return RunPage(
        theme=theme,
        title=pattern.title,
        subtitle="bar 1 of 4",
        tempo_bpm=pattern.tempo,
        sheet=Sheet(targets, task.written(), task.rules, swing=pattern.swing),
        timing=gauges.timing,
        ghosts=gauges.ghosts,
        steadiness=gauges.steadiness,
    )


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("name", PAGES)
def test_every_page_finds_its_room(sized, written, cuts, name, size):
    maker, at_s = PAGES[name]
    page = maker(sized)
    check(page, at_s, size, written=written)
    buttons = getattr(page, "buttons", getattr(page, "_buttons", None))
    if isinstance(buttons, Buttons):
        buttons.show_pads(also(CALLED), CALL)
        check(page, at_s, size, written=written)
    assert cuts == []


@cache
def plans() -> list[tuple[Pattern, list[PlanLine]]]:
    """Each shipped pattern with the longest lines of its plan."""
    return [
        (
            pattern,
            [
                replace(line, sure="10 of 10", took="128 times, 12 min", stands="passed by")
                for line in plan_lines(Lesson(pattern))
            ],
        )
        for pattern in pattern_list([]).patterns.values()
    ]


@pytest.mark.parametrize("size", [(640, 480), (1280, 720)], ids=str)
def test_the_plan_of_every_shipped_pattern_finds_its_room(sized, written, cuts, size):
    for pattern, lines in plans():
        page = PlanPage(sized, pattern.title, lines, pads=CALLED, call=CALL)
        for _ in range(0, len(lines), 5):
            check(page, 0.0, size, written=written)
            page.handle(Key.RIGHT)
        assert page.chosen == len(lines) - 1
    assert cuts == []


@pytest.mark.parametrize("size", [(640, 480), (1280, 720)], ids=str)
def test_every_shipped_pattern_finds_its_room(sized, written, cuts, size):
    listed = pattern_list([])
    lines = listed.lines({})
    for name, pattern in listed.patterns.items():
        task = task_of(pattern, Rules())
        place = next(at for at, line in enumerate(lines) if line.name == name)
        check(PatternsPage(theme=sized, lines=lines, chosen=place), 0.0, size, written=written)
        ready = ReadyPage(
            theme=sized,
            title=pattern.title,
            tempo_bpm=pattern.tempo,
            run_bars=4,
            bars=task.written(),
            voices=pattern.voices,
        )
        check(ready, 0.0, size, written=written)
        page = run_page_of(pattern, sized)
        check(page, 1.0, size, written=written)
    assert cuts == []


@pytest.fixture
def drawn(monkeypatch) -> dict[str, list[float]]:
    """How high the boxes, the hatching, and the dots and rings were that are drawn meanwhile."""
    found: dict[str, list[float]] = {"box": [], "hatched": [], "mark": []}
    for name in ("box", "hatched"):
        draw = getattr(Pen, name)

        def noted(pen, rect, *colours, draw=draw, name=name, **named):
            found[name].append(rect.height / pen.unit)
            return draw(pen, rect, *colours, **named)

        monkeypatch.setattr(Pen, name, noted)
    draw_mark = Pen.mark

    def noted_mark(pen, mark, at):
        found["mark"].append(mark.get_bounding_rect().height / pen.unit)
        return draw_mark(pen, mark, at)

    monkeypatch.setattr(Pen, "mark", noted_mark)
    return found


def test_marks_in_pictures_of_a_bar_are_read_from_two_metres(fonts, drawn):
    """On every page with a bar, for the shipped patterns of each number of rows."""
    theme = Theme.load(fonts)
    listed = pattern_list([])
    by_rows = {len(pattern.voices): name for name, pattern in listed.patterns.items()}
    for name in by_rows.values():
        pattern = listed.patterns[name]
        bars, rules = task_of(pattern, Rules()).written(), Rules()
        places = [
            replace(
                unplayed(number, at, bar),
                targets=8,
                clean=4 + at % 4,
                missed=at % 3,
                late=1,
                mean_ms=(-30.0, 5.0, 60.0)[at % 3],
                mean_db=-9.0,
            )
            for number, bar in enumerate(bars)
            for at in range(len(bar.strokes))
        ]
        lines = listed.lines({})
        going = GoingOn(
            title="Go on", words="The kick.", bars=bars, voices=shown_voices(bars[0]), places=places
        )
        place = next(at for at, line in enumerate(lines) if line.name == name)
        pages = [
            FirstPage(theme=theme, title="Hello", subtitle="", going_on=going, cards=[]),
            PatternsPage(theme=theme, lines=lines, chosen=place),
            ReadyPage(
                theme=theme,
                title=pattern.title,
                tempo_bpm=pattern.tempo,
                run_bars=4,
                bars=bars,
                voices=pattern.voices,
            ),
            run_page_of(pattern, theme),
            ResultPage(
                theme,
                pattern.title,
                "",
                total=80.0,
                advice="The kick on the a of 1 comes late.",
                figures=[("on time", "7 of 8")],
                places=places,
                bars=bars,
                voices=pattern.voices,
                rules=rules,
            ),
        ]
        for page in pages:
            for heights in drawn.values():
                heights.clear()
            page.draw(pygame.Surface((1280, 720)), 1.0)
            assert drawn["box"], (name, page)
            # On the sheet the arrow of the line of now is a mark too.
            marks = 0 if isinstance(page, RunPage) else 12
            for kind, least in (("box", 24), ("hatched", 24), ("mark", marks)):
                assert min(drawn[kind], default=least) >= least, (name, type(page), kind)


def test_what_is_read_from_two_metres_is_as_large_as_it_must_be():
    """10 minutes of arc at 2 m are 5.8 mm; on a 14-inch screen of 16:9, 310 mm wide, 24 of the
    1280 units across. No letter is under half of that.
    """
    from math import pi, tan

    from playalong.screen.base import theme
    from playalong.screen.sheet import geometry

    unit_mm = 310.0 / 1280.0
    minutes = 2000.0 * tan(pi / 180.0 / 60.0)
    largest = {"count": theme.COUNT, "the one sentence": theme.ADVICE}
    for name, size in largest.items():
        assert CAPITAL * size * unit_mm >= 10.0 * minutes * 0.99, name
    assert CAPITAL * SMALL * unit_mm >= 5.0 * minutes
    assert geometry.LEAST_BOX * unit_mm >= 10.0 * minutes * 0.99
    assert 2 * geometry.CROSS * unit_mm >= 10.0 * minutes * 0.99
    assert 2 * geometry.DOT * unit_mm >= 5.0 * minutes * 0.99
    assert min(getattr(theme, name) for name in ("SMALL", "BODY", "LABEL", "TITLE")) == SMALL


def test_a_theme_that_is_larger_enlarges_all_that_is_read(fonts):
    normal, larger = Theme.load(fonts), Theme.load(fonts, large=True)
    assert larger.unit((1280, 720)) >= 1.2 * normal.unit((1280, 720))
    assert replace(normal, large=True).unit((640, 480)) > normal.unit((640, 480))


@pytest.mark.parametrize("name", PAGES)
def test_a_page_drawn_again_is_the_same(name: str, theme: Theme):
    """So one that stands still need not be drawn until something comes."""
    maker, at_s = PAGES[name]
    page, surface = maker(theme), pygame.Surface((1280, 720))
    page.draw(surface, at_s)
    once = surface.get_buffer().raw
    page.draw(surface, at_s)
    assert surface.get_buffer().raw == once
