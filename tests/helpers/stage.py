"""Where runs and sessions are played on the stepped clock: a window that nobody sees, hands at its
keys, and a wire on which messages come. The theme is loaded once, and its letters drawn once.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from math import inf
from typing import Any

from playalong.app.run.clock import Clock, SteppedClock
from playalong.app.run.context import RunContext
from playalong.midi.port import Arrival
from playalong.screen.base.keys import Press
from playalong.screen.base.overlay import Struck
from playalong.screen.base.page import Page
from playalong.screen.base.theme import Theme
from playalong.screen.base.window import Window
from playalong.sound.device.output import SilentOutput
from playalong.support.resources import folder

#: How often a page is shown to hands at most: a session that does not end is a failure.
MOST_FRAMES = 5000

Message = tuple[float, bytes]


@cache
def theme(dark: bool = False, large: bool = False) -> Theme:
    """How pages look."""
    return Theme.load(folder("assets") / "fonts", dark, large)


@contextmanager
def unseen_window(size: tuple[int, int] = (640, 360)) -> Iterator[Window]:
    """A window of ``size`` (width, height) pixels on no screen."""
    window = Window.open(size, offscreen=True)
    yield window
    window.close()


def context_on(window: Window, clock: Clock | None = None, **known: Any) -> RunContext:
    """Everything around a player, without a sound; ``known`` are more fields of the context."""
    around = {
        "clock": clock or SteppedClock(),
        "window": window,
        "theme": theme(),
        "output": SilentOutput(),
        "notices": (),
    }
    return RunContext(**{**around, **known})


class _Around:
    """Something that stands before a window, and is that window in all that it does not say."""

    def __init__(self, window: Window) -> None:
        self._window = window

    def __getattr__(self, name: str) -> object:
        return getattr(self._window, name)


class Keys(_Around):
    """A window in which keys are pressed at times of the clock: ``plan``, in order of time."""

    def __init__(self, window: Window, clock: Clock, *plan: tuple[float, Press]) -> None:
        super().__init__(window)
        self._clock = clock
        self.plan = list(plan)

    def presses(self) -> list[Press]:
        due = [press for at_s, press in self.plan if at_s <= self._clock.now()]
        self.plan = self.plan[len(due) :]
        return due


class Watched(_Around):
    """A window of which ``script`` sees every page that is shown, and when."""

    def __init__(self, window: Window, script: Callable[[Page, float], Press | None]) -> None:
        super().__init__(window)
        self._script = script
        self._shown = 0
        self.press: Press | None = None

    def frame(self, page: Page, now_s: float) -> None:
        self._shown += 1
        assert self._shown < MOST_FRAMES, "the session does not end"
        self._window.frame(page, now_s)
        self.press = self._script(page.page if isinstance(page, Struck) else page, now_s)


class Hands(Watched):
    """A window whose player presses what ``script`` says to each page that is shown."""

    def presses(self) -> list[Press]:
        return [] if self.press is None else [self.press]


class Wire:
    """A port on which messages come at times of the clock, and which is away from time to time."""

    name = "wire"

    def __init__(self, clock: Clock, *messages: Message) -> None:
        self._clock = clock
        self.send(*messages)
        self.away_s = (inf, inf)

    def send(self, *messages: Message) -> None:
        """From now on these messages come, and no others."""
        self._coming = sorted(messages)

    def poll(self) -> list[Arrival]:
        now_s = self._clock.now()
        due = [one for one in self._coming if one[0] <= now_s]
        self._coming = self._coming[len(due) :]
        return [Arrival(stamp_s=at_s, arrival_s=at_s, data=data) for at_s, data in due]

    def is_there(self) -> bool:
        return not self.away_s[0] <= self._clock.now() < self.away_s[1]

    def reopen(self) -> bool:
        return self.is_there()

    def close(self) -> None:
        pass


def struck(note: int, *times_s: float, velocity: int = 90) -> list[Message]:
    """Strokes on the pad that sends ``note``."""
    return [(at_s, bytes((0x99, note, velocity))) for at_s in times_s]
