"""What the player asks for by strokes on the pads, while nothing runs."""

from collections.abc import Mapping
from dataclasses import replace

from playalong.app.run.hit_input import HitInput
from playalong.midi.hits import Hit
from playalong.profile.pad_commands import Calls, Command, Listener
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.widgets import level_of

#: What strokes that work the program may mean, the first that a page offers.
MEANT: dict[Command, tuple[Outcome, ...]] = {
    Command.START: (
        *(Outcome.START, Outcome.AGAIN, Outcome.ACCEPT),
        *(Outcome.OPEN, Outcome.SHEET, Outcome.GRADE),
    ),
    Command.AGAIN: (Outcome.AGAIN, Outcome.START, Outcome.ACCEPT),
    Command.NEXT: (Outcome.NEXT, Outcome.LATER, Outcome.SKIP),
    Command.BACK: (Outcome.BACK,),
    Command.SLOWER: (Outcome.SLOWER, Outcome.EASIER),
    Command.FASTER: (Outcome.FASTER,),
    Command.LEAVE: (Outcome.LEAVE,),
    Command.SOUND: (Outcome.SOUND,),
}

#: What they mean beside that, on a page that offers nothing of it.
ALSO: dict[Command, tuple[Outcome, ...]] = {
    Command.NEXT: (Outcome.YOURS,),
    Command.BACK: (Outcome.PLAN, Outcome.PATTERN, Outcome.AGAIN),
    Command.SLOWER: (Outcome.HALF,),
    Command.FASTER: (Outcome.LISTEN, Outcome.HEAR, Outcome.BOTH),
}


def pads_of(calls: Calls) -> dict[Outcome, str]:
    """Which pad's stroke asks for which outcome."""
    found: dict[Outcome, str] = {}
    for command, voice in calls.pads.items():
        for outcome in MEANT[command]:
            found.setdefault(outcome, voice)
    return found


class PadCommands:
    """Understands strokes on the pads as commands; ``input`` is where they come from."""

    def __init__(self, input: HitInput, calls: Calls) -> None:
        self.input, self._calls = input, calls
        self._listener = Listener(calls)

    @property
    def pads(self) -> Mapping[Outcome, str]:
        """The pads as buttons show them."""
        return pads_of(self._calls)

    @property
    def call(self) -> str:
        """What is struck first, in words."""
        return self._calls.words()

    def on(self, page: Page) -> dict[Outcome, str]:
        """Which pad's stroke asks ``page`` for which outcome, each pad for one."""
        found: dict[Outcome, str] = {}
        for command, voice in self._calls.pads.items():
            outcome = self._outcome_of(command, page)
            if voice and outcome is not None and voice not in found.values():
                found.setdefault(outcome, voice)
        return found

    def silent(self) -> "PadCommands":
        """The same, heard but asking for nothing: where keys are pads, keys work the program."""
        return PadCommands(self.input, replace(self._calls, pads={}))

    def begin(self) -> None:
        """Something stands still from now on: what was struck before is no command."""
        self.input.discard()
        self._listener = Listener(self._calls)

    def hit(self, hit: Hit) -> None:
        """Take a hit; hits come in order of time."""
        self._listener.hit(hit)

    def outcome(self, page: Page, now_s: float) -> Outcome | None:
        """What strokes ask of ``page`` by ``now_s`` on the clock, if it offers that."""
        command = self._listener.time_passed(now_s)
        if command is None:
            return None
        return self._outcome_of(command, page)

    def _outcome_of(self, command: Command, page: Page) -> Outcome | None:
        """What a command asks of a page, the first of its meanings that it offers."""
        meant = (*MEANT[command], *ALSO.get(command, ()))
        return next((outcome for outcome in meant if _offers(page, outcome)), None)


def _offers(page: Page, outcome: Outcome) -> bool:
    """Whether a page offers an outcome; the level of the sound does it where it is shown."""
    if outcome is Outcome.SOUND:
        return level_of(page) is not None
    return page.offers(outcome)
