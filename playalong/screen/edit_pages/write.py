"""The page of what can be written: a new pattern, a file, drafts, patterns of one's own."""

from dataclasses import dataclass, field

from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import Buttons
from playalong.screen.home_pages.settings import CHOOSING, SettingsPage


@dataclass(kw_only=True)
class WritePage(SettingsPage):
    """A row for each; a file that is dropped on the window is opened."""

    buttons: Buttons = field(default_factory=lambda: Buttons(CHOOSING), repr=False)

    def handle(self, press: Press) -> Outcome | None:
        """START for the chosen row, OPEN_FILE for a file that was dropped, or LEAVE."""
        return Outcome.OPEN_FILE if press is Outcome.OPEN_FILE else super().handle(press)
