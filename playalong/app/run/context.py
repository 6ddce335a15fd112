"""Everything around the player: window, sound, clock, kit."""

from collections.abc import Callable
from dataclasses import dataclass, field

from playalong.app.memory import Memory
from playalong.app.run.clock import Clock
from playalong.app.run.last_stroke import LastStroke
from playalong.app.run.pad_commands import PadCommands
from playalong.midi.port import Arrival
from playalong.midi_io.timestamps import StampFilter
from playalong.profile.profile import Profile
from playalong.screen.base.theme import Theme
from playalong.screen.base.widgets import Level
from playalong.screen.base.window import Window
from playalong.sound.device.output import Output
from playalong.sound.mix import Part
from playalong.sound.synth.click import Counting

FRAME_S = 1 / 60

#: How often hits are taken from the port while a frame is waited for.
LISTEN_S = 0.002

#: How long a run waits for a kit that has gone.
PATIENCE_S = 600.0

GONE = ("The kit is gone: check its cable.", "The run waits, and every hit so far is kept.")
GONE_MEANWHILE = (GONE[0], "Until it is back, keys work the program.")


@dataclass(frozen=True, kw_only=True)
class RunContext:
    """Everything around the player.

    ``notices`` are words that stand on the sheet; ``seen`` is told of every frame that was shown,
    with the time in seconds of the run. ``stamps`` learns the port's least delay from run to run.
    ``profile`` says what is known of the kit and its player. With ``echo`` the pads sound through
    the program. A run waits ``patience_s`` for a kit that has gone. ``pad_commands`` hears strokes
    that work the program, where there is a port for it. ``memory`` keeps runs while they go on,
    None where nothing is kept. ``last_stroke`` is shown on every page. ``counting`` says what
    counts in.
    """

    clock: Clock
    window: Window
    theme: Theme
    output: Output
    notices: tuple[str, ...]
    frame_s: float = FRAME_S
    seen: Callable[[float], None] = lambda _: None
    stamps: StampFilter = field(default_factory=StampFilter)
    profile: Profile = field(default_factory=lambda: Profile(kit="", player=""))
    echo: bool = False
    listen_s: float = LISTEN_S
    patience_s: float = PATIENCE_S
    pad_commands: PadCommands | None = None
    memory: Memory | None = None
    last_stroke: LastStroke = field(default_factory=LastStroke)
    counting: Counting = Counting.STICKS

    def level(self) -> Level:
        """The level of the sound, for a page."""
        return Level(self.output.level_db, tuple(Part))


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
