"""The sheet of one run: targets as boxes, hits as marks, scrolling past the now-line.

A box is as wide as the tolerance and as high as the loudness band, so a hit that is right lies
inside it. Shape and place tell everything; the second colour only repeats it.
"""

from dataclasses import dataclass

import pygame

from playalong.grading.verdicts import Rules, VerdictEvent
from playalong.midi.hits import Hit
from playalong.pattern.meter import STRAIGHT, WrittenSwing
from playalong.pattern.model import Bar, Dynamic
from playalong.pattern.targets import DYNAMICS, Targets
from playalong.pattern.voices import BY_NAME
from playalong.screen.base import marks
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import COUNT, LABEL, Theme
from playalong.screen.sheet.answers import Answers
from playalong.screen.sheet.count import Count
from playalong.screen.sheet.geometry import GAP, HANDS, LEAST_BOX, Geometry, rows
from playalong.screen.sheet.painting import HEAD, TICK, Painting
from playalong.screen.sheet.tile_cache import Strip

#: How much time the sheet shows from edge to edge, in seconds: six beats at 84 bpm.
SECONDS_ACROSS = 4.25

#: Where the now-line stands, in parts of the sheet's width.
_NOW = 0.39

#: The part of the width that the names may take where they are as large as the count.
_NAMED = 0.14

#: Room for the names of the rows, in units: the least, as wide as the level of sound above them,
#: beside which the count runs; and what lies between them and the rows.
_NAMES, _BESIDE = 156, 16


#: Half the width of the frame around the stroke that is spoken of, in units.
_FRAME = 24


@dataclass(frozen=True, kw_only=True)
class _View:
    """The sheet as it is painted for one size, set of rows and theme."""

    key: tuple[tuple[int, ...], float, tuple[str, ...], Theme]
    rect: pygame.Rect
    geometry: Geometry
    painting: Painting
    strip: Strip
    named: float


class Sheet:
    """The sheet of one run.

    ``bars`` are the bars of the pattern as they are played, over and over; ``swing`` is the
    pattern's; ``seconds_across`` says how much time the sheet shows. ``has_ghosts`` tells whether
    the run asks for ghost notes.
    """

    def __init__(
        self,
        targets: Targets,
        bars: tuple[Bar, ...],
        rules: Rules,
        *,
        swing: WrittenSwing = STRAIGHT,
        seconds_across: float = SECONDS_ACROSS,
    ) -> None:
        self.targets = targets
        self._has_hands = any(place.stroke.hand for place in targets.places)
        self.has_ghosts = bool((targets.dynamic == DYNAMICS.index(Dynamic.GHOST)).any())
        self._answers = Answers(targets, rules)
        self._count = Count(targets, bars, swing)
        self._across_s = seconds_across
        self._view: _View | None = None
        #: The stroke that is spoken of, as its time in the run and its voice; None for none.
        self.marked: tuple[float, str] | None = None

    def hit(self, number: int, hit: Hit) -> None:
        """A hit, by its number in the run. It shows once a verdict is given on it."""
        self._answers.hit(number, hit)

    def judged(self, event: VerdictEvent) -> None:
        """A verdict on a target, a hit, or both; it takes the place of an earlier one."""
        times_s = self._answers.judged(event)
        is_foreign = event.hit is not None and self._answers.is_foreign(event.hit)
        self._answers.has_foreign = self._answers.has_foreign or is_foreign
        for time_s in times_s:
            self._touch(time_s, is_named=is_foreign)

    def draw(self, pen: Pen, rect: pygame.Rect, now_s: float) -> pygame.Rect:
        """Draw the sheet into ``rect`` as it is at ``now_s``; returns the part that is past."""
        self.draw_names(pen, rect)
        return self.draw_paper(pen, rect, now_s)

    def draw_names(self, pen: Pen, rect: pygame.Rect) -> None:
        """Draw the names of the rows, which do not move, beside the paper, which does."""
        view = self._fitted(pen, rect)
        for row in view.geometry.rows.values():
            middle = rect.top + (row.top + row.bottom) / 2
            at = (view.rect.left - pen.px(_BESIDE), middle + pen.capital(view.named) / 2)
            pen.text(BY_NAME[row.voice].label, view.named, at, align=1.0)

    def paper(self, pen: Pen, rect: pygame.Rect) -> pygame.Rect:
        """The part of ``rect`` that ``draw_paper`` covers wholly."""
        return self._fitted(pen, rect).rect

    def draw_paper(self, pen: Pen, rect: pygame.Rect, now_s: float) -> pygame.Rect:
        """Draw all but the names of the rows; returns the part that is past."""
        for time_s in self._answers.passed(now_s):
            self._touch(time_s)
        view, left = self._view_at(pen, rect, now_s)
        view.strip.show(pen.surface, view.rect, left)
        self._draw_marked(pen, rect, view, left=left)
        past = self.past(pen, rect, now_s)
        now, top, ink = past.right, rect.top + pen.px(HEAD - TICK), pen.colours.ink
        pen.upright(now, top, rect.bottom, colour=ink, width=2)
        pen.mark(marks.pointer(pen.px(6.5), ink), (now, top + pen.px(1)))
        return past

    def past(self, pen: Pen, rect: pygame.Rect, now_s: float) -> pygame.Rect:
        """The part of the sheet in ``rect`` that is past at ``now_s``."""
        view, left = self._view_at(pen, rect, now_s)
        wide = view.geometry.x(now_s) - left
        return pygame.Rect(view.rect.topleft, (wide, rect.height))

    def _view_at(self, pen: Pen, rect: pygame.Rect, now_s: float) -> tuple[_View, int]:
        """The sheet as it fits into ``rect``, and how much of it is off to the left, in pixels."""
        view = self._fitted(pen, rect)
        if pen.theme.still:
            return view, view.geometry.still_left(now_s, view.rect.width)
        return view, view.geometry.left(now_s)

    def _fitted(self, pen: Pen, rect: pygame.Rect) -> _View:
        """The sheet as it fits into ``rect``."""
        key = (tuple(rect), pen.unit, self._answers.voices, pen.theme)
        if self._view is None or self._view.key != key:
            self._view = self._seen(pen, rect)
        return self._view

    def _draw_marked(self, pen: Pen, rect: pygame.Rect, view: _View, *, left: float) -> None:
        """A frame around the stroke that is spoken of, in its row."""
        if self.marked is None:
            return
        time_s, voice = self.marked
        own = next((row for row in view.geometry.rows.values() if row.voice == voice), None)
        x = view.rect.left + view.geometry.x(time_s) - left
        if own is None or not view.rect.left < x < view.rect.right:
            return
        half, rim = pen.px(_FRAME), pen.px(3)
        frame = pygame.Rect(0, 0, 2 * half, round(own.bottom - own.top) + 2 * rim)
        frame.center = (round(x), round(rect.top + (own.top + own.bottom) / 2))
        pygame.draw.rect(pen.surface, pen.colours.ink, frame, rim, border_radius=pen.px(6))

    def _touch(self, time_s: float, *, is_named: bool = False) -> None:
        view = self._view
        if view is not None:
            reach_s = view.painting.reach_s
            after_s = view.painting.named_s if is_named else reach_s
            view.strip.touch(view.geometry.x(time_s - reach_s), view.geometry.x(time_s + after_s))

    def _seen(self, pen: Pen, rect: pygame.Rect) -> _View:
        voices = self._answers.voices
        named = self._named(pen, rect, voices)
        names = max(pen.width(BY_NAME[voice].label, named) for voice in voices)
        left = rect.left + max(names, pen.px(_NAMES)) + pen.px(_BESIDE)
        scrolls = pygame.Rect(left, rect.top, rect.right - left, rect.height)
        hands = pen.px(HANDS if self._has_hands else 1)
        geometry = Geometry(
            now=round(_NOW * scrolls.width),
            px_per_s=scrolls.width / self._across_s,
            origin_s=self.targets.start_s,
            rows=rows(
                voices,
                pen.px(HEAD),
                rect.height - hands,
                gap=pen.px(GAP) + hands,
                least=pen.px(LEAST_BOX) + 1,
            ),
        )
        painting = Painting(self._answers, self._count, geometry, theme=pen.theme, unit=pen.unit)
        strip = Strip(rect.height, painting.prepare, painting.paint)
        key = (tuple(rect), pen.unit, voices, pen.theme)
        return _View(
            key=key, rect=scrolls, geometry=geometry, painting=painting, strip=strip, named=named
        )

    def _named(self, pen: Pen, rect: pygame.Rect, voices: tuple[str, ...]) -> float:
        """The size of the names of the rows: as the count, where the names leave room for it."""
        for size in range(COUNT, LABEL, -1):
            widest = max(pen.width(BY_NAME[voice].label, size) for voice in voices)
            tall = (rect.height - pen.px(HEAD)) / len(voices)
            if widest <= _NAMED * rect.width and pen.px(size) * 1.1 <= tall:
                return size
        return LABEL
