"""The one loop that shows frames, whatever is on: a run, a page that stands still, the kit's pages.

In each frame, in this order:

| what happens | who is asked |
| --- | --- |
| the kit is looked after | ``HitInput.look`` |
| what came from it is taken, again and again until the next frame | ``HitInput.read`` |
| whoever is on hears that the kit has gone, or is back | ``Scene.kit_gone``, ``kit_back`` |
| what is seen now; the loop ends where that is nothing | ``Scene.view`` |
| it is drawn, with the last stroke, and words over it where the kit is gone | ``Window`` |
| keys, mouse and strokes; the loop ends with the outcome that they ask for | ``Scene.press`` |
| the sound is tended, and the rest of the frame is waited for | ``Clock.wait`` |

What stands still (``Scene.stands_still``) is drawn when something came, what tells how it looks
(``page.Looking``) when that is something else; and both twice a second, whatever was shown.
The clock may be stepped: it then goes only while it is waited for.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from playalong.app.run.context import GONE_MEANWHILE, RunContext
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands
from playalong.midi.mapping import Heard
from playalong.profile.pad_commands import GAP_S, QUIET_AFTER_S
from playalong.screen.base.keys import Key, Press
from playalong.screen.base.overlay import Covered
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.rows import CHANGING, Choice, Rows
from playalong.screen.base.widgets import Button, Buttons, Level, decibels, level_of
from playalong.screen.home_pages.settings import SettingsPage
from playalong.sound.device.output import STEP_DB, Output
from playalong.sound.mix import Part
from playalong.sound.synth.click import Click, Kind
from playalong.sound.synth.notes import Note
from playalong.support.cautions import CAUTION
from playalong.support.system import interrupts

#: How long after a stroke a call that it belongs to may still go on.
CALL_S = GAP_S[1] + QUIET_AFTER_S + 0.1

#: Leaves the levels of the sound as they are set.
DONE = Button((Key.ENTER, Key.ESCAPE, Key.CLOSE), "Enter", "done", outcome=Outcome.ACCEPT)

#: How soon a level that was moved is heard.
SOON_S = 0.1

#: How often what stands still is drawn anew, whatever became of the window.
ANEW_S = 0.5


@dataclass(frozen=True, slots=True)
class View:
    """What is seen: ``page`` as it is at ``at_s``, in the page's own seconds."""

    page: Page
    at_s: float


class Scene:
    """What is on for so many frames. What stands here shows nothing and is over at once.

    ``now_s`` is always in seconds on the clock.
    """

    @property
    def by_pads(self) -> bool:
        """Whether strokes on the pads work the page now."""
        return True

    @property
    def stands_still(self) -> bool:
        """Whether what is seen changes by presses and by what comes from the kit alone."""
        return False

    def view(self, now_s: float) -> View | None:
        """What is seen, None where it is over; asked once a frame."""
        return None

    def received(self, message: Heard) -> None:
        """Something came from the kit."""

    def time_passed(self, now_s: float) -> None:
        """All that had come by ``now_s`` was told."""

    def kit_gone(self, now_s: float) -> None:
        """The kit has gone; what came before was told."""

    def kit_back(self, now_s: float) -> None:
        """The kit that had gone is back."""

    def press(self, page: Page, press: Press) -> Outcome | None:
        """A press, or an outcome that strokes ask for, on the page that is seen."""
        return page.handle(press)

    def linger(self) -> None:
        """Somebody works the page: it does not go by itself."""

    def survives(self, error: Exception) -> bool:
        """Whether the loop goes on after ``error`` in what is seen; what it says is kept then."""
        return False


def show(
    context: RunContext,
    scene: Scene,
    input: HitInput | None = None,
    *,
    pad_commands: PadCommands | None = None,
) -> Outcome | None:
    """Show ``scene`` until it is over, which gives None, or something is asked for.

    ``input`` is where hits come from, None where nobody listens.
    """
    clock, was_there = context.clock, True
    has_changed, anew_s = True, clock.now()
    while True:
        interrupts.look()
        if context.window.is_closed:
            return Outcome.LEAVE
        now_s = clock.now()
        is_there = input is None or input.look(now_s)
        has_changed |= _listen(context, scene, input, pad_commands=pad_commands, now_s=now_s)
        if is_there is not was_there:
            (scene.kit_back if is_there else scene.kit_gone)(now_s)
            was_there, has_changed = is_there, True
        view = scene.view(now_s)
        if view is None:
            return None
        if now_s - anew_s >= ANEW_S:
            anew_s = now_s
            context.window.anew()
        elif not has_changed and scene.stands_still:
            context.window.stays()
        try:
            _draw(context, view, is_there)
        except Exception as error:
            if not scene.survives(error):
                raise
        presses = context.window.presses()
        has_changed = bool(presses)
        outcome = _pressed(context, scene, view.page, presses=presses)
        if outcome is None and pad_commands is not None and scene.by_pads:
            command = pad_commands.outcome(view.page, now_s)
            if command is not None:
                has_changed = True
                outcome = command if command is Outcome.SOUND else scene.press(view.page, command)
        if outcome is Outcome.SOUND:
            if scene.by_pads:  # while somebody plays, the keys move the level
                scene.linger()
                _set_levels(context)
                if pad_commands is not None:
                    pad_commands.begin()
        elif outcome is not None:
            return outcome
        until_s = now_s + context.frame_s
        while (left_s := until_s - clock.now()) > 0:
            clock.wait(min(left_s, context.listen_s) if input is not None else left_s)
            if left_s > context.listen_s:
                has_changed |= _listen(
                    context, scene, input, pad_commands=pad_commands, now_s=clock.now()
                )


def hold(
    context: RunContext, page: Page, at_s: float, *, until_s: float | None = None
) -> Outcome | None:
    """Show a page that stands still, at ``at_s`` of its own time, until a press asks for something.

    Or until a time on the clock, which gives None; who works the page meanwhile is not hurried on.
    Strokes work it as keys do, and it shows which.
    """
    show_pads(context, page)
    return show_by_pads(context, _Held(View(page, at_s), until_s))


def show_pads(context: RunContext, page: Page) -> None:
    """Let the buttons of a page show which pads do the same."""
    buttons = getattr(page, "buttons", getattr(page, "_buttons", None))
    if context.pad_commands is not None and isinstance(buttons, Buttons):
        buttons.show_pads(context.pad_commands.on(page), context.pad_commands.call)


def show_by_pads(context: RunContext, scene: Scene) -> Outcome | None:
    """Show ``scene``, worked by strokes too; what was struck before counts for nothing."""
    commands = context.pad_commands
    if commands is None:
        return show(context, scene)
    commands.begin()
    return show(context, scene, commands.input, pad_commands=commands)


@dataclass
class _Held(Scene):
    """A page that stands still."""

    held: View
    until_s: float | None

    @property
    def stands_still(self) -> bool:
        """It does."""
        return True

    def view(self, now_s: float) -> View | None:
        """The page, until its time is over."""
        return self.held if self.until_s is None or now_s < self.until_s else None

    def received(self, message: Heard) -> None:
        """Who strikes may be about to ask for something."""
        if self.until_s is not None and message.hit is not None:
            self.until_s = max(self.until_s, message.hit.time_s + CALL_S)

    def press(self, page: Page, press: Press) -> Outcome | None:
        """What the page answers; what changes on it is there to be looked at."""
        outcome = page.handle(press)
        if outcome is None:
            self.linger()
        return outcome

    def linger(self) -> None:
        """It stays until somebody asks for something."""
        self.until_s = None


def _listen(
    context: RunContext,
    scene: Scene,
    input: HitInput | None,
    *,
    pad_commands: PadCommands | None,
    now_s: float,
) -> bool:
    """Take what came from the kit; whether anything did."""
    messages = input.read() if input is not None else []
    for message in messages:
        scene.received(message)
        if message.hit is not None:
            context.last_stroke.struck(message.hit, now_s)
        if pad_commands is not None and scene.by_pads and message.hit is not None:
            pad_commands.hit(message.hit)
    scene.time_passed(now_s)
    return bool(messages)


def _draw(context: RunContext, view: View, is_there: bool) -> None:
    page = view.page
    level = level_of(page)
    if level is not None:
        output = context.output
        level.db = output.mix.of(Part(level.part)) if level.part else output.level_db
    if not is_there and not getattr(page, "paused", ()):
        page = Covered(page=page, theme=context.theme, words=GONE_MEANWHILE)
    page = context.last_stroke.on(page, context.theme, context.clock.now())
    context.window.frame(page, view.at_s)
    context.seen(view.at_s)
    context.output.tend()


def _pressed(
    context: RunContext, scene: Scene, page: Page, *, presses: Sequence[Press]
) -> Outcome | None:
    """What keys and mouse ask for; the level of the sound is moved at once."""
    level = level_of(page)
    for press in presses:
        if level is not None and _moves_level(context.output, level, press):
            continue
        outcome = scene.press(page, press)
        if outcome is not None:
            return outcome
    return None


def _moves_level(output: Output, level: Level, press: Press) -> bool:
    """Whether a press moved the level of the sound, or chose another part of it."""
    if level.chooses(press):
        return True
    steps = level.steps(press)
    _move_level(output, level.part, steps)
    return steps != 0


def _move_level(output: Output, part: str, steps: int) -> None:
    """So many steps louder, or softer: ``part`` by name, "" for all of it."""
    if part:
        output.mix = output.mix.moved(Part(part), steps * STEP_DB)
    else:
        for _ in range(abs(steps)):
            (output.louder if steps > 0 else output.softer)()


def _set_levels(context: RunContext) -> None:
    """The levels of the sound, sticks in hand, until it is done; each is heard as it is moved."""
    output, parts, rows = context.output, ("", *Part), Rows(())
    page = SettingsPage(
        theme=context.theme,
        title="Sound",
        subtitle="",
        rows=rows,
        notices=[CAUTION],
        level=None,
        buttons=Buttons((DONE, *CHANGING)),
    )
    while True:
        levels = [output.level_db, *(output.mix.of(part) for part in Part)]
        rows.choices = [
            Choice(name=part or "all", value=decibels(db))
            for part, db in zip(parts, levels, strict=True)
        ]
        outcome = hold(context, page, 0.0)
        if outcome not in (Outcome.LESS, Outcome.MORE):
            return
        part = parts[rows.chosen]
        _move_level(output, part, 1 if outcome is Outcome.MORE else -1)
        drum, click = Note(time_s=0.0, voice="snare", velocity=96), Click(0.0, Kind.BEAT)
        if part != Part.RECORDING:  # where it will sound: a click on the kit's module, perhaps
            sound = drum if part == Part.DRUMS else click
            output.schedule(context.clock.now() + SOON_S, [sound])
