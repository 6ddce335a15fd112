"""What the player asks for, by key, mouse or stick, and what is done at once: the sound's level."""

from collections.abc import Mapping
from dataclasses import dataclass

from playalong.midi.mapping import Mapper
from playalong.midi.port import Port
from playalong.midi_io.hotplug import Lookout
from playalong.midi_io.timestamps import StampFilter
from playalong.profile.pad_commands import Calls, Command, Listener
from playalong.profile.profile import Profile
from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome, Page

#: What strokes that work the program may mean, the first that a page offers.
MEANT: dict[Command, tuple[Outcome, ...]] = {
    Command.START: (Outcome.START, Outcome.AGAIN, Outcome.ACCEPT),
    Command.AGAIN: (Outcome.AGAIN, Outcome.START, Outcome.ACCEPT),
    Command.NEXT: (Outcome.NEXT, Outcome.SKIP),
    Command.BACK: (Outcome.BACK,),
    Command.SLOWER: (Outcome.SLOWER, Outcome.EASIER),
    Command.FASTER: (Outcome.FASTER,),
    Command.LEAVE: (Outcome.LEAVE,),
}


def pads_of(calls: Calls) -> dict[Outcome, str]:
    """Which pad's stroke asks for which outcome."""
    found: dict[Outcome, str] = {}
    for command, voice in calls.pads.items():
        for outcome in MEANT[command]:
            found.setdefault(outcome, voice)
    return found


@dataclass
class PadCommands:
    """Listens on the port for strokes that work the program, while nothing runs."""

    port: Port
    profile: Profile
    stamps: StampFilter

    def __post_init__(self) -> None:
        self._mapper = Mapper(self.profile.pads)
        self._listener = Listener(self.profile.calls)
        self._lookout = Lookout(self.port)

    @property
    def pads(self) -> Mapping[Outcome, str]:
        """The pads as buttons show them."""
        return pads_of(self.profile.calls)

    @property
    def call(self) -> str:
        """What is struck first, in words."""
        return self.profile.calls.words()

    def is_there(self, now_s: float) -> bool:
        """Whether the port is there; asked in each frame while nothing runs."""
        return self._lookout.look(now_s)

    def begin(self) -> None:
        """Something stands still from now on: what was struck before is no call."""
        self.port.poll()
        self._listener = Listener(self.profile.calls)

    def asked(self, page: Page, now_s: float) -> Outcome | None:
        """What strokes ask of ``page``, if it offers that."""
        for arrival in self.port.poll():
            at_s = self.stamps.time_s(arrival.stamp_s, arrival.arrival_s, arrival.stream)
            hit = self._mapper.hit(at_s, arrival.data)
            if hit is not None:
                self._listener.hit(hit)
        command = self._listener.time_passed(now_s)
        if command is None:
            return None
        return next((outcome for outcome in MEANT[command] if page.offers(outcome)), None)


def level_steps(press: Press, page: object) -> int:
    """How many steps louder a press asks for, on a page that shows the level."""
    level = getattr(page, "level", None)
    return level.steps(press) if level is not None else 0
