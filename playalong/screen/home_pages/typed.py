"""A page that asks for something typed: a name, a folder."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import pygame

from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.pen import Pen, area
from playalong.screen.base.theme import ADVICE, BODY, LABEL, Theme
from playalong.screen.base.widgets import (
    BACK_OUT,
    HEAD,
    MARGIN,
    Button,
    ButtonPage,
    Buttons,
    foot,
    head,
)

KEEP = Button((Key.ENTER,), "Enter", "keep it", outcome=Outcome.ACCEPT)

#: The height of the field, in units.
_FIELD = 60


@dataclass(kw_only=True)
class TypedPage(ButtonPage):
    """``prompt`` in large letters, the field, and ``notice`` below: what is wrong, or helps."""

    theme: Theme
    title: str
    prompt: str
    typed: str = ""
    notice: str = ""
    is_off: bool = False
    longest: int = 200
    notices: Sequence[str] = ()
    buttons: Buttons = field(default_factory=lambda: Buttons((KEEP, BACK_OUT)), repr=False)

    def handle(self, press: Press) -> Outcome | None:
        """ACCEPT what was typed, or LEAVE."""
        if press is Key.BACKSPACE:
            self.typed = self.typed[:-1]
            return None
        letter = " " if press is Key.SPACE else press
        if isinstance(letter, str) and not isinstance(letter, Outcome):
            self.typed = f"{self.typed}{letter}"[: self.longest]
            return None
        return self.buttons.handle(press)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page; it stands still."""
        pen = Pen(surface, self.theme)
        colours = pen.colours
        surface.fill(colours.paper)
        head(pen, self.title, "", tempo="", clean=None)
        left, right = pen.px(MARGIN), surface.get_width() - pen.px(MARGIN)
        foot(pen, self.buttons, self.notices)
        base = pen.px(HEAD + 20) + pen.capital(ADVICE)
        for line in pen.wrapped(self.prompt, ADVICE, right - left, bold=True):
            pen.text(line, ADVICE, (left, base), bold=True)
            base += pen.px(ADVICE * 1.3)
        box = area(left=left, top=base, right=right, bottom=base + pen.px(_FIELD))
        pen.box(box, colours.row, colours.rule)
        typed, room = self.typed, box.width - pen.px(48)
        while typed and pen.width(typed, LABEL) > room:  # the end is seen
            typed = typed[1:]
        at = (box.left + pen.px(16), box.centery + pen.capital(LABEL) / 2)
        end = pen.text(typed, LABEL, at).right
        pen.upright(
            end + pen.px(4),
            box.top + pen.px(14),
            box.bottom - pen.px(14),
            colour=colours.ink,
            width=2,
        )
        base = box.bottom + pen.px(BODY * 1.8)
        for line in pen.wrapped(self.notice, BODY, right - left):
            pen.text(line, BODY, (left, base), colour=colours.off if self.is_off else colours.quiet)
            base += pen.px(BODY * 1.4)
