"""The cable is out and in again on every page of the window: each says so, and goes on."""

from collections.abc import Iterator

import pytest

from playalong.app.home import home_session
from playalong.app.home.home_session import HomeSession
from playalong.app.home.kit_at_hand import KitAtHand
from playalong.app.open_devices import Look
from playalong.app.run.clock import SteppedClock
from playalong.app.user_folders import UserFolders
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.overlay import Covered, Struck
from playalong.screen.base.page import Page
from playalong.screen.base.window import Window
from tests.helpers.stage import Watched, Wire, context_on, struck, unseen_window

FRAME_S, AWAY_S = 0.25, 1.0

#: What is pressed on the pages of each class, in order, once the cable was out there; Escape after.
PRESSES: dict[str, list[Press]] = {
    "StartPage": ["s", "s", "s"],
    "TypedPage": [*"Cleo", Key.ENTER],
    "FirstPage": ["p", "s", "u", "a", "l", "k"],
    "PatternsPage": [Key.ENTER, Key.ENTER],
    "ReadyPage": [Key.ENTER, "p"],
    "ResultPage": ["l"],
    "PlanPage": [Key.ENTER],
    "SettingsPage": [Key.ENTER, Key.ESCAPE, Key.ENTER],
    "WarmUpPage": [Key.ENTER],
    "SittingPage": [Key.ENTER, Key.ENTER, *[Key.ESCAPE, "e"] * 3],  # whoever ends is asked
    "LookBackPage": [Key.ENTER, "d"],
    "KitPage": [Key.ENTER, *[Key.DOWN, Key.ENTER] * 5],
}

#: All that must have been seen.
PAGES = {
    *("StartPage", "TypedPage", "FirstPage", "PatternsPage", "ReadyPage", "RunPage", "ResultPage"),
    *("PlanPage", "SettingsPage", "WarmUpPage", "SittingPage", "LookBackPage", "ChoicesPage"),
    *("KitPage", "PadsPage", "LoudnessPage", "LatencyPage"),
    *("PadCommandsPage", "MessagesPage"),
}


@pytest.fixture
def window() -> Iterator[Window]:
    with unseen_window() as made:
        yield made


class Player(Watched):
    """Pulls the cable on every kind of page, plugs it in, and goes on to the next page."""

    offscreen = False

    def __init__(self, window: Window, wire: Wire, clock: SteppedClock) -> None:
        super().__init__(window, self._script)
        self._wire, self._clock = wire, clock
        self._left = {name: iter(presses) for name, presses in PRESSES.items()}
        self._plays_until_s = 0.0
        #: Kinds of page: those on which the cable was out, was told to be, and was in again.
        self.pulled: set[str] = set()
        self.told: set[str] = set()
        self.went_on: set[str] = set()

    def presses(self) -> list[Press]:
        return [] if self.press is None else [self.press]

    def _script(self, page: Page, _: float) -> Press | None:
        while isinstance(page, Struck):
            page = page.page
        shown = page.page if isinstance(page, Covered) else page
        name = type(shown).__name__
        is_told = isinstance(page, Covered) or bool(getattr(shown, "paused", ()))
        now_s = self._clock.now()
        if name not in self.pulled:
            self.pulled.add(name)
            self._wire.away_s = (now_s + FRAME_S, now_s + FRAME_S + AWAY_S)
            return None
        if is_told:
            self.told.add(name)
            return None
        if now_s <= max(self._wire.away_s[1], self._plays_until_s):
            return None
        if name in self.told:
            self.went_on.add(name)
        if name == "RunPage" and not self._plays_until_s:  # a run without a hit has no result
            self._plays_until_s = now_s + 2.0
            self._wire.send(*struck(42, now_s + 0.5, now_s + 1.0))
            return None
        return next(self._left.get(name, iter(())), Key.ESCAPE)


def test_the_cable_is_out_and_in_on_every_page(window, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(home_session, "ports", list)
    home = UserFolders(config=tmp_path / "config", data=tmp_path / "data")
    clock = SteppedClock()
    wire = Wire(clock)
    player = Player(window, wire, clock)
    context = context_on(player, clock, frame_s=FRAME_S, listen_s=FRAME_S)
    kit = KitAtHand(wire, home.profile("wire", None), is_keys=False)
    HomeSession(context, Look(), home, kit=kit).go()
    assert player.pulled >= PAGES
    assert player.told == player.pulled
    assert player.went_on == player.pulled
