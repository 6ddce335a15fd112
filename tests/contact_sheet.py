"""All pages in all themes on one sheet: python -m tests.contact_sheet [FOLDER]

Writes ``contact-sheet.png``, a row for each page and a column for each theme, and each page by
itself in the light theme, into FOLDER (default ``contact-sheet``). The pictures in README.md are
made by it too: ``--readme``.
"""

import os

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")

import argparse
from pathlib import Path

import pygame

from playalong.screen.base.theme import Theme
from playalong.screen.home_pages.first import FirstPage
from playalong.support.resources import folder
from tests.screen.every_page import PAGES, first_page, result, run_page

#: The themes by name: dark, larger, strong contrast.
THEMES = {
    "light": (False, False, False),
    "dark": (True, False, False),
    "strong": (False, False, True),
    "strong dark": (True, False, True),
    "larger": (False, True, False),
}
SIZE, SMALL, GAP = (1280, 720), (640, 360), 16


def named(theme: Theme) -> FirstPage:
    """The first page of somebody with a short name."""
    page = first_page(theme)
    page.title, page.chosen = "Good evening, Ana", 0
    page.cards = [card for card in page.cards if card.title != "Watch"]
    return page


#: The pictures in README.md.
README = {
    "window": (run_page, 12.4),
    "first-page": (named, 0.0),
    "result-page": (result, 0.0),
}


def theme_of(name: str) -> Theme:
    """A theme by its name."""
    dark, large, strong = THEMES[name]
    return Theme.load(folder("assets") / "fonts", dark, large, strong=strong)


def drawn(maker, at_s: float, theme: Theme, *, size: tuple[int, int] = SIZE) -> pygame.Surface:
    """A page as a picture."""
    surface = pygame.Surface(size)
    maker(theme).draw(surface, at_s)
    return surface


def main() -> None:
    """Draw them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=Path("contact-sheet"))
    parser.add_argument("--readme", action="store_true", help="make README's pictures instead")
    given = parser.parse_args()
    pygame.init()
    if given.readme:
        for name, (maker, at_s) in README.items():
            picture = drawn(maker, at_s, theme_of("light"))
            pygame.image.save(picture, Path("assets") / f"{name}.png")
        return
    given.folder.mkdir(parents=True, exist_ok=True)
    step = SMALL[0] + GAP, SMALL[1] + GAP
    sheet = pygame.Surface((step[0] * len(THEMES) + GAP, step[1] * len(PAGES) + GAP))
    sheet.fill((128, 128, 128))
    for row, (name, (maker, at_s)) in enumerate(PAGES.items()):
        for column, theme in enumerate(THEMES):
            picture = drawn(maker, at_s, theme_of(theme))
            if theme == "light":
                pygame.image.save(picture, given.folder / f"{name}.png")
            at = GAP + column * step[0], GAP + row * step[1]
            sheet.blit(pygame.transform.smoothscale(picture, SMALL), at)
    pygame.image.save(sheet, given.folder / "contact-sheet.png")
    print(f"{len(PAGES)} pages in {len(THEMES)} themes: {given.folder / 'contact-sheet.png'}")


if __name__ == "__main__":
    main()
