"""The kit that is played: its port, and what is known of it and its player."""

from collections.abc import Iterator
from contextlib import contextmanager

from playalong.app.user_folders import UserFolders
from playalong.midi.port import Port
from playalong.midi_io.ports import open_port
from playalong.profile.profile import Profile


@contextmanager
def open_kit(
    home: UserFolders, part: str | None, who: str | None, *, remembers: bool = True
) -> Iterator[tuple[Port, Profile]]:
    """The port with ``part`` in its name, and the profile of its kit as ``who`` plays it.

    Where either is not said it is the last one; which they are is remembered, unless nobody plays.
    PortError says which ports there are.
    """
    port = open_port(part, home.settings().port)
    try:
        profile = home.profile(port.name, who)
        if remembers:
            home.remember(port=port.name, kit=profile.kit, player=profile.player)
        yield port, profile
    finally:
        port.close()
