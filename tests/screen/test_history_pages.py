"""The pages that look back: all that they say is on the page, at every size."""

import pygame
import pytest

from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen
from playalong.screen.history_pages import plots
from playalong.screen.history_pages.choices import ERASE_ALL, ChoicesPage
from playalong.screen.history_pages.comparison import ComparisonPage
from playalong.screen.history_pages.look_back import LookBackPage, RunLine
from playalong.screen.history_pages.plots import Plot
from tests.helpers.stage import theme

SIZES = [(640, 480), (1280, 720), (1920, 1080)]


def plot(points, *, stands=False, low=0.0, high=100.0) -> Plot:
    return Plot(
        name="Score",
        words="90",
        points=points,
        low=low,
        high=high,
        ends=("0", "100"),
        span=("1 Oct", "today"),
        stands=stands,
    )


def page(runs=3, points=((0.0, 10.0), (0.5, 90.0), (1.0, 60.0))) -> LookBackPage:
    lines = [
        RunLine(when=f"{at} Nov, 18:30", what="Late Bus Home", tempo="84 bpm", score="91")
        for at in range(runs)
    ]
    return LookBackPage(
        theme(),
        "Look back",
        "Ines  ·  all patterns",
        said="Weakest place lately: the kick on the 3, 19 of 64 times off, mostly late.",
        also=["best 100, 22 Nov"],
        plots=[plot(points, stands=at == 0) for at in range(6)],
        runs=lines,
    )


def drawn(shown, size) -> pygame.Surface:
    surface = pygame.Surface(size)
    shown.draw(surface, 0.0)
    return surface


def has_ink(surface: pygame.Surface, rect: pygame.Rect) -> bool:
    part = pygame.surfarray.array3d(surface.subsurface(rect)).astype(int)
    return bool((part.sum(axis=2) < 3 * 120).any())


@pytest.mark.parametrize("size", SIZES)
def test_plots_and_runs_stand_beside_one_another_and_above_the_buttons(size):
    surface = drawn(page(40), size)
    wide, tall = size
    assert has_ink(surface, pygame.Rect(0, tall // 3, wide // 3, tall // 3))
    assert has_ink(surface, pygame.Rect(2 * wide // 3, tall // 3, wide // 3, tall // 3))
    unit = theme().unit(size)
    margin = pygame.Rect(0, 0, int(40 * unit), tall)
    assert not has_ink(surface, margin)
    margin.right = wide
    assert not has_ink(surface, margin)


def test_a_plot_draws_each_figure_at_its_height():
    """The lowest figure stands on the line, the highest at the upper edge, in order of time."""
    for points, highest in (((0.0, 0.0), (1.0, 100.0)), 1), (((0.0, 100.0), (1.0, 0.0)), 0):
        surface = pygame.Surface((400, 200))
        pen = Pen(surface, theme(), 1.0)
        surface.fill(pen.colours.paper)
        plots.draw(pen, surface.get_rect(), plot(points))
        upper = [pygame.Rect(left, 36, 40, 40) for left in (63, 360)]
        assert [has_ink(surface, rect) for rect in upper] == [highest == 0, highest == 1]


def test_keys_choose_a_run_and_open_it():
    shown = page(3)
    assert shown.handle(Key.DOWN) is None
    assert shown.chosen == 1
    assert shown.handle(Key.UP) is None
    assert shown.handle(Key.UP) is None
    assert shown.chosen == 2
    assert shown.handle(Key.ENTER) is Outcome.OPEN
    assert shown.handle("w") is Outcome.SPAN
    assert page(0, ()).handle(Key.ENTER) is None


@pytest.mark.parametrize("size", SIZES)
def test_nothing_yet_is_a_page_too(size):
    drawn(page(0, ()), size)
    drawn(page(1, ((1.0, 50.0),)), size)


@pytest.mark.parametrize("size", SIZES)
def test_a_long_list_can_be_gone_through_to_its_end(size):
    lines = [f"/home/ines/takes/{at}.mid" for at in range(100)]
    shown = ChoicesPage(theme(), "Erase", said="Erase all?", lines=lines, offered=[ERASE_ALL])
    first = pygame.image.tobytes(drawn(shown, size), "RGB")
    for _ in range(200):
        shown.handle(Key.DOWN)
        drawn(shown, size)
    assert pygame.image.tobytes(drawn(shown, size), "RGB") != first
    assert shown._first + shown._shown == 100
    assert shown.handle("y") is Outcome.ERASE


@pytest.mark.parametrize("size", SIZES)
def test_two_runs_stand_side_by_side(size):
    rows = [(f"figure {at}", "11 ms ahead on average", "2 ms behind") for at in range(20)]
    shown = ComparisonPage(theme(), "Late Bus Home", named=("one", "other"), rows=rows)
    surface = drawn(shown, size)
    wide, tall = size
    for left in (0.25, 0.62):
        assert has_ink(surface, pygame.Rect(int(left * wide), tall // 2, wide // 6, tall // 4))
