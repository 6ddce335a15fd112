"""The one window: opened at the first page, or in a room of it."""

from collections.abc import Callable
from pathlib import Path

from playalong.app.home.home_session import HomeSession
from playalong.app.home.looks import size_of
from playalong.app.open_devices import Look, OpenDevices
from playalong.app.run.clock import RealClock
from playalong.app.user_folders import UserFolders


def open_window(
    look: Look,
    home: UserFolders,
    folder: Path | None = None,
    *,
    room: Callable[[HomeSession], None] | None = None,
) -> None:
    """Show the first page until the program is asked to end; ``room`` is gone into before."""
    with OpenDevices(look, home, RealClock(), notices=()) as opened:
        kept = home.settings_of(None)
        opened.window.resize(size_of(kept))
        opened.window.full_screen(bool(kept.get("full_screen")))
        session = HomeSession(opened, look, home, folder=folder)
        if room is not None:
            session.enter(lambda: room(session))
        session.go()
