"""Pages of a kit tell how they look, and are drawn when that is something else."""

from collections.abc import Mapping
from copy import copy
from dataclasses import fields, replace
from enum import Enum

import pygame
import pytest

from playalong.pattern.model import Dynamic
from playalong.screen.base.overlay import Struck
from playalong.screen.base.page import Looking, looks_of
from playalong.screen.base.widgets import Buttons
from playalong.screen.kit_pages.kit_drawing import KitDrawing, Link, Spot

from .kit_samples import latency_page, loudness_page, pads_page, triggers_page

MAKERS = {
    "pads": pads_page,
    "loudness": loudness_page,
    "triggers": triggers_page,
    "latency": latency_page,
}


def drawn(page, at_s: float = 0.0) -> bytes:
    surface = pygame.Surface((640, 360))
    page.draw(surface, at_s)
    return surface.get_buffer().raw


def otherwise(value):
    """Something else than ``value``, of its kind."""
    if isinstance(value, Enum):
        return next(one for one in type(value) if one is not value)
    if isinstance(value, str):
        return "snare" if value != "snare" else "ride"
    if isinstance(value, bool):
        return not value
    if isinstance(value, int | float):
        return value + 1
    if isinstance(value, Mapping):
        return {key: part for key, part in value.items() if key is not Dynamic.GHOST} or {
            Dynamic.GHOST: [30.0, 40.0]
        }
    if isinstance(value, Buttons):
        return Buttons(())
    if isinstance(value, KitDrawing):
        return KitDrawing(())
    if value is None:
        return "snare"
    return value[:-1] if len(value) else ("something",)


@pytest.mark.parametrize("name", MAKERS)
def test_whatever_is_set_otherwise_looks_otherwise(theme, name):
    page = MAKERS[name](theme)
    before = looks_of(page, 0.0)
    assert before == looks_of(page, 0.0)
    for field in fields(page):
        if field.init:
            changed = copy(page)
            value = getattr(page, field.name)
            other = replace(theme, large=True) if value is theme else otherwise(value)
            setattr(changed, field.name, other)
            assert looks_of(changed, 0.0) != before, field.name


@pytest.mark.parametrize("name", ["loudness", "triggers", "latency"])
def test_what_grows_in_its_place_looks_otherwise(theme, name):
    """Lists of strokes, of errors and of words may be the same objects from frame to frame."""
    page = MAKERS[name](theme)
    lists = [getattr(page, field.name) for field in fields(page)]
    lists += [part for value in lists if isinstance(value, dict) for part in value.values()]
    grown = [rows for rows in lists if isinstance(rows, list) and rows]
    assert grown
    for rows in grown:
        before = looks_of(page, 0.0)
        rows.append(rows[0])
        assert looks_of(page, 0.0) != before


def test_the_kit_looks_the_same_as_long_as_it_is_drawn_the_same(theme):
    page = pads_page(theme)
    seen: dict[object, bytes] = {}
    for step in range(60):
        at_s = 0.025 * step
        if step in (4, 20):
            page.drawing.strike("snare" if step == 4 else "ride", 90.0, at_s)
        if step == 30:
            page.drawing.lit = Spot("kick")
        if step == 34:
            page.drawing.links = [Link(start="snare", end="ride", words="3 %", share=0.4)]
        looks, picture = looks_of(page, at_s), drawn(page, at_s)
        assert seen.setdefault(looks, picture) == picture
    assert 6 < len(seen) < 40


def test_a_page_under_a_stroke_looks_as_it_does_with_that(theme):
    page = loudness_page(theme)
    struck = Struck(page=page, theme=theme, name="snare", velocity=80.0)
    assert looks_of(struck, 0.0) == looks_of(replace(struck), 0.0)
    assert looks_of(struck, 0.0) not in (looks_of(page, 0.0), None)
    for other in (replace(struck, name="ride"), replace(struck, velocity=81.0)):
        assert looks_of(other, 0.0) != looks_of(struck, 0.0)


class Counted:
    """A page that counts how often it is drawn; ``tells`` is how it looks."""

    times = 0

    def __init__(self, tells: tuple[object, ...] | None) -> None:
        self.tells = tells

    def looks(self, now_s: float) -> tuple[object, ...] | None:
        return self.tells

    def draw(self, surface, now_s: float) -> None:
        self.times += 1


def test_what_looks_the_same_is_not_drawn_again(window):
    page = Counted(("a",))
    assert isinstance(page, Looking)
    window.frame(page, 1.0)
    window.frame(page, 2.0)
    assert page.times == 1
    page.tells = ("b",)
    window.frame(page, 2.0)
    assert page.times == 2
    window.anew()
    window.frame(page, 2.0)
    assert page.times == 3
    window.frame(Counted(("a",)), 2.0)
    window.frame(page, 2.0)
    assert page.times == 4
    pygame.event.post(pygame.event.Event(pygame.WINDOWEXPOSED))
    window.presses()
    window.frame(page, 2.0)
    assert page.times == 5


def test_what_does_not_say_how_it_looks_is_drawn_in_every_frame(window):
    page = Counted(None)
    for _ in range(3):
        window.frame(page, 1.0)
    assert page.times == 3
