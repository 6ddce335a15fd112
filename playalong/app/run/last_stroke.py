"""The stroke that has just come: every page answers it, whatever else it shows."""

from dataclasses import dataclass
from math import inf

from playalong.midi.hits import Hit
from playalong.pattern.voices import BY_NAME
from playalong.screen.base.overlay import Struck
from playalong.screen.base.page import Page
from playalong.screen.base.theme import Theme

#: How long a stroke is shown.
SHOWN_S = 1.5


@dataclass
class LastStroke:
    """The last hit, and when it came, in seconds on the clock."""

    hit: Hit | None = None
    at_s: float = -inf

    def struck(self, hit: Hit, now_s: float) -> None:
        """A hit came."""
        self.hit, self.at_s = hit, now_s

    def on(self, page: Page, theme: Theme, now_s: float) -> Page:
        """``page`` with the stroke, as long as it is shown."""
        if self.hit is None or now_s - self.at_s > SHOWN_S:
            return page
        return Struck(
            page=page, theme=theme, name=BY_NAME[self.hit.voice].label, velocity=self.hit.velocity
        )
