"""The page on which the loudness of each pad is learned."""

from playalong.kit.mapping import Mapper
from playalong.live.kit_desk import Desk
from playalong.profile.touch import Touch
from playalong.screen.page import Outcome
from playalong.screen.touch_page import PadLine, TouchPage


def touch(desk: Desk) -> None:
    """Let the player strike each pad softly, ordinarily and strongly; kept pad by pad."""
    _Touching(desk).go()


class _Touching:
    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._machine = Touch(desk.voices, desk.profile.strokes)
        self._mapper = Mapper(desk.profile.pads)
        self._page = TouchPage(desk.stage.theme, desk.profile.kit, None, None)

    def go(self) -> None:
        """Show it until it is left."""
        machine = self._machine
        while True:
            outcome = self._desk.show(self._page, self._hears, self._before_frame)
            if outcome is Outcome.UNDO:
                machine.undo()
            elif outcome is Outcome.AGAIN:
                machine.again()
            elif outcome in (Outcome.NEXT, Outcome.BACK):
                machine.move(1 if outcome is Outcome.NEXT else -1)
            else:
                return

    def _hears(self, time_s: float, data: bytes) -> None:
        hit = self._mapper.hit(time_s, data)
        if hit is None:
            return
        asked = self._machine.voice
        if asked is not None:
            self._desk.struck.setdefault(asked, []).append(hit)
        if self._machine.hit(hit):
            known = self._machine.result()
            if known != self._desk.profile.strokes:
                self._desk.learned(strokes=known)

    def _before_frame(self, _now_s: float) -> None:
        machine, page, desk = self._machine, self._page, self._desk
        voice = machine.voice
        page.voice, page.dynamic = voice, machine.dynamic
        page.strokes, page.bands, page.words, page.is_off = {}, {}, tuple(desk.notices), False
        if voice is not None and any(machine.strokes(voice).values()):
            page.strokes = machine.strokes(voice)
            pad = machine.told(voice)
            page.bands = pad.bands
            page.words = (*desk.notices, *filter(None, (pad.fault, pad.advice)))
            page.is_off = bool(pad.fault)
        page.pads = [self._line(pad) for pad in machine.voices]

    def _line(self, voice: str) -> PadLine:
        machine = self._machine
        if not machine.is_complete(voice):
            count = sum(map(len, machine.strokes(voice).values()))
            return PadLine(voice, f"{count} of {3 * machine.of} strokes", False)
        pad = machine.told(voice)
        return PadLine(voice, pad.fault or "the three are apart", True, bool(pad.fault))
