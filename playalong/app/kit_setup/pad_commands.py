"""Changing the pads that work the program.

A stroke alone, with a second of silence before and after, asks for its pad to be that of the chosen
line, and the same once more changes it: nobody does that by accident. Strokes that work the program
are never alone, so they do not change it.
"""

from playalong.app.kit_setup.profile_text import COMMANDS
from playalong.app.kit_setup.setup_context import SetupContext
from playalong.midi.hits import Hit
from playalong.midi.mapping import Heard
from playalong.midi.pads import pad_of
from playalong.pattern.voices import BY_NAME
from playalong.profile.pad_commands import QUIET_BEFORE_S, TOGETHER_S, Calls, Command
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import DOWN, LEAVE, UP, Button
from playalong.screen.kit_pages.pad_commands import PadCommandsPage

#: What can be asked for: what is learned is kept at once.
CHANGING = (
    DOWN,
    UP,
    Button((Key.BACKSPACE, "u", "U"), "U", "no pad", outcome=Outcome.UNDO),
    LEAVE,
)

#: What the lines are about: None is what is struck first. START and AGAIN are one line.
_LINES: tuple[Command | None, ...] = (
    None,
    *(command for command in Command if command is not Command.AGAIN),
)


def pad_commands(setup: SetupContext) -> None:
    """Show the pads that work the program, and change them, until the page is left."""
    alone, confirmation = _Alone(), _Confirmation()
    page = PadCommandsPage(
        theme=setup.context.theme, kit=setup.profile.kit, call="", calls=(), drawing=setup.drawing()
    )

    def hears(message: Heard) -> None:
        hit = message.hit
        if hit is not None:
            alone.hit(hit)
            page.drawing.strike(hit.voice, hit.velocity, setup.context.clock.now())

    def before_frame(now_s: float) -> Outcome | None:
        voice = alone.time_passed(now_s)
        if voice is not None:
            page.notice = confirmation.stroke(setup, page.chosen, voice)
        calls = setup.profile.calls
        page.call = (
            f"While nothing runs, after a second of silence: the {BY_NAME[calls.call].label} "
            "twice, then twice the pad of what you want."
        )
        page.calls = [(_what(command), _pad(calls, command)) for command in _LINES]
        page.notice = " ".join(setup.notices) or page.notice
        # What works the page may be another pad now.
        return None if voice is None else Outcome.ACCEPT

    while True:
        page.buttons = setup.buttons(*CHANGING)
        outcome = setup.show(page, hears, before_frame, by_pads=True)
        if outcome is Outcome.LEAVE:
            return
        if outcome is Outcome.UNDO:
            page.notice = _take_off(setup, page.chosen)


class _Alone:
    """Finds strokes that have silence before and after."""

    def __init__(self) -> None:
        self._last: Hit | None = None
        self._is_alone = False

    def hit(self, hit: Hit) -> None:
        """A stroke; what the foot sounds by itself is none."""
        if BY_NAME[hit.voice].by_itself:
            return
        before_s = hit.time_s - self._last.time_s if self._last else float("inf")
        if self._last is not None and before_s < TOGETHER_S:
            # One stroke, heard twice: the louder is the pad that was struck.
            self._last = max(self._last, hit, key=lambda one: one.velocity)
            return
        self._is_alone = before_s >= QUIET_BEFORE_S
        self._last = hit

    def time_passed(self, now_s: float) -> str | None:
        """The pad of a stroke that has turned out to be alone, once."""
        if self._last is None or not self._is_alone or now_s - self._last.time_s < QUIET_BEFORE_S:
            return None
        self._is_alone = False
        return pad_of(self._last.voice)


class _Confirmation:
    """What a stroke alone asked for, until it is struck once more."""

    def __init__(self) -> None:
        self._pending: tuple[int, str] | None = None

    def stroke(self, setup: SetupContext, line: int, voice: str) -> str:
        """A pad was struck alone while a line was chosen; what is to be told of it."""
        refused = _refused(setup, line, voice)
        if refused or self._pending == (line, voice):
            self._pending = None
            return refused or _change(setup, line, voice)
        self._pending = line, voice
        what, label = _in_words(_LINES[line]), BY_NAME[voice].label
        return f"Strike the {label} once more, alone: it is then for {what}."


def _what(command: Command | None) -> str:
    if command is None:
        return "first, twice"
    again = f", {COMMANDS[Command.AGAIN]}" if command is Command.START else ""
    return COMMANDS[command] + again


def _in_words(command: Command | None) -> str:
    """The same within a sentence."""
    return "what is struck first" if command is None else _what(command)


def _pad(calls: Calls, command: Command | None) -> str:
    voice = calls.call if command is None else calls.pads.get(command, "")
    return BY_NAME[voice].label if voice else ""


def _meant(command: Command) -> tuple[Command, ...]:
    return (command, Command.AGAIN) if command is Command.START else (command,)


def _refused(setup: SetupContext, line: int, voice: str) -> str:
    """Why a line cannot have the pad of ``voice``, "" where it can."""
    calls, command, label = setup.profile.calls, _LINES[line], BY_NAME[voice].label
    others = [one for one, pad in calls.pads.items() if pad == voice]
    mine = _meant(command) if command is not None else ()
    if command is not None and voice == calls.call:
        return f"The {label} is struck first already: choose another pad."
    clash = next((one for one in others if one not in mine), None)
    if clash is not None:
        return f"The {label} asks for something else already: {COMMANDS[clash]}."
    return ""


def _change(setup: SetupContext, line: int, voice: str) -> str:
    """Give the pad of ``voice`` to a line; what is to be told of it."""
    calls, command, label = setup.profile.calls, _LINES[line], BY_NAME[voice].label
    if command is None:
        changed = Calls(voice, calls.pads)
    else:
        changed = Calls(calls.call, {**calls.pads, **dict.fromkeys(_meant(command), voice)})
    setup.learned(calls=changed)
    return f"Kept: {_in_words(command)} is the {label}."


def _take_off(setup: SetupContext, line: int) -> str:
    """Take the pad of a line away; what is to be told of it."""
    calls, command = setup.profile.calls, _LINES[line]
    if command is None:
        return "Something has to be struck first: strike another pad to change it."
    left = {one: pad for one, pad in calls.pads.items() if one not in _meant(command)}
    setup.learned(calls=Calls(calls.call, left))
    return f"Kept: {_what(command)} is on no pad, and works by key only."
