"""How loud is loud: soft strokes, normal ones and accents on each pad, kept as each pad is done."""

from collections.abc import Callable
from math import inf

from playalong.app.kit_setup.setup_context import SetupContext
from playalong.midi.hits import Hit
from playalong.midi.mapping import Heard
from playalong.midi.pads import pad_of
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME
from playalong.profile.loudness_calibration import STROKES, TOGETHER_S, PadTouch, Touch
from playalong.screen.base.page import Outcome
from playalong.screen.kit_pages.loudness import LoudnessPage, PadLine

_HOW = (
    f"{STROKES} strokes each: soft as ghost notes, then normal, then accents, with a "
    "pause of a second between. To take another pad first, strike it once."
)
_OTHER = "That was the {}, and the {} is not done: finish it, or choose another with the arrows."
_DONE = "All pads are done. To do one again, choose it, and strike it anew."
_TOO_SOON = "That stroke was not counted: make a pause of a second before each new group."
_ALL = STROKES * len(Dynamic)


def loudness(setup: SetupContext) -> None:
    """Calibrate the pads until the page is left."""
    _Calibrating(setup).go()


class _Calibrating:
    """The page, and what has been struck on it."""

    def __init__(self, setup: SetupContext) -> None:
        self._setup = setup
        self._machine = Touch(setup.voices, setup.profile.strokes)
        self._page = LoudnessPage(
            theme=setup.context.theme, kit=setup.profile.kit, voice=None, dynamic=None
        )
        #: The pad of which something is to be told: that which was struck last.
        self._last: str | None = None
        #: The last hit that was not taken, and when the last was that was.
        self._stray: Hit | None = None
        self._taken_s = -inf

    def go(self) -> None:
        """Show it until it is left."""
        machine = self._machine
        answers: dict[Outcome, Callable[[], None]] = {
            Outcome.UNDO: machine.undo,
            Outcome.AGAIN: self._again,
            Outcome.NEXT: lambda: machine.move(1),
            Outcome.BACK: lambda: machine.move(-1),
        }
        while True:
            outcome = self._setup.show(self._page, self._hears, self._before_frame)
            if outcome not in answers:
                return
            answers[outcome]()
            self._last, self._stray = machine.voice, None

    def _again(self) -> None:
        self._machine.again()
        self._setup.struck.pop(self._machine.voice or "", None)

    def _hears(self, message: Heard) -> None:
        machine, struck = self._machine, self._setup.struck
        # What the guards in use keep out is to be found by the page of triggers.
        bare, hit, voice = message.unguarded, message.hit, None
        if hit is not None:
            voice = machine.voice
            taken = machine.hit(hit)
            # What other pads hear of a stroke is nobody's.
            is_lone = hit.time_s - self._taken_s >= TOGETHER_S
            self._stray = hit if not taken and is_lone else None
            if taken and voice is not None:
                self._last, self._taken_s = voice, hit.time_s
                struck.setdefault(voice, [])
                self._keep()
        voice = voice or machine.voice
        if bare is not None and voice is not None and voice in struck:
            struck[voice].append(bare)

    def _keep(self) -> None:
        """Keep the strokes of all pads that are done."""
        known = self._machine.result()
        if known != self._setup.profile.strokes:
            self._setup.learned(strokes=known)

    def _before_frame(self, _now_s: float) -> None:
        machine, page = self._machine, self._page
        page.voice, page.dynamic = machine.voice, machine.dynamic
        page.pads = [self._line(voice) for voice in machine.voices]
        shown = machine.voice or self._last
        page.strokes = machine.strokes(shown) if shown else {}
        now, last = self._touch_of(shown), self._touch_of(self._last)
        page.curve_of, page.curve = None, {}
        if now is None and last is not None:
            now, page.curve_of, page.curve = last, last.voice, last.velocities
        page.bands = now.bands if now else {}
        page.is_off = last is not None and bool(last.fault)
        words = [_HOW if machine.voice else _DONE]
        if last is not None and last.fault:
            words = [f"{BY_NAME[last.voice].label.capitalize()}: {last.fault}", last.advice]
        if machine.too_soon:
            words = [_TOO_SOON, *words]
        if (other := self._other()) is not None and machine.voice is not None:
            words = [_OTHER.format(BY_NAME[other].label, BY_NAME[machine.voice].label), *words]
        page.words = [*self._setup.notices, *words]

    def _other(self) -> str | None:
        """The pad that was struck where another is begun, and has to be done first."""
        stray, current = self._stray, self._machine.voice
        if stray is None or current is None or not any(self._machine.strokes(current).values()):
            return None
        pad = pad_of(stray.voice)
        return None if pad == current or BY_NAME[pad].by_itself else pad

    def _touch_of(self, voice: str | None) -> PadTouch | None:
        """What the strokes on a pad say, None while there are none."""
        is_struck = voice is not None and any(self._machine.strokes(voice).values())
        return self._machine.pad_touch(voice) if voice is not None and is_struck else None

    def _line(self, voice: str) -> PadLine:
        machine = self._machine
        if not machine.is_complete(voice):
            count = sum(map(len, machine.strokes(voice).values()))
            return PadLine(
                voice=voice, words=f"{count} of {_ALL} strokes" if count else "", done=False
            )
        fault = machine.pad_touch(voice).fault
        return PadLine(
            voice=voice,
            words=fault or "soft, normal and accent are well apart",
            done=True,
            is_off=bool(fault),
        )
