"""The page of what comes from the kit: every message, what it means, and what is made of it."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.pattern.voices import BY_NAME
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import BODY, SMALL, Theme
from playalong.screen.base.widgets import HEAD, LEAVE, MARGIN, ButtonPage, Buttons, foot, head
from playalong.screen.kit_pages.kit_drawing import KitDrawing

#: How many messages are kept to be looked at.
MAX_ROWS = 1000

#: The columns: their heads, and the longest that stands in each.
_COLUMNS = (
    ("seconds", "1000.000"),
    ("message", "note 127, velocity 127.5, channel 16"),
    ("voice", "half-open hi-hat"),
    ("velocity", "127.5"),
    ("loudness", "double trigger"),
)

#: In units: a line of the table, between its columns, and the least room for the drawing.
_LINE, _BETWEEN, _DRAWING = 26, 18, 260


@dataclass(frozen=True, slots=True, kw_only=True)
class MessageRow:
    """A message: seconds, in words, and what became of it.

    ``voice`` and ``velocity`` are None for what is no hit; ``loudness`` is the dynamic whose band
    it fits; ``dropped`` says why it is no hit though it might have been.
    """

    time_s: float
    words: str
    voice: str | None = None
    velocity: float | None = None
    loudness: str = ""
    dropped: str = ""


@dataclass(kw_only=True)
class MessagesPage(ButtonPage):
    """The messages of a kit, the newest below; the up and down keys go through them."""

    theme: Theme
    kit: str
    port: str
    drawing: KitDrawing = field(default_factory=KitDrawing, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons([LEAVE]), repr=False)
    rows: deque[MessageRow] = field(default_factory=lambda: deque(maxlen=MAX_ROWS), repr=False)
    _later: int = field(default=0, init=False)

    def heard(self, row: MessageRow) -> None:
        """A message came. Whoever looks at earlier ones goes on seeing them."""
        self.rows.append(row)
        if self._later:
            self._later = min(self._later + 1, len(self.rows) - 1)

    def handle(self, press: Press) -> Outcome | None:
        """LEAVE."""
        if press is Key.UP:
            self._later = min(max(0, len(self.rows) - 1), self._later + 1)
        elif press is Key.DOWN:
            self._later = max(0, self._later - 1)
        return super().handle(press)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page as it is at ``now_s``, in seconds."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        # A kit that nobody named has the name of its port.
        where = "  ·  ".join(dict.fromkeys((self.kit, self.port)))
        head(pen, "What the kit sends", where, tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        notices = (
            [f"{self._later} later messages below: ↓"] if self._later else ["↑ earlier messages"]
        )
        top, bottom = pen.px(HEAD), foot(pen, self.buttons, notices) - pen.px(12)
        widths, size = _widths(pen, right - left)
        middle = min(float(right), left + sum(widths))
        self._draw_table(
            pen, area(left=left, top=top, right=middle, bottom=bottom), widths, size=size
        )
        if right - middle >= pen.px(_DRAWING):
            self.drawing.draw(
                pen, area(left=middle + pen.px(24), top=top, right=right, bottom=bottom), now_s
            )

    def _draw_table(
        self, pen: Pen, rect: pygame.Rect, widths: Sequence[float], *, size: int
    ) -> None:
        colours, line = pen.colours, pen.px(_LINE)
        edges = [float(rect.left)]
        for (name, _), width in zip(_COLUMNS, widths, strict=True):
            at = (edges[-1], rect.top + pen.px(BODY))
            pen.text(name, SMALL, at, colour=colours.quiet)
            edges.append(edges[-1] + width)
        top = rect.top + line
        pen.level_line(top, rect.left, rect.right, colour=colours.rule, width=1)
        shown = max(1, (rect.bottom - top - pen.px(4)) // line)
        end = len(self.rows) - self._later
        for place, number in enumerate(range(max(0, end - shown), end)):
            row = self.rows[number]
            base = top + place * line + pen.px(BODY + 4)
            lost = bool(row.dropped)
            cells = (
                f"{row.time_s:.3f}",
                row.words,
                BY_NAME[row.voice].label if row.voice else "",
                "" if row.velocity is None else f"{row.velocity:.0f}",
                row.dropped if lost else row.loudness,
            )
            for column, cell in enumerate(cells):
                if cell:
                    is_why = lost and column == len(cells) - 1
                    colour = colours.off if is_why else colours.quiet if lost else colours.ink
                    room = edges[column + 1] - edges[column] - pen.px(8)
                    pen.text(pen.cut(cell, size, room), size, (edges[column], base), colour=colour)


def _widths(pen: Pen, room: float) -> tuple[list[float], int]:
    """How wide the columns are, in pixels, and the size of type in which they find room."""
    for size in (BODY, SMALL):
        widths = [
            max(pen.width(head, SMALL), pen.width(longest, size)) + float(pen.px(_BETWEEN))
            for head, longest in _COLUMNS
        ]
        if sum(widths) <= room:
            break
    return widths, size
