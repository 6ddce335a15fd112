"""The marks on the sheet, each drawn once, smoothly, and kept.

A mark is drawn several times too large and shrunk, which softens its edge; the library itself
draws circles with steps.
"""

from functools import lru_cache

import pygame

from playalong.screen.base.fonts import Colour

#: How many times too large a mark is drawn.
_FINE = 6


@lru_cache(maxsize=256)
def dot(radius: int, colour: Colour) -> pygame.Surface:
    """A solid dot: its middle pixel and ``radius`` more to each side."""
    surface, middle = _blank(radius, colour)
    pygame.draw.circle(surface, colour, (middle, middle), (radius + 0.5) * _FINE)
    return _shrunk(surface)


@lru_cache(maxsize=256)
def ring(radius: int, *, width: int, colour: Colour, inside: Colour | None) -> pygame.Surface:
    """A ring ``width`` pixels wide, open or filled with the colour ``inside``."""
    surface, middle = _blank(radius, colour)
    if inside is not None:
        pygame.draw.circle(surface, inside, (middle, middle), radius * _FINE)
    outer = (radius + 0.5) * _FINE
    pygame.draw.circle(surface, colour, (middle, middle), outer, width * _FINE)
    return _shrunk(surface)


@lru_cache(maxsize=256)
def cross(radius: int, width: int, colour: Colour) -> pygame.Surface:
    """A small cross, its arms ``radius`` pixels to each side."""
    surface, middle = _blank(radius, colour)
    arm = (radius - width / 4) * _FINE
    for slope in (-1, 1):
        start = (middle - arm, middle - slope * arm)
        end = (middle + arm, middle + slope * arm)
        pygame.draw.line(surface, colour, start, end, round(width * _FINE * 1.2))
    return _shrunk(surface)


@lru_cache(maxsize=64)
def pointer(radius: int, colour: Colour) -> pygame.Surface:
    """A triangle that points down."""
    surface, middle = _blank(radius, colour)
    far = radius * _FINE
    corners = [
        (middle - far, middle - far),
        (middle + far, middle - far),
        (middle, middle + far / 3),
    ]
    pygame.draw.polygon(surface, colour, corners)
    return _shrunk(surface)


@lru_cache(maxsize=512)
def box(
    size: tuple[int, int], *, fill: Colour, edge: Colour, width: int, dash: int
) -> pygame.Surface:
    """A box of one colour with an outline ``width`` pixels wide, in dashes unless ``dash`` is 0."""
    surface = pygame.Surface(size)
    surface.fill(fill)
    _outline(surface, edge=edge, width=width, dash=dash)
    return surface


@lru_cache(maxsize=512)
def hatched(
    size: tuple[int, int], step: int, paper: Colour, *, edge: Colour, width: int, dash: int
) -> pygame.Surface:
    """A box of slanting lines ``step`` pixels apart, with an outline like that of ``box``."""
    across, down = size
    surface = pygame.Surface(size)
    surface.fill(paper)
    for start in range(-down, across, step):
        pygame.draw.aaline(surface, edge, (start, 0), (start + down, down))
    _outline(surface, edge=edge, width=width, dash=dash)
    return surface


def _outline(surface: pygame.Surface, *, edge: Colour, width: int, dash: int) -> None:
    across, down = surface.get_size()
    dash = dash or max(across, down)
    for y in (0, down - width):
        for x in range(0, across, 2 * dash):
            surface.fill(edge, (x, y, dash, width))
    for x in (0, across - width):
        for y in range(0, down, 2 * dash):
            surface.fill(edge, (x, y, width, dash))


def _blank(radius: int, colour: Colour) -> tuple[pygame.Surface, float]:
    side = (2 * radius + 3) * _FINE
    surface = pygame.Surface((side, side), pygame.SRCALPHA)
    # Clear, but of the mark's own colour, so that its edge does not darken when shrunk.
    surface.fill((*colour, 0))
    return surface, side / 2


def _shrunk(surface: pygame.Surface) -> pygame.Surface:
    side = surface.get_width() // _FINE
    return pygame.transform.smoothscale(surface, (side, side))
