"""The sheet while nothing comes from the kit: it has gone, or no stroke arrives."""

from collections.abc import Sequence
from dataclasses import dataclass

from playalong.app.lesson.offered import KIT_GONE, NO_STROKE
from playalong.app.lesson.still_sheet import StillSheet
from playalong.app.run.context import GONE, RunContext
from playalong.app.run.frame_loop import Scene, View, show, show_pads
from playalong.app.run.hit_input import HitInput
from playalong.midi.mapping import Heard
from playalong.midi.port import Port
from playalong.practice.feedback import Answer
from playalong.practice.phrases import Code, said, text
from playalong.profile.pad_commands import QUIET_AFTER_S
from playalong.screen.base.keys import Press
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.widgets import Buttons

#: Where strokes may ask for something: more than so many do not, nor those before such a silence.
CALL_STROKES, CALL_OVER_S = 4, QUIET_AFTER_S + 0.3


def until_it_is_back(context: RunContext, sheet: StillSheet, port: Port) -> bool:
    """Wait for a kit that has gone, with the sheet of the run; whether it is there again."""
    page = sheet.page
    page.paused = (GONE[0], text(said(Code.KIT_GONE)))
    page.buttons = Buttons(KIT_GONE)
    hits = HitInput(port, context.stamps, context.profile.pads)
    away = _Away(sheet, hits, context.clock.now() + context.patience_s)
    return show(context, away, hits) is not Outcome.LEAVE and hits.is_there


def until_a_stroke(
    context: RunContext, sheet: StillSheet, port: Port, *, answer: Answer
) -> Outcome | None:
    """Wait for a stroke, with the sheet of the run in which none arrived; what is asked for."""
    words = (answer.words, text(said(Code.LISTENING_ON, port=port.name)), answer.next)
    return _wait_for_a_stroke(context, sheet, port, words=words)


def until_ready(context: RunContext, sheet: StillSheet, port: Port) -> Outcome | None:
    """Wait for a stroke on a kit that is back: whoever saw to its cable does not sit at it yet.

    What is asked for instead, None where a stroke came.
    """
    codes = (Code.KIT_BACK, Code.STRIKE_TO_BEGIN)
    return _wait_for_a_stroke(context, sheet, port, words=[text(said(code)) for code in codes])


def _wait_for_a_stroke(
    context: RunContext, sheet: StillSheet, port: Port, *, words: Sequence[str]
) -> Outcome | None:
    page = sheet.page
    page.said = ()
    page.paused = tuple(words)
    page.buttons = Buttons(NO_STROKE)
    commands = context.pad_commands
    hits = HitInput(port, context.stamps, context.profile.pads)
    if commands is not None:
        commands.begin()
        hits = commands.input
    hits.discard()
    show_pads(context, page)
    outcome = show(context, _Silent(sheet), hits, pad_commands=commands)
    page.paused = ()
    return outcome


@dataclass
class _Away(Scene):
    """The page of a run that has lost its kit, until the kit is back or nobody waits any more.

    Nothing but LEAVE can be asked for.
    """

    sheet: StillSheet
    input: HitInput
    until_s: float

    def view(self, now_s: float) -> View | None:
        """The page, while the kit is away."""
        return None if self.input.is_there or now_s >= self.until_s else self.sheet.view

    def press(self, page: Page, press: Press) -> Outcome | None:
        """LEAVE only."""
        return Outcome.LEAVE if page.handle(press) is Outcome.LEAVE else None


@dataclass
class _Silent(Scene):
    """The page of a run in which no stroke arrived, until one does that asks for nothing.

    What arrives and is no stroke is told.
    """

    sheet: StillSheet
    strokes: int = 0
    last_s: float = 0.0

    def view(self, now_s: float) -> View | None:
        """The page, until a stroke has arrived that is no part of what pads ask for."""
        is_over = self.strokes > CALL_STROKES or (
            self.strokes > 0 and now_s - self.last_s > CALL_OVER_S
        )
        return None if is_over else self.sheet.view

    def received(self, message: Heard) -> None:
        """A stroke, or something else."""
        if message.hit is not None:
            self.strokes += 1
            self.last_s = max(self.last_s, message.hit.time_s)
        elif message.dropped:
            page = self.sheet.page
            page.paused = (*page.paused[:2], text(said(Code.NO_KNOWN_PAD)))
