"""The kit that is played on: its port, who plays it, and what is known of both.

A kit that is plugged in later is found from the first page on; until then keys are pads.
"""

from dataclasses import dataclass, replace

from playalong.app.home.key_port import KeyPort
from playalong.app.open_devices import Look, on_kit
from playalong.app.run.context import RunContext
from playalong.app.user_folders import UserFolders
from playalong.midi.port import Port
from playalong.midi_io.backend import PortError
from playalong.midi_io.ports import open_port, port_names
from playalong.profile.profile import Profile

#: How often a kit is looked for where there is none, in seconds.
SEEK_S = 2.0


@dataclass
class KitAtHand:
    """The open port and its profile; ``is_keys`` where the computer's keys are pads."""

    port: Port
    profile: Profile
    is_keys: bool

    @classmethod
    def find(
        cls,
        context: RunContext,
        home: UserFolders,
        *,
        part: str | None = None,
        who: str | None = None,
    ) -> "KitAtHand":
        """The kit whose port has ``part`` in its name, the last one, or the only one.

        The computer's keys where there is none, or where nobody has said which.
        """
        try:
            port: Port = open_port(part, home.settings().port)
        except PortError:
            return cls.keys(context, home, who)
        return cls._of(port, home, who)

    @classmethod
    def keys(cls, context: RunContext, home: UserFolders, who: str | None = None) -> "KitAtHand":
        """The computer's keys as a kit."""
        port = KeyPort(context.window, context.clock.now)
        return cls(port, home.profile(port.name, who), True)

    @classmethod
    def _of(cls, port: Port, home: UserFolders, who: str | None) -> "KitAtHand":
        profile = home.profile(port.name, who)
        home.remember(port=port.name, kit=profile.kit)
        return cls(port, profile, False)

    def seek(self, context: RunContext, home: UserFolders) -> bool:
        """Whether a kit has been plugged in where there was none; it is then the one at hand."""
        if not self.is_keys or not ports():
            return False
        found = KitAtHand.find(context, home)
        if found.is_keys:
            return False
        self.port, self.profile, self.is_keys = found.port, found.profile, False
        return True

    def context(self, context: RunContext, look: Look) -> RunContext:
        """``context`` with this kit; keys work pages as keys, and not as pads."""
        found = on_kit(context, look, self.port, profile=self.profile)
        if self.is_keys:
            return replace(found, pad_commands=found.pad_commands and found.pad_commands.silent())
        return found

    def close(self) -> None:
        """Let go of the port."""
        self.port.close()


def ports() -> list[str]:
    """The names of the kits that are plugged in; none where the system does not tell."""
    try:
        return port_names()
    except PortError:
        return []
