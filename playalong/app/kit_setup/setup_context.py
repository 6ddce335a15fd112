"""What all pages of a kit share: the port and what comes from it, the profile, and one loop."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from playalong.app.run.context import RunContext
from playalong.app.run.pad_commands import MEANT, pads_of
from playalong.midi.hits import Hit
from playalong.midi.mapping import Mapper
from playalong.midi.pads import pad_of
from playalong.midi.port import Port
from playalong.midi_io.hotplug import Lookout
from playalong.pattern.voices import BY_NAME
from playalong.profile.pad_commands import Listener
from playalong.profile.profile import Profile
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.widgets import Button, Buttons
from playalong.screen.kit_pages.kit_drawing import USUAL, KitDrawing
from playalong.support.errors import UserError

#: The pads that are asked for where nobody has said which there are: the foot has no strokes.
PADS = tuple(voice for voice in USUAL if voice != "hi-hat-pedal")

#: Keeps a profile; returns what is to be told of it, or raises UserError.
Keep = Callable[[Profile], str | None]

#: Told of every message: when it was sent, in seconds on the program's clock, and its bytes.
Hears = Callable[[float, bytes], None]


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


@dataclass
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
        self._lookout = Lookout(self.port)

    @property
    def is_there(self) -> bool:
        """Whether the port is; what it sends when it is back has another beginning."""
        return self._lookout.is_there

    @property
    def notices(self) -> list[str]:
        """What is to be told on any page."""
        return [self.trouble] if self.trouble else []

    def learned(self, **changes: Any) -> None:
        """Change these of the profile's fields, and keep it."""
        self.profile = replace(self.profile, **changes)
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

    def messages(self) -> list[tuple[float, bytes]]:
        """What came since the last call: when it was sent, and its bytes."""
        stamps = self.context.stamps
        return [
            (stamps.time_s(one.stamp_s, one.arrival_s, one.stream), one.data)
            for one in self.port.poll()
        ]

    def show(
        self,
        page: Page,
        hears: Hears,
        before_frame: BeforeFrame = _nothing,
        by_pads: bool = False,
    ) -> Outcome:
        """Show ``page`` until something is asked of it by key, mouse or, with ``by_pads``, stroke.

        ``hears`` is told of every message; ``before_frame`` may end the page too.
        """
        context, clock = self.context, self.context.clock
        calls = _Calls(self.profile) if by_pads else None
        while True:
            now_s = clock.now()
            self._listen(hears, calls)
            self._lookout.look(now_s)
            ended = before_frame(now_s)
            context.show_with(page, now_s, self.is_there)
            outcome = self._asked(page) or ended or (calls and calls.asked(page, now_s))
            if outcome:
                return outcome
            while (left_s := now_s + context.frame_s - clock.now()) > 0:
                clock.wait(min(left_s, context.listen_s))
                self._listen(hears, calls)

    def _asked(self, page: Page) -> Outcome | None:
        for press in self.context.window.presses():
            self.is_closed = self.is_closed or press is Key.CLOSE
            outcome = page.handle(press)
            if outcome is not None:
                return outcome
        return None

    def _listen(self, hears: Hears, calls: "_Calls | None") -> None:
        for time_s, data in self.messages():
            hears(time_s, data)
            if calls is not None:
                calls.message(time_s, data)


class _Calls:
    """Strokes that work a page."""

    def __init__(self, profile: Profile) -> None:
        self._mapper, self._listener = Mapper(profile.pads), Listener(profile.calls)

    def message(self, time_s: float, data: bytes) -> None:
        """A message came."""
        hit = self._mapper.hit(time_s, data)
        if hit is not None:
            self._listener.hit(hit)

    def asked(self, page: Page, now_s: float) -> Outcome | None:
        """What strokes ask of ``page``, if it offers that; a list is gone through by itself."""
        command = self._listener.time_passed(now_s)
        meant = MEANT[command] if command is not None else ()
        outcome = next((outcome for outcome in meant if page.offers(outcome)), None)
        return None if outcome is None else page.handle(outcome)
