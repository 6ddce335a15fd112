"""What all pages of a kit share: the kit, its profile, and how a page is shown."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import Scene, View, show
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands, pads_of
from playalong.midi.hits import Hit
from playalong.midi.mapping import Heard
from playalong.midi.pads import pad_of
from playalong.midi.port import Port
from playalong.pattern.voices import BY_NAME
from playalong.profile.profile import Profile
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.widgets import Button, Buttons
from playalong.screen.kit_pages.kit_drawing import USUAL, KitDrawing
from playalong.support.errors import UserError

#: The pads that are asked for where nobody has said which there are: the foot has no strokes.
PADS = tuple(voice for voice in USUAL if voice != "hi-hat-pedal")

#: Keeps a profile; returns what is to be told of it, or raises UserError.
Keep = Callable[[Profile], str | None]

#: Told of every message; its time is that of the stamp, from which no latency is taken.
Hears = Callable[[Heard], None]

#: Told of the time, in seconds, before each frame; an outcome where the page ends by itself.
BeforeFrame = Callable[[float], Outcome | None]


def _nothing(_now_s: float) -> None:
    """Nothing is to be done before a frame."""


def pads_of_kit(profile: Profile) -> tuple[str, ...]:
    """The pads of a kit as far as its profile tells: those that were learned, or the usual ones,
    and what it knows besides.
    """
    known = (*profile.pads.notes.values(), *profile.strokes)
    struck = [pad_of(voice) for voice in known if not BY_NAME[voice].by_itself]
    return tuple(dict.fromkeys((*(profile.has or PADS), *struck)))


@dataclass(kw_only=True)
class SetupContext:
    """A kit at hand.

    ``profile`` is what is known by now, and kept; ``voices`` are the pads that there are;
    ``struck`` holds, by pad, all hits that came while that pad alone was struck in this sitting.
    ``is_closed`` tells that the window is to be closed, ``trouble`` what went wrong with keeping.
    """

    context: RunContext
    port: Port
    profile: Profile
    keep: Keep
    voices: tuple[str, ...] = PADS
    struck: dict[str, list[Hit]] = field(default_factory=dict)
    is_closed: bool = False
    trouble: str = ""

    def __post_init__(self) -> None:
        self._input = HitInput(self.port, self.context.stamps, self.profile.pads)

    @property
    def is_there(self) -> bool:
        """Whether the port is; what it sends when it is back has another beginning."""
        return self._input.is_there

    @property
    def notices(self) -> list[str]:
        """What is to be told on any page."""
        return [self.trouble] if self.trouble else []

    def learned(self, **changes: Any) -> None:
        """Change these of the profile's fields, and keep it."""
        self.profile = replace(self.profile, **changes)
        self._input.pads = self.profile.pads
        try:
            self.trouble = self.keep(self.profile) or ""
        except UserError as error:
            self.trouble = str(error)

    def drawing(self) -> KitDrawing:
        """The kit as it is, with its pedal."""
        return KitDrawing((*self.voices, "hi-hat-pedal"))

    def buttons(self, *buttons: Button) -> Buttons:
        """Buttons that show the pads which do the same."""
        return Buttons(buttons, pads_of(self.profile.calls), self.profile.calls.words())

    def show(
        self,
        page: Page,
        hears: Hears,
        before_frame: BeforeFrame = _nothing,
        *,
        by_pads: bool = False,
    ) -> Outcome:
        """Show ``page`` until something is asked of it by key, mouse or, ``by_pads``, stroke.

        ``hears`` is told of every message; ``before_frame`` may end the page too.
        """
        shown = _Shown(self, page, hears, before_frame=before_frame)
        commands = PadCommands(self._input, self.profile.calls) if by_pads else None
        return show(self.context, shown, self._input, pad_commands=commands) or shown.ended


class _Shown(Scene):
    """One of the kit's pages."""

    def __init__(
        self, setup: SetupContext, page: Page, hears: Hears, *, before_frame: BeforeFrame
    ) -> None:
        self._setup, self._page = setup, page
        self._hears, self._before_frame = hears, before_frame
        #: What the page ended with by itself.
        self.ended = Outcome.LEAVE

    def received(self, message: Heard) -> None:
        """The page is told."""
        self._hears(message)

    def view(self, now_s: float) -> View | None:
        """The page, unless it ends by itself."""
        ended = self._before_frame(now_s)
        if ended is None:
            return View(self._page, now_s)
        self.ended = ended
        return None

    def press(self, page: Page, press: Press) -> Outcome | None:
        """Whoever closes the window leaves all pages."""
        if press is Key.CLOSE:
            self._setup.is_closed = True
        return page.handle(press)
