"""The page of double triggers and crosstalk: what the kit adds to what is played, and guards.

For each pad a small picture of its second hits: to the right how long after the first, from 0 to
SPAN_MS; up how loud against the first, from -DEPTH_DB to as loud. What the proposed mask time
covers is shaded, and the threshold is a line.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.pattern.voices import BY_NAME
from playalong.screen.base import marks
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.rows import clicked_row
from playalong.screen.base.theme import BODY, SMALL, Theme
from playalong.screen.base.widgets import (
    HEAD,
    LEAVE,
    MARGIN,
    TO_LEFT,
    TO_RIGHT,
    Button,
    Buttons,
    ListPage,
    foot,
    head,
)
from playalong.screen.kit_pages.kit_drawing import KitDrawing

#: What the pictures reach to.
SPAN_MS, DEPTH_DB = 60.0, 40.0

#: What can be asked for.
PROPOSED = (
    Button((Key.ENTER,), "Enter", "use it", outcome=Outcome.ACCEPT),
    Button(("o", "O"), "O", "leave it off", outcome=Outcome.REFUSE),
    Button(("a", "A"), "A", "use all", outcome=Outcome.ACCEPT_ALL),
    TO_RIGHT,
    TO_LEFT,
    LEAVE,
)

#: The pictures' part of the width, how wide a picture is against its height, and the most columns.
_PICTURES, _SHAPE, _COLUMNS = 0.54, 1.35, 5

#: In units: between pictures, the name above one, and the words under all of them.
_GAP, _NAME, _WORDS = 14, 22, 92


@dataclass(frozen=True, slots=True, kw_only=True)
class PadTriggers:
    """What is known of one pad.

    ``seconds`` are its second hits: (ms after the first, dB against it). ``mask_ms`` and
    ``threshold_db`` (against the pad's normal stroke) are proposed, 0 and None for none;
    ``stands`` says whether they are used, None while nobody has said.
    """

    voice: str
    seconds: Sequence[tuple[float, float]]
    mask_ms: float
    threshold_db: float | None
    words: str
    stands: bool | None = None

    @property
    def proposed(self) -> bool:
        """Whether there is a guard to use or to leave."""
        return self.mask_ms > 0.0 or self.threshold_db is not None


@dataclass(kw_only=True)
class TriggersPage(ListPage):
    """Guards, pad by pad. Everything may be set anew between frames.

    ``drawing.links`` are the lines of crosstalk; ``chosen`` is the number of the pad that ACCEPT
    and REFUSE are about.
    """

    theme: Theme
    kit: str
    pads: Sequence[PadTriggers]
    words: str = ""
    drawing: KitDrawing = field(default_factory=KitDrawing, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons(PROPOSED), repr=False)
    chosen: int = 0
    _areas: list[pygame.Rect] = field(default_factory=list, init=False, repr=False)

    @property
    def count(self) -> int:
        """How many pads there are."""
        return len(self.pads)

    def handle(self, press: Press) -> Outcome | None:
        """What a button is for; NEXT, BACK and a click on a picture choose the pad."""
        pad = clicked_row(press, self._areas)
        self.chosen = self.chosen if pad is None else pad
        return super().handle(press)

    def looks(self, now_s: float) -> tuple[object, ...]:
        """All that is seen; only the drawing moves by itself."""
        pads = tuple((pad.voice, *pad.seconds, pad.mask_ms, pad.threshold_db) for pad in self.pads)
        told = tuple((pad.words, pad.stands) for pad in self.pads)
        words = (self.theme, self.kit, self.words, self.chosen, self.buttons.shown)
        return words, pads, told, self.drawing.looks(now_s)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page as it is at ``now_s``, in seconds."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        axes = f"across: 0 to {SPAN_MS:.0f} ms later; up: as loud"
        head(pen, "Double triggers and crosstalk", f"{self.kit}  ·  {axes}", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        top, bottom = pen.px(HEAD), foot(pen, self.buttons) - pen.px(12)
        middle = left + (right - left) * _PICTURES
        headings = [(self.pads[self.chosen].words, True)] if self.pads else []
        lines = [
            (line, bold)
            for words, bold in [*headings, (self.words, False)]
            if words
            for line in pen.wrapped(words, BODY, right - left, bold=bold)
        ]
        step = pen.px(BODY * 1.4)
        under = bottom - max(pen.px(_WORDS), len(lines) * step + pen.px(10))
        self._draw_pictures(pen, area(left=left, top=top, right=middle, bottom=under))
        beside = area(left=middle + pen.px(24), top=top, right=right, bottom=under)
        self.drawing.draw(pen, beside, now_s)
        for number, (line, bold) in enumerate(lines, 1):
            pen.text(line, BODY, (left, under + pen.px(6) + number * step), bold=bold)

    def _draw_pictures(self, pen: Pen, rect: pygame.Rect) -> None:
        gap, self._areas = pen.px(_GAP), []
        count = max(1, len(self.pads))
        columns = max(range(1, min(_COLUMNS, count) + 1), key=lambda n: _width(rect, n, count))
        rows = -(-count // columns)
        wide = (rect.width - gap * (columns - 1)) / columns
        tall = min((rect.height - gap * (rows - 1)) / rows, wide / _SHAPE + pen.px(_NAME))
        for number, pad in enumerate(self.pads):
            x = rect.left + (number % columns) * (wide + gap)
            y = rect.top + (number // columns) * (tall + gap)
            cell = area(left=x, top=y, right=x + wide, bottom=y + tall)
            self._areas.append(cell)
            self._draw_pad(pen, cell, pad, chosen=number == self.chosen)

    def _draw_pad(self, pen: Pen, rect: pygame.Rect, pad: PadTriggers, *, chosen: bool) -> None:
        colours, base = pen.colours, rect.top + pen.px(BODY)
        stands = {True: "used", False: "off", None: "proposed" if pad.proposed else ""}[pad.stands]
        label, gap = BY_NAME[pad.voice].label, pen.px(8)
        beside = rect.width - pen.width(stands, SMALL) - gap
        if pen.width(label, SMALL, chosen) > beside:  # it is told below where it is chosen
            stands, beside = "", rect.width
        pen.text(stands, SMALL, (rect.right, base), colour=colours.quiet, align=1.0)
        size = pen.fitted(label, (BODY, SMALL), beside, bold=chosen)
        pen.text(label, size, (rect.left, base), bold=chosen)
        plot = area(
            left=rect.left, top=rect.top + pen.px(_NAME), right=rect.right, bottom=rect.bottom
        )
        pen.fill(plot, colours.row)
        per_ms, per_db = plot.width / SPAN_MS, plot.height / DEPTH_DB
        if pad.mask_ms > 0.0:
            mask = min(SPAN_MS, pad.mask_ms) * per_ms
            pen.fill(
                area(left=plot.left, top=plot.top, right=plot.left + mask, bottom=plot.bottom),
                colours.ahead,
            )
            pen.upright(plot.left + mask, plot.top, plot.bottom, colour=colours.ahead_edge, width=1)
        if pad.threshold_db is not None:
            y = plot.top + min(DEPTH_DB, max(0.0, -pad.threshold_db)) * per_db
            pen.level_line(y, plot.left, plot.right, colour=colours.ahead_edge, width=2)
        radius = max(2, pen.px(6))
        dot = marks.dot(radius, colours.ink)
        inside = plot.inflate(-2 * radius, -2 * radius)
        for after_ms, level in pad.seconds:
            x = plot.left + after_ms * per_ms
            y = plot.top - level * per_db
            x = min(max(x, inside.left), inside.right - 1)
            y = min(max(y, inside.top), inside.bottom - 1)
            pen.mark(dot, (x, y))
        edge, width = (colours.ink, 2) if chosen else (colours.rule, 1)
        pygame.draw.rect(pen.surface, edge, plot, pen.px(width))


def _width(rect: pygame.Rect, columns: int, count: int) -> float:
    """How wide a picture of the right shape can be in so many columns, about."""
    rows = -(-count // columns)
    return min(rect.width / columns, rect.height / rows * _SHAPE)
