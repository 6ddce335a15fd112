"""A run that is over, bar by bar: the sheet stands still, and goes on when it is asked to."""

from collections.abc import Sequence

import pygame

from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import LEAVE, TO_LEFT, TO_RIGHT, Button, Buttons, Level
from playalong.screen.pages.run import RunPage

LISTEN = Button((Key.ENTER, "l", "L"), "Enter", "listen", outcome=Outcome.LISTEN)

#: How far into its bar the sheet stands, in seconds: the whole bar is then seen.
_INTO_S = 1.5


class BarByBarPage:
    """The sheet of ``page`` at the bar ``bar`` (0 is the first), whose beginnings are
    ``starts_s``, in seconds of the run.
    """

    def __init__(self, page: RunPage, starts_s: Sequence[float], bar: int = 0) -> None:
        self._page, self._starts_s = page, starts_s
        self.bar = bar
        self._buttons = Buttons([LISTEN, TO_LEFT, TO_RIGHT, LEAVE])

    @property
    def level(self) -> Level:
        """That of the sound."""
        return self._page.level

    def handle(self, press: Press) -> Outcome | None:
        """The next bar and the one before; what a button is for."""
        outcome = self._buttons.handle(press)
        step = {Outcome.NEXT: 1, Outcome.BACK: -1}.get(outcome) if outcome else None
        if step is None:
            return outcome
        self.bar = min(max(0, self.bar + step), len(self._starts_s) - 1)
        return None

    def offers(self, outcome: Outcome) -> bool:
        """Whether a button has this outcome."""
        return self._buttons.offers(outcome)

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the sheet as it is at the bar."""
        self._page.buttons = self._buttons
        self._page.subtitle = f"bar {self.bar + 1} of {len(self._starts_s)}"
        self._page.draw(surface, self._starts_s[self.bar] + _INTO_S)
