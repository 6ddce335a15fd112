"""The kit from above, in ink on paper: drums as double circles, cymbals with their bell.

A pad that is asked for is lit up. One that is struck darkens and pales again, and a ring about
its middle tells how loud it was: as large as the pad at velocity 127.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import Enum, StrEnum, auto
from functools import lru_cache
from math import cos, hypot, pi, sin

import pygame

from playalong.pattern.voices import BY_NAME
from playalong.screen.base.fonts import Colour
from playalong.screen.base.pen import Pen, Point
from playalong.screen.base.theme import BODY, SMALL, Theme
from playalong.screen.sheet.geometry import height_of


class Part(StrEnum):
    """A part of a pad. The rim of a cymbal is its edge."""

    MIDDLE = "middle"
    RIM = "rim"
    BELL = "bell"


class _Kind(Enum):
    DRUM = auto()
    CYMBAL = auto()
    BLOCK = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """A piece of the kit, its middle and its half width and height, in parts of the drawing."""

    voice: str
    x: float
    y: float
    across: float
    down: float
    kind: _Kind
    is_small: bool = False


_DRUM, _CYMBAL, _BLOCK = _Kind.DRUM, _Kind.CYMBAL, _Kind.BLOCK

#: The size of the whole drawing, and its pieces as a right-handed player usually has them, the
#: player sitting below (common practice; drawn apart, so that each can be seen).
_SIZE = (1000, 590)
_PIECES = {
    piece.voice: piece
    for piece in (
        _Piece(voice="china", x=910, y=390, across=80, down=80, kind=_CYMBAL),
        _Piece(voice="splash", x=488, y=62, across=48, down=48, kind=_CYMBAL, is_small=True),
        _Piece(voice="crash", x=235, y=110, across=98, down=98, kind=_CYMBAL),
        _Piece(voice="hi-hat", x=108, y=300, across=84, down=84, kind=_CYMBAL),
        _Piece(voice="ride", x=795, y=180, across=122, down=122, kind=_CYMBAL),
        _Piece(voice="cowbell", x=628, y=62, across=44, down=26, kind=_BLOCK, is_small=True),
        _Piece(voice="tambourine", x=76, y=90, across=44, down=44, kind=_CYMBAL, is_small=True),
        _Piece(voice="high-tom", x=398, y=222, across=74, down=74, kind=_DRUM),
        _Piece(voice="mid-tom", x=572, y=216, across=80, down=80, kind=_DRUM),
        _Piece(voice="snare", x=290, y=410, across=92, down=92, kind=_DRUM),
        _Piece(voice="floor-tom", x=690, y=424, across=104, down=104, kind=_DRUM),
        _Piece(voice="kick", x=486, y=420, across=84, down=104, kind=_DRUM),
        _Piece(voice="hi-hat-pedal", x=132, y=494, across=40, down=66, kind=_BLOCK, is_small=True),
    )
}

#: Where voices lie that are not a whole piece.
_ON = {
    "rim-shot": ("snare", Part.RIM),
    "cross-stick": ("snare", Part.RIM),
    "ride-bell": ("ride", Part.BELL),
    "hi-hat-open": ("hi-hat", Part.MIDDLE),
    "hi-hat-half": ("hi-hat", Part.MIDDLE),
    "foot-splash": ("hi-hat-pedal", Part.MIDDLE),
}

#: What most kits have.
USUAL = (
    "crash",
    "hi-hat",
    "ride",
    "high-tom",
    "mid-tom",
    "snare",
    "floor-tom",
    "kick",
    "hi-hat-pedal",
)

#: How far the middle of a drum or cymbal reaches, and a bell, in parts of the whole.
_MIDDLE, _BELL = 0.82, 0.27

#: How long a struck pad stays dark and its ring stays, in seconds, and in how many steps it pales.
_DARK_S, _RING_S, _STEPS = 0.4, 0.9, 5

#: Shapes are drawn so many times too large and shrunk, which softens their edges.
_FINE = 4

#: The least type of a name, in units; below it there is none.
_LEAST = SMALL


@dataclass(frozen=True, slots=True)
class Spot:
    """A part of the pad on which a voice lies."""

    voice: str
    part: Part | None = None

    @property
    def place(self) -> tuple[str, Part]:
        """The piece of the kit, and which part of it."""
        piece, part = _ON.get(self.voice, (self.voice, Part.MIDDLE))
        return piece, self.part or part


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A line from one pad to another, with words on it; ``share`` (0 to 1) is its weight."""

    start: str
    end: str
    words: str
    share: float


@dataclass(frozen=True, slots=True)
class _Struck:
    velocity: float
    time_s: float


class KitDrawing:
    """The kit; ``voices`` are those that are there. What else is struck or lit up is added.

    ``lit`` is what is to be struck, ``links`` are lines between pads.
    """

    def __init__(self, voices: Collection[str] = USUAL) -> None:
        self.lit: Spot | None = None
        self.links: Sequence[Link] = ()
        self._there = {Spot(voice).place[0] for voice in voices}
        self._struck: dict[tuple[str, Part], _Struck] = {}
        self._ground: tuple[object, pygame.Surface] | None = None

    def strike(
        self, voice: str, velocity: float, now_s: float, *, part: Part | None = None
    ) -> None:
        """A hit of ``voice`` with a velocity of 1 to 127; ``now_s`` as ``draw`` is told it."""
        self._struck[Spot(voice, part).place] = _Struck(velocity, now_s)

    def looks(self, now_s: float) -> tuple[object, ...]:
        """All that is seen at ``now_s``, equal where it looks the same."""
        struck = tuple(
            (place, one.velocity, _step(now_s - one.time_s, _DARK_S), ring)
            for place, one in self._struck.items()
            if (ring := _step(now_s - one.time_s, _RING_S))
        )
        return frozenset(self._there), len(self._struck), struck, self.lit, tuple(self.links)

    def draw(self, pen: Pen, rect: pygame.Rect, now_s: float) -> None:
        """Draw it as large as fits into ``rect``, as it is at ``now_s`` in seconds."""
        at = _Laid(rect)
        lit = self.lit.place if self.lit else None
        self._there |= {piece for piece, _ in self._struck} | ({lit[0]} if lit else set())
        pen.surface.blit(self._drawn(pen, at), at.corner)
        for place, struck in self._struck.items():
            step = _step(now_s - struck.time_s, _DARK_S)
            if step:
                # Not to ink, on which neither the ring nor the name could be seen.
                colour = _between(pen.colours.row, pen.colours.rule, step / _STEPS)
                self._cover(pen, at, place, colour=colour)
        if lit is not None:
            self._cover(pen, at, lit, colour=pen.colours.ahead_edge)
        for (name, _), struck in self._struck.items():
            step = _step(now_s - struck.time_s, _RING_S)
            if step:
                colour = _between(pen.colours.paper, pen.colours.ink, step / _STEPS)
                self._ring(pen, at, _PIECES[name], part=height_of(struck.velocity), colour=colour)
        covered = lit[0] if lit and lit[1] is Part.MIDDLE else None
        names = [
            self._name(pen, at, _PIECES[name], covered=name == covered) for name in self._order()
        ]
        for link in self.links:
            names.append(_draw_link(pen, at, link, taken=names))

    def _order(self) -> list[str]:
        return [name for name in _PIECES if name in self._there]

    def _drawn(self, pen: Pen, at: "_Laid") -> pygame.Surface:
        """Everything that stands still, kept for the next frame."""
        key = (at.size, pen.unit, pen.theme, frozenset(self._there))
        if self._ground is None or self._ground[0] != key:
            surface = pygame.Surface(at.size)
            surface.fill(pen.colours.paper)
            for name in self._order():
                piece = _PIECES[name]
                shape = _whole(piece.kind, *at.half(piece), width=pen.px(1.6), theme=pen.theme)
                x, y = at.middle(piece)
                middle = (round(x - at.corner[0]), round(y - at.corner[1]))
                surface.blit(shape, shape.get_rect(center=middle))
            self._ground = (key, surface)
        return self._ground[1]

    def _cover(self, pen: Pen, at: "_Laid", place: tuple[str, Part], *, colour: Colour) -> None:
        """Fill a part of a piece."""
        piece = _PIECES[place[0]]
        shape = _part(
            piece.kind,
            *at.half(piece),
            part=place[1],
            fill=colour,
            width=pen.px(1.6),
            edge=pen.colours.ink,
        )
        x, y = at.middle(piece)
        pen.surface.blit(shape, shape.get_rect(center=(round(x), round(y))))

    def _ring(self, pen: Pen, at: "_Laid", piece: _Piece, *, part: float, colour: Colour) -> None:
        middle, (across, down) = at.middle(piece), at.half(piece)
        for more in range(pen.px(2.4)):
            _oval(pen.surface, colour, middle, half=(across * part + more, down * part + more))

    def _name(self, pen: Pen, at: "_Laid", piece: _Piece, *, covered: bool) -> pygame.Rect:
        """Write the name of a piece; where it stands."""
        label, (across, down), (x, y) = BY_NAME[piece.voice].label, at.half(piece), at.middle(piece)
        room = across * (2.6 if piece.is_small else 1.2 if piece.kind is _CYMBAL else 1.56)
        size = next(
            (size for size in range(BODY, _LEAST - 1, -1) if pen.width(label, size) <= room), None
        )
        if size is None:
            return pygame.Rect(round(x), round(y), 0, 0)
        if piece.is_small:
            y += down + pen.capital(size) + pen.px(4)
        elif piece.kind is _CYMBAL:
            y += down * (_BELL + _MIDDLE) / 2 + pen.capital(size) / 2
        else:
            y += pen.capital(size) / 2
        pale = covered and not piece.is_small
        colour = pen.colours.paper if pale else pen.colours.ink
        return pen.text(label, size, (x, y), colour=colour, align=0.5)


class _Laid:
    """The drawing laid into a rectangle of pixels."""

    def __init__(self, rect: pygame.Rect) -> None:
        self._scale = min(rect.width / _SIZE[0], rect.height / _SIZE[1])
        self.size = (round(_SIZE[0] * self._scale), round(_SIZE[1] * self._scale))
        self.corner = pygame.Rect((0, 0), self.size)
        self.corner.center = rect.center

    def middle(self, piece: _Piece) -> Point:
        left, top = self.corner.topleft
        return left + piece.x * self._scale, top + piece.y * self._scale

    def half(self, piece: _Piece) -> tuple[int, int]:
        return round(piece.across * self._scale), round(piece.down * self._scale)


def _step(age_s: float, lasts_s: float) -> int:
    """How dark something still is that began ``age_s`` ago: _STEPS to begin with, 0 at the end."""
    return max(0, _STEPS - int(max(0.0, age_s) / lasts_s * _STEPS))


def _between(pale: Colour, dark: Colour, part: float) -> Colour:
    red, green, blue = (round(a + (b - a) * part) for a, b in zip(pale, dark, strict=True))
    return red, green, blue


def _oval(surface: pygame.Surface, colour: Colour, middle: Point, *, half: Point) -> None:
    """The outline of an oval, smooth and a pixel wide."""
    corners = [
        (middle[0] + half[0] * cos(turn * pi / 32), middle[1] + half[1] * sin(turn * pi / 32))
        for turn in range(64)
    ]
    pygame.draw.aalines(surface, colour, True, corners)


def _draw_link(pen: Pen, at: _Laid, link: Link, *, taken: Sequence[pygame.Rect]) -> pygame.Rect:
    """A line between the edges of two pads, a dot at its end; where its words stand."""
    start, end = (_PIECES[Spot(voice).place[0]] for voice in (link.start, link.end))
    a, b = _foot_of(at, start, end), _foot_of(at, end, start)
    far = hypot(b[0] - a[0], b[1] - a[1]) or 1.0
    along = (b[0] - a[0]) / far, (b[1] - a[1]) / far
    off = pen.colours.off
    pen.link(a, b, off, width=1.5 + 4.0 * link.share)
    pygame.draw.circle(pen.surface, off, b, pen.px(4 + 4 * link.share))
    size = (pen.width(link.words, SMALL, bold=True) + pen.px(6), pen.px(SMALL * 1.3))
    slip = pygame.Rect((0, 0), size)
    places = [
        (
            a[0] + (b[0] - a[0]) * part - along[1] * side,
            a[1] + (b[1] - a[1]) * part + along[0] * side,
        )
        for side in (0, pen.px(16), -pen.px(16), pen.px(30), -pen.px(30))
        for part in (0.5, 0.35, 0.65, 0.2, 0.8)
    ]
    for place in places:
        slip.center = (round(place[0]), round(place[1]))
        slip.clamp_ip(at.corner)
        if slip.collidelist(list(taken)) < 0:
            break
    pen.fill(slip, pen.colours.paper)
    base = slip.centery + pen.capital(SMALL) / 2
    pen.text(link.words, SMALL, (slip.centerx, base), colour=off, bold=True, align=0.5)
    return slip


def _foot_of(at: _Laid, piece: _Piece, other: _Piece) -> Point:
    """Where a line to another piece begins: above the name of this one, or below it."""
    (x, y), down = at.middle(piece), at.half(piece)[1]
    if other.y <= piece.y + piece.down:
        return x, y - 0.6 * down
    return x, y + (0.92 if piece.kind is _CYMBAL else 0.6) * down


@lru_cache(maxsize=128)
def _whole(kind: _Kind, across: int, down: int, *, width: int, theme: Theme) -> pygame.Surface:
    """A whole piece as it stands still; ``across`` and ``down`` are half its size in pixels."""
    colours = theme.colours
    canvas = _Canvas(across, down, width)
    canvas.shape(kind, 1.0, fill=colours.row, edge=colours.ink, width=width)
    if kind is not _BLOCK:
        canvas.shape(kind, _MIDDLE, fill=None, edge=colours.rule, width=max(1, width // 2))
    if kind is _CYMBAL:
        canvas.shape(kind, _BELL, fill=None, edge=colours.rule, width=max(1, width // 2))
    return canvas.shrunk()


@lru_cache(maxsize=512)
def _part(
    kind: _Kind, across: int, down: int, *, part: Part, fill: Colour, width: int, edge: Colour
) -> pygame.Surface:
    """A part of a piece, filled; see ``_whole``."""
    canvas = _Canvas(across, down, width)
    if part is Part.BELL:
        canvas.shape(kind, _BELL * 1.25, fill=fill, edge=edge, width=width)
    elif part is Part.RIM:
        canvas.shape(kind, 1.0, fill=fill, edge=edge, width=width)
        canvas.shape(kind, _MIDDLE, fill=None, edge=edge, width=width)
        canvas.hole(_MIDDLE)
    else:
        canvas.shape(kind, 0.88 if kind is _BLOCK else _MIDDLE, fill=fill, edge=edge, width=width)
        if kind is _CYMBAL:
            canvas.shape(kind, _BELL, fill=None, edge=edge, width=max(1, width // 2))
    return canvas.shrunk()


class _Canvas:
    """A clear surface, several times too large, about the middle of a piece."""

    def __init__(self, across: int, down: int, margin: int) -> None:
        self._half = (across, down)
        self._size = (2 * (across + margin) + 1, 2 * (down + margin) + 1)
        self._surface = pygame.Surface(
            (self._size[0] * _FINE, self._size[1] * _FINE), pygame.SRCALPHA
        )

    def shape(
        self, kind: _Kind, part: float, *, fill: Colour | None, edge: Colour, width: int
    ) -> None:
        """An oval, or a rounded block, ``part`` as large as the piece."""
        box, wide = self._box(part), max(1, width * _FINE)
        if kind is _BLOCK:
            radius = min(box.size) // 4
            if fill is not None:
                pygame.draw.rect(self._surface, fill, box, border_radius=radius)
            pygame.draw.rect(self._surface, edge, box, wide, border_radius=radius)
            return
        if fill is not None:
            pygame.draw.ellipse(self._surface, fill, box)
        pygame.draw.ellipse(self._surface, edge, box, wide)

    def hole(self, part: float) -> None:
        """Clear what lies inside."""
        pygame.draw.ellipse(self._surface, (0, 0, 0, 0), self._box(part).inflate(-_FINE, -_FINE))

    def shrunk(self) -> pygame.Surface:
        """The surface in its right size."""
        return pygame.transform.smoothscale(self._surface, self._size)

    def _box(self, part: float) -> pygame.Rect:
        box = pygame.Rect(0, 0, *(round(2 * half * part * _FINE) for half in self._half))
        box.center = self._surface.get_rect().center
        return box
