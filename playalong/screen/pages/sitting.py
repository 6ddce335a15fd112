"""The page of an assessment while nothing is played: what is agreed, what comes next."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, Theme
from playalong.screen.base.widgets import (
    HEAD,
    LEAVE,
    LEVEL_WIDE,
    MARGIN,
    ButtonPage,
    Buttons,
    Level,
    foot,
    head,
    table,
)

#: In units: between the large words, the paragraphs and the table; and from line to line.
_GAP, _LINE = 20, 26

#: The least part of the page that the table keeps.
_TABLE = 0.42


@dataclass(kw_only=True)
class SittingPage(ButtonPage):
    """``clock`` is the time that is left, as it is said, empty where none runs.

    ``said`` is the one large sentence, ``words`` are paragraphs under it, ``rows`` a table of
    (what, in words); ``notices`` are told at the foot. Everything may be set anew between frames.
    """

    theme: Theme
    title: str
    subtitle: str = ""
    clock: str = ""
    said: str = ""
    words: Sequence[str] = ()
    rows: Sequence[tuple[str, str]] = ()
    notices: Sequence[str] = ()
    level: Level = field(default_factory=Level, repr=False)
    buttons: Buttons = field(default_factory=lambda: Buttons([LEAVE]), repr=False)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; only the clock goes on."""
        pen = Pen(surface, self.theme)
        surface.fill(pen.colours.paper)
        head(pen, self.title, self.subtitle, tempo=self.clock, clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        bottom = foot(pen, self.buttons, self.notices) - pen.px(_GAP)
        top = float(pen.px(HEAD))
        if self.level.db is not None:
            self.level.draw(pen, (right - pen.px(LEVEL_WIDE), top))
        room = right - left - (pen.px(LEVEL_WIDE + _GAP) if self.level.db is not None else 0)
        for line in pen.wrapped(self.said, ADVICE, room, bold=True)[:2] if self.said else ():
            top += pen.px(ADVICE * 1.25)
            pen.text(line, ADVICE, (left, top - pen.px(8)), bold=True)
        top += pen.px(_GAP / 2)
        least = bottom - (bottom - top) * (_TABLE if self.rows else 0.0)
        lines = [line for words in self.words for line in pen.wrapped(words, BODY, room)]
        for line in lines:
            if top + pen.px(_LINE) > least:
                break
            top += pen.px(_LINE)
            pen.text(line, BODY, (left, top - pen.px(6)), colour=pen.colours.quiet)
        if self.rows:
            table(
                pen, area(left=left, top=top + pen.px(_GAP), right=right, bottom=bottom), self.rows
            )
