"""Which pad is which: strike what is lit up. What is learned is kept after each pad."""

from collections.abc import Collection
from dataclasses import replace

from playalong.app.kit_setup.setup_context import SetupContext
from playalong.midi.mapping import Heard
from playalong.midi.pads import Pads, pad_of
from playalong.pattern.voices import BY_NAME
from playalong.profile.pad_learning import Learning
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import Buttons
from playalong.screen.kit_pages.kit_drawing import Part, Spot
from playalong.screen.kit_pages.pads import LEARNED, LEARNING, PadsPage


def pads(setup: SetupContext) -> None:
    """Learn the pads until the page is left."""
    _Learned(setup).go()


class _Learned:
    """The page, and what has been learned on it."""

    def __init__(self, setup: SetupContext) -> None:
        self._setup, self._before = setup, setup.profile.pads
        self._was_taught = bool(setup.profile.has)
        self._machine = Learning()
        self._page = PadsPage(
            theme=setup.context.theme, kit=setup.profile.kit, prompt="", done=0, of=0
        )
        self._known = 0

    def go(self) -> None:
        """Show it until it is left."""
        setup = self._setup
        answers = {
            Outcome.SKIP: self._machine.skip,
            Outcome.BACK: self._machine.back,
            Outcome.FOLD: self._fold,
        }
        while True:
            is_over = self._machine.zone is None
            self._page.buttons = setup.buttons(*LEARNED) if is_over else Buttons(LEARNING)
            # While pads are struck to be learned, they ask for nothing.
            outcome = setup.show(self._page, self._hears, self._before_frame, by_pads=is_over)
            if outcome is Outcome.NEXT:
                continue
            if outcome not in answers:
                return
            answers[outcome]()
            self._keep()

    def _fold(self) -> None:
        self._page.folds = not self._page.folds

    def _hears(self, heard: Heard) -> None:
        machine, page = self._machine, self._page
        machine.message(heard.time_s, heard.data)
        by_pedal = machine.zone is not None and machine.zone.travels
        if heard.velocity is not None:
            known = {found.note: found.zone for found in machine.found if found.note is not None}
            zone = known.get(-1 if heard.note is None else heard.note) or machine.zone
            if zone is not None:
                now_s = self._setup.context.clock.now()
                page.drawing.strike(zone.voice, heard.velocity, now_s, part=Part(zone.part))
        if heard.velocity is not None or by_pedal:
            page.heard = heard.words or page.heard

    def _before_frame(self, now_s: float) -> Outcome | None:
        """NEXT once all is learned: the page has other buttons then."""
        machine, page = self._machine, self._page
        was_over = machine.zone is None
        if self._setup.is_there:
            machine.time_passed(now_s)
        else:
            machine.wait_anew()
        if len(machine.found) != self._known:
            self._keep()
        zone = machine.zone
        page.prompt = machine.words
        page.notice = "  ".join(filter(None, [*self._setup.notices, machine.said, machine.hint]))
        page.done, page.of = machine.progress
        page.drawing.lit = None if zone is None else Spot(zone.voice, Part(zone.part))
        return Outcome.NEXT if zone is None and not was_over else None

    def _keep(self) -> None:
        """Keep what is known by now; what was known before of other notes stays until the end."""
        machine, setup = self._machine, self._setup
        self._known = len(machine.found)
        learned = machine.result(self._page.folds)
        notes = dict(learned.notes)
        if machine.zone is not None:
            struck = {found.note for found in machine.found}
            notes |= {note: v for note, v in self._before.notes.items() if note not in struck}
            notes |= self._notes_of_later_pads(struck)
        has_pedal = any(found.pedal for found in machine.found)
        pedal = learned.pedal if has_pedal else self._before.pedal
        known = Pads(notes, pedal, setup.profile.pads.guards)
        calls, has = setup.profile.calls, setup.profile.has
        if machine.zone is None and (voices := self._voices()):
            setup.voices = has = voices
            calls = calls.fitting(voices)
        found = replace(setup.profile, pads=known, calls=calls, has=has)
        if found != setup.profile:
            setup.learned(pads=known, calls=calls, has=has)

    def _notes_of_later_pads(self, struck: Collection[int | None]) -> dict[int, str]:
        """Of a kit that was taught before, notes that were struck for one pad and meant another
        that is not yet asked for: who leaves half-way has not lost that one.
        """
        if not self._was_taught:
            return {}
        done = {found.zone.voice for found in self._machine.found}
        meant = {note: self._before.voice(note) for note in struck if note is not None}
        return {note: voice for note, voice in meant.items() if voice and voice not in done}

    def _voices(self) -> tuple[str, ...]:
        """The pads that the kit has."""
        there = (found.zone.voice for found in self._machine.found if found.note is not None)
        return tuple(dict.fromkeys(pad_of(v) for v in there if not BY_NAME[v].by_itself))
