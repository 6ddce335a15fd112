import os

os.environ["SDL_VIDEODRIVER"] = "dummy"

from functools import cache
from pathlib import Path

import pygame
import pytest

from playalong.screen.base.fonts import Colour, Letters
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import Theme
from playalong.screen.base.window import Window

from .screen_samples import Written

FONTS = Path(__file__).resolve().parents[2] / "assets" / "fonts"


@pytest.fixture(scope="session")
def fonts() -> Path:
    return FONTS


@pytest.fixture(scope="session")
def theme() -> Theme:
    return Theme.load(FONTS)


@pytest.fixture
def window():
    opened = Window.open((1280, 720), offscreen=True)
    yield opened
    opened.close()


@cache
def ink_of(letters: Letters, words: str, size: int, *, bold: bool, colour: Colour) -> pygame.Rect:
    """The pixels that a text draws; looked for once, since the same texts stand on most pages."""
    return letters.rendered(words, size, bold, colour=colour).get_bounding_rect()


@pytest.fixture
def written(monkeypatch) -> list[Written]:
    """All text that is written while the test runs, and where."""
    texts: list[Written] = []
    text = Pen.text

    def noted(pen, words, size, *at, colour=None, bold=False, align=0.0) -> pygame.Rect:
        rect = text(pen, words, size, *at, colour=colour, bold=bold, align=align)
        colour = colour or pen.colours.ink
        drawn = ink_of(pen.theme.letters, words, pen.px(size), bold=bold, colour=colour)
        texts.append(
            Written(
                words=words,
                rect=rect,
                ink=drawn.move(rect.topleft),
                colour=colour,
                bold=bold,
                surface=pen.surface,
                size=size,
            )
        )
        return rect

    monkeypatch.setattr(Pen, "text", noted)
    return texts
