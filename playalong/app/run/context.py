"""Everything around the player: window, sound, clock, kit; and pages that stand still."""

from collections.abc import Callable
from dataclasses import dataclass, field

from playalong.app.run.clock import Clock
from playalong.app.run.pad_commands import PadCommands, level_steps
from playalong.midi.port import Arrival
from playalong.midi_io.timestamps import StampFilter
from playalong.profile.profile import Profile
from playalong.screen.base.overlay import Covered
from playalong.screen.base.page import Outcome, Page
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import Level
from playalong.screen.base.window import Window
from playalong.sound.device.output import Output

FRAME_S = 1 / 60

#: How often hits are taken from the port while a frame is waited for.
LISTEN_S = 0.002

#: How long a run waits for a kit that has gone.
PATIENCE_S = 600.0

GONE = ("The kit is gone: check its cable.", "The run waits, and every hit so far is kept.")
GONE_MEANWHILE = (GONE[0], "Until it is back, keys work the program.")


@dataclass(frozen=True)
class RunContext:
    """Everything around the player.

    ``notices`` are words that stand on the sheet; ``seen`` is told of every frame that was shown,
    with the time in seconds of the run. ``stamps`` learns the port's least delay from run to run.
    ``profile`` says what is known of the kit and its player. With ``echo`` the pads sound through
    the program. A run waits ``patience_s`` for a kit that has gone. ``pad_commands`` hears strokes
    that work the program, where there is a port for it.
    """

    clock: Clock
    window: Window
    theme: Theme
    output: Output
    notices: tuple[str, ...]
    frame_s: float = FRAME_S
    seen: Callable[[float], None] = lambda _: None
    stamps: StampFilter = field(default_factory=StampFilter)
    profile: Profile = field(default_factory=lambda: Profile("", ""))
    echo: bool = False
    listen_s: float = LISTEN_S
    patience_s: float = PATIENCE_S
    pad_commands: PadCommands | None = None

    def asked(self, page: Page) -> Outcome | None:
        """What was asked for by key or mouse; the level of the sound is moved at once."""
        for press in self.window.presses():
            for _ in range(abs(steps := level_steps(press, page))):
                (self.output.louder if steps > 0 else self.output.softer)()
            outcome = page.handle(press) if not steps else None
            if outcome is not None:
                return outcome
        return None

    def show(self, page: Page, now_s: float) -> None:
        """Show ``page`` as it is at ``now_s`` while no run is on, and say where the kit is gone."""
        self.show_with(
            page, now_s, self.pad_commands is None or self.pad_commands.is_there(self.clock.now())
        )

    def show_with(self, page: Page, now_s: float, is_there: bool) -> None:
        """The same by whoever knows whether the kit is there."""
        if not is_there and not getattr(page, "paused", ()):
            page = Covered(page, self.theme, GONE_MEANWHILE)
        self.window.frame(page, now_s)
        self.seen(now_s)
        self.output.tend()

    def level(self) -> Level:
        """The level of the sound, for a page."""
        return Level(self.output.level_db)


def hold(context: RunContext, page: Page, now_s: float, until_s: float | None) -> Outcome | None:
    """Show a page that stands still until a time on the clock, None for no end, or a press.

    Strokes work it as keys do.
    """
    if context.pad_commands is not None:
        context.pad_commands.begin()
    while until_s is None or context.clock.now() < until_s:
        level = getattr(page, "level", None)
        if level is not None:
            level.db = context.output.level_db
        context.show(page, now_s)
        outcome = context.asked(page)
        if outcome is None and context.pad_commands is not None:
            called = context.pad_commands.asked(page, context.clock.now())
            outcome = None if called is None else page.handle(called)
        if outcome is not None:
            return outcome
        context.clock.wait(context.frame_s)
    return None


class SilentPort:
    """A port on which nothing comes, while the program plays; see ``midi.port.Port``."""

    name = "nobody"

    def poll(self) -> list[Arrival]:
        """Nothing."""
        return []

    def is_there(self) -> bool:
        """Always."""
        return True

    def reopen(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""
