"""The page while a groove is played in: what to do, and every stroke as it came."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.midi.hits import Hit
from playalong.pattern.voices import BY_NAME, STAFF_ORDER
from playalong.screen.base import marks
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, SMALL, Theme
from playalong.screen.base.widgets import (
    HEAD,
    LEAVE,
    MARGIN,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)
from playalong.support.text import counted

ENOUGH = Button((Key.ENTER,), "Enter", "that was it", outcome=Outcome.START)
CLICK = Button(("c", "C"), "C", "play to a click", outcome=Outcome.LISTEN)
NO_CLICK = Button(("c", "C"), "C", "no click", outcome=Outcome.LISTEN)
SLOWER = Button((Key.LEFT,), "←", "slower", outcome=Outcome.SLOWER)
FASTER = Button((Key.RIGHT,), "→", "faster", outcome=Outcome.FASTER)
WATCH = Button(("w", "W"), "W", "let somebody simulated play", outcome=Outcome.WATCH)


def offered(has_click: bool, has_kit: bool) -> Buttons:
    """What can be asked for: the click, its tempo, and a player where there is no kit."""
    click = (NO_CLICK, SLOWER, FASTER) if has_click else (CLICK,)
    return Buttons([ENOUGH, *click, *(() if has_kit else (WATCH,)), LEAVE])


#: What of the past is shown, in seconds.
SHOWN_S = 8.0

#: In units: the names of the rows, the height of a row at most, and the least and the largest dot.
_NAMES, _ROW, _LEAST, _LARGEST = 150, 56, 4, 13


@dataclass(kw_only=True)
class ListeningPage(ButtonPage):
    """``words`` say what to do, ``hits`` are what came, in seconds of the page; ``tempo`` that of
    the click, in words, empty without one."""

    theme: Theme
    words: str
    hits: Sequence[Hit] = ()
    notice: str = ""
    caution: str = ""
    tempo: str = ""
    buttons: Buttons = field(default_factory=lambda: Buttons([ENOUGH, LEAVE]), repr=False)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; strokes move to the left as time goes on."""
        pen = Pen(surface, self.theme)
        colours = pen.colours
        surface.fill(colours.paper)
        heard = counted(len(self.hits), "stroke") if self.hits else "nothing yet"
        head(pen, "Play it in", heard, tempo=self.tempo, clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, [self.caution]) - pen.px(14)
        base = pen.px(HEAD + 14) + pen.capital(ADVICE)
        for line in pen.wrapped(self.words, ADVICE, right - left, bold=True):
            pen.text(line, ADVICE, (left, base), bold=True)
            base += pen.px(ADVICE * 1.3)
        for line in pen.wrapped(self.notice, BODY, right - left) if self.notice else ():
            pen.text(line, BODY, (left, base), colour=colours.off)
            base += pen.px(BODY * 1.4)
        self._draw_strokes(pen, area(left=left, top=base, right=right, bottom=bottom), now_s)

    def _draw_strokes(self, pen: Pen, rect: pygame.Rect, now_s: float) -> None:
        voices = sorted({hit.voice for hit in self.hits}, key=STAFF_ORDER.__getitem__)
        if not voices or rect.height <= 0:
            return
        high = min(float(pen.px(_ROW)), rect.height / len(voices))
        size = max(SMALL, min(LABEL, int(0.7 * high / pen.unit)))
        start = rect.left + pen.px(_NAMES)
        rows = {voice: rect.top + (number + 0.5) * high for number, voice in enumerate(voices)}
        for voice, middle in rows.items():
            name = pen.cut(BY_NAME[voice].label, size, pen.px(_NAMES - 14))
            pen.text(name, size, (rect.left, middle + pen.capital(size) / 2))
            pen.level_line(middle, start, rect.right, colour=pen.colours.line, width=1)
        for hit in self.hits:
            ago_s = now_s - hit.time_s
            if not 0.0 <= ago_s <= SHOWN_S:
                continue
            x = rect.right - (rect.right - start) * ago_s / SHOWN_S
            radius = pen.px(_LEAST + (_LARGEST - _LEAST) * hit.velocity / 127.0)
            radius = min(radius, max(2, round(high / 2.2)))
            pen.mark(marks.dot(radius, pen.colours.ink), (x, rows[hit.voice]))
