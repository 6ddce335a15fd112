"""A page: what fills the window until it answers a press with an outcome.

To go from page to page, whoever shows them looks at the outcome and shows the next one.
"""

from enum import StrEnum
from typing import Protocol

import pygame

from playalong.screen.keys import Press


class Outcome(StrEnum):
    """How a page ends."""

    LEAVE = "leave"
    AGAIN = "again"
    SKIP = "skip"
    BACK = "back"
    EASIER = "easier"
    PLAN = "plan"
    HEAR = "hear"


class Page(Protocol):
    """One page."""

    def handle(self, press: Press) -> Outcome | None:
        """Take a press; an outcome when the page is done."""
        ...

    def draw(self, surface: pygame.Surface, now_s: float) -> None:
        """Draw the page over all of ``surface`` as it is at ``now_s``, in seconds of the run."""
        ...
