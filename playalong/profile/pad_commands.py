"""Sticks in hand: strokes that work the program while nothing runs.

The rule, easy to say and hard to meet by accident: after a second of silence on every pad, strike
the call pad twice, then the pad of a command twice, at an easy pace, and wait. A groove goes on
and so never falls silent; a pad tried out is not struck in twos after the call pad. Hits at random
on ten pads, however dense, make less than one call in twenty hours.

What the kit adds by itself breaks no call: pedal sounds, a second trigger of the same pad, and
the far softer one of another pad at the same moment.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import pairwise
from typing import Any

from playalong.midi.hits import Hit
from playalong.pattern.voices import BY_NAME, STAFF_ORDER, VOICES, folded

#: How long every pad must be silent before a call, and after it, in seconds.
QUIET_BEFORE_S = 1.0
QUIET_AFTER_S = 0.6

#: The least and the most from one stroke of a call to the next, in seconds.
GAP_S = (0.15, 0.75)

#: Hits this close are one stroke of a person, in seconds.
TOGETHER_S = 0.04

#: Of hits that come together, one below this share of another's velocity is crosstalk: 12 dB
#: softer by the velocity curve of ``grading.loudness``.
CROSSTALK = 0.5


class Command(StrEnum):
    """What the pads can ask for."""

    START = "start"
    AGAIN = "again"
    NEXT = "next"
    BACK = "back"
    SLOWER = "slower"
    FASTER = "faster"
    LEAVE = "leave"
    SOUND = "sound"


#: The pad of each command.
DEFAULT_PADS: Mapping[Command, str] = {
    Command.START: "snare",
    Command.AGAIN: "snare",
    Command.NEXT: "ride",
    Command.BACK: "floor-tom",
    Command.SLOWER: "mid-tom",
    Command.FASTER: "high-tom",
    Command.LEAVE: "crash",
    Command.SOUND: "hi-hat",
}

#: The commands, the one most needed first: a small kit goes without the last ones.
NEED = (
    Command.START,
    Command.AGAIN,
    Command.NEXT,
    Command.LEAVE,
    Command.BACK,
    Command.SLOWER,
    Command.FASTER,
    Command.SOUND,
)

#: Commands that never stand on the same page, and so may share a pad.
_ONE_OF = {Command.AGAIN: Command.START}

#: Pads that stand in first for one that is not there.
_STAND_IN = ("kick", "hi-hat")


@dataclass(frozen=True, slots=True)
class Calls:
    """Which pad calls, and which pad then gives which command; pads are voices by name.

    Raises ValueError, in plain words, for pads that could not be told apart.
    """

    call: str = "kick"
    pads: Mapping[Command, str] = field(default_factory=lambda: dict(DEFAULT_PADS))

    def __post_init__(self) -> None:
        _check_pad("call", self.call)
        taken: dict[str, Command] = {}
        for command, pad in self.pads.items():
            _check_pad(command, pad)
            if pad == self.call:
                raise ValueError(
                    f'"{command}" has the pad {pad}, which makes the call; give one of them '
                    "another pad."
                )
            first = taken.setdefault(pad, command)
            if _ONE_OF.get(command, command) != _ONE_OF.get(first, first):
                raise ValueError(
                    f'"{first}" and "{command}" cannot both be on the {BY_NAME[pad].label}. '
                    "Give one of them another pad."
                )

    def words(self) -> str:
        """How a command is given, for a line above the pads of the commands."""
        return f"{BY_NAME[self.call].label.capitalize()} twice, then twice:"

    def fitting(self, voices: Collection[str]) -> "Calls":
        """These calls on a kit that has ``voices``: what has a pad that is not there moves.

        Where the pads are too few, the commands needed least are left out.
        """
        known = {self.call, *self.pads.values()}
        struck = {folded(voice, known) for voice in voices if not BY_NAME[voice].by_itself}
        there = sorted(struck, key=lambda pad: (pad not in _STAND_IN, STAFF_ORDER[pad]))
        call = next((pad for pad in (self.call, "kick", *there) if pad in struck), None)
        if call is None:
            return Calls(self.call, {})
        there.remove(call)
        by_need = dict.fromkeys(self.pads[command] for command in NEED if command in self.pads)
        wanted = list(by_need)[: len(there)]
        spare = [pad for pad in there if pad not in wanted]
        moved = {pad: pad if pad in there else spare.pop(0) for pad in wanted}
        return Calls(
            call,
            {command: moved[pad] for command, pad in self.pads.items() if pad in moved},
        )

    def as_plain(self) -> dict[str, str]:
        """The calls as plain objects for a file: ``call`` and each command, to its pad."""
        return {"call": self.call, **{command.value: pad for command, pad in self.pads.items()}}

    @classmethod
    def from_plain(cls, plain: Any) -> "Calls":
        """The calls that ``as_plain`` gave; a command that is not there is not given by pads.

        Raises ValueError, in plain words, where they make no sense.
        """
        if not isinstance(plain, Mapping):
            raise ValueError('the calls are a table, such as call = "kick", start = "snare".')
        pads: dict[Command, str] = {}
        for name, pad in plain.items():
            if name == "call":
                continue
            if name not in list(Command):
                raise ValueError(
                    f'"{name}" is no command; write "call" or one of {", ".join(Command)}.'
                )
            pads[Command(name)] = pad
        return cls(plain.get("call", "kick"), pads)


def _check_pad(name: str, pad: Any) -> None:
    """Raise ValueError unless ``pad`` is a pad that is struck."""
    if pad not in [voice.name for voice in VOICES if not voice.by_itself]:
        shown = f'"{pad}"' if isinstance(pad, str) else repr(pad)
        struck = ", ".join(voice.name for voice in VOICES if not voice.by_itself)
        raise ValueError(f'"{name}" has {shown}, which is no pad to strike; write one of {struck}.')


class Listener:
    """Hears the hits of the pads while nothing runs, and answers each call once.

    Of two commands that share a pad the first in ``Command`` is answered. Times are seconds on the
    program's clock. The first silence counts from the first thing told, so that the end of a run
    is no part of a call.
    """

    def __init__(self, calls: Calls) -> None:
        self._call = calls.call
        self._known = {calls.call, *calls.pads.values()}
        in_order = [command for command in Command if command in calls.pads]
        self._commands = {calls.pads[command]: command for command in reversed(in_order)}
        self._last_s: float | None = None
        # The strokes since every pad was silent; None where they can no longer be a call.
        self._strokes: list[Hit] | None = None

    def hit(self, hit: Hit) -> None:
        """Take a hit; hits come in order of time."""
        if BY_NAME[hit.voice].by_itself:
            return
        stroke = replace(hit, voice=folded(hit.voice, self._known))
        quiet_s = 0.0 if self._last_s is None else stroke.time_s - self._last_s
        self._last_s = stroke.time_s
        if quiet_s >= QUIET_BEFORE_S:
            self._strokes = [stroke]
        elif self._strokes is not None and quiet_s < TOGETHER_S:
            self._strokes = _together(self._strokes, stroke)
        elif self._strokes is not None:
            self._strokes = [*self._strokes, stroke] if len(self._strokes) < 4 else None

    def time_passed(self, now_s: float) -> Command | None:
        """The command that was given, as soon as the silence after it is over."""
        if self._last_s is None:
            self._last_s = now_s
        strokes = self._strokes
        if strokes is None or len(strokes) < 4 or now_s - self._last_s < QUIET_AFTER_S:
            return None
        self._strokes = None
        first, second, third, fourth = (stroke.voice for stroke in strokes)
        gaps_s = [later.time_s - sooner.time_s for sooner, later in pairwise(strokes)]
        easy = all(GAP_S[0] <= gap_s <= GAP_S[1] for gap_s in gaps_s)
        if not easy or not first == second == self._call or third != fourth:
            return None
        return self._commands.get(third)


def _together(strokes: list[Hit], hit: Hit) -> list[Hit] | None:
    """The strokes with a hit at the moment of the last; None where two pads were struck at once."""
    last = strokes[-1]
    if hit.voice == last.voice or hit.velocity < CROSSTALK * last.velocity:
        return strokes
    if last.velocity < CROSSTALK * hit.velocity:
        return [*strokes[:-1], replace(hit, time_s=last.time_s)]
    return None
