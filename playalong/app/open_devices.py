"""Window and sound, opened together and closed together."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from playalong.app.kit_click import KitClick
from playalong.app.run.clock import Clock, SteppedClock
from playalong.app.run.context import FRAME_S, LISTEN_S, RunContext
from playalong.app.run.hit_input import HitInput
from playalong.app.run.pad_commands import PadCommands
from playalong.app.user_folders import UserFolders
from playalong.midi.port import Port
from playalong.profile.latency import PLAYED_ALONG
from playalong.profile.profile import Profile
from playalong.screen.base.theme import Theme
from playalong.screen.base.window import Window
from playalong.sound.device.devices import BUFFER_MS, PADS_BUFFER_MS, OutputError
from playalong.sound.device.output import DeviceOutput, Output, SilentOutput
from playalong.sound.mix import HIGHEST_DB, LOWEST_DB, Mix
from playalong.sound.synth.click import Counting
from playalong.sound.timeline import QUIET_DB
from playalong.support import resources as shipped

#: On the stepped clock only some frames are drawn: how far it goes between them.
FAST_FRAME_S = 1 / 10

#: What is remembered of the mix.
MIXED = ("click_db", "soft_click_db", "drums_db", "recording_db")


@dataclass(frozen=True, kw_only=True)
class Look:
    """How the window looks, and how it sounds.

    ``device`` is part of a sound device's name, None for the remembered one; ``kit_click`` part
    of the MIDI output on which the click is to sound, None for the computer's own sound. With
    ``echo`` the pads sound through the program. ``buffer_ms`` is how much sound the device asks for
    at once, None for what is usual: less where the pads are to sound. ``click_db`` and ``drums_db``
    are levels of their own, None for the remembered ones; ``counting`` is what counts in, likewise.
    """

    dark: bool = False
    large: bool = False
    device: str | None = None
    buffer_ms: float | None = None
    kit_click: str | None = None
    echo: bool = False
    click_db: float | None = None
    drums_db: float | None = None
    counting: Counting | None = None


def counting_of(look: Look, stored: Mapping[str, Any]) -> Counting:
    """What counts in: as it is asked for, or as the settings in ``stored`` have it.

    On the kit's own module it is sticks.
    """
    if look.kit_click:
        return Counting.STICKS
    if look.counting is not None:
        return look.counting
    return next((one for one in Counting if one == stored.get("counting")), Counting.STICKS)


def themed(look: Look, stored: Mapping[str, Any]) -> Theme:
    """The theme that is asked for, or else that of the settings in ``stored``."""
    return Theme.load(
        shipped.folder("assets") / "fonts",
        look.dark or bool(stored.get("dark")),
        look.large or bool(stored.get("large")),
        strong=bool(stored.get("strong")),
        still=bool(stored.get("still")),
    )


class OpenDevices:
    """Window and sound, opened together and closed together.

    The sound starts as loud as it was left, and quiet where it never was.
    """

    def __init__(
        self, look: Look, home: UserFolders, clock: Clock, *, notices: tuple[str, ...]
    ) -> None:
        self._look, self._home, self._clock, self._notices = look, home, clock, notices
        self._fast = isinstance(clock, SteppedClock)

    def __enter__(self) -> RunContext:
        look, fast = self._look, self._fast
        stored = self._home.settings_of(None)
        self._window = Window.open(offscreen=True if fast else None)
        try:
            self._output: Output = SilentOutput() if fast else self._device()
            self._level_db = self._output.level_db
            self._output.mix = self._mix = self._wished_mix({} if fast else stored)
            if look.kit_click and not fast:
                self._output = KitClick(self._output, look.kit_click)
        except BaseException:
            self._window.close()
            raise
        return RunContext(
            clock=self._clock,
            window=self._window,
            theme=themed(look, stored),
            output=self._output,
            notices=(*self._notices, *self._home.notices),
            frame_s=FAST_FRAME_S if fast else FRAME_S,
            listen_s=FAST_FRAME_S if fast else LISTEN_S,
            counting=Counting.STICKS if fast else counting_of(look, stored),
        )

    def _device(self) -> DeviceOutput:
        """The device that is asked for, or the remembered one if it is there."""
        look, remembered = self._look, self._home.settings()
        level_db = QUIET_DB if remembered.level_db is None else remembered.level_db
        buffer_ms = look.buffer_ms or (PADS_BUFFER_MS if look.echo else BUFFER_MS)
        if look.device is None and remembered.sound_device:
            try:
                return DeviceOutput(remembered.sound_device, level_db, buffer_ms)
            except OutputError:
                pass  # it is not plugged in today
        output = DeviceOutput(look.device, level_db, buffer_ms)
        if look.device is not None:
            self._home.remember(sound_device=look.device)
        return output

    def _wished_mix(self, left: Mapping[str, Any]) -> Mix:
        """Click, drums and recording as they are asked for, or as they were ``left``."""
        look = self._look
        requested = {
            "click_db": look.click_db,
            "soft_click_db": look.click_db,
            "drums_db": look.drums_db,
        }
        found: dict[str, Any] = {}
        for name in MIXED:
            level_db = requested.get(name)
            if level_db is None:
                level_db = left.get(name)
            if isinstance(level_db, int | float) and LOWEST_DB <= level_db <= HIGHEST_DB:
                found[name] = float(level_db)
        return Mix(**found)

    def __exit__(self, *_: object) -> None:
        level_db, mix = self._output.level_db, self._output.mix
        self._output.close()
        self._window.close()
        if not self._fast and level_db != self._level_db:
            self._home.remember(level_db=level_db)
        if not self._fast and mix.under_drums(False) != self._mix:
            levels = {name: getattr(mix, name) for name in MIXED}
            self._home.remember_for(None, **levels)


def on_kit(context: RunContext, look: Look, port: Port, *, profile: Profile) -> RunContext:
    """``context`` with a player at a real kit."""
    late = profile.latency
    if look.kit_click and late is not None and late.how == PLAYED_ALONG:
        # It holds the way of the computer's sound, which the click does not take now.
        profile = replace(profile, latency=None)
    pads = HitInput(port, context.stamps, profile.pads)
    pad_commands = PadCommands(pads, profile.calls)
    return replace(context, profile=profile, pad_commands=pad_commands, echo=look.echo)
