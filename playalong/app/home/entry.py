"""The one window: opened at the first page, or in a room of it."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from playalong.app.home.home_session import HomeSession
from playalong.app.home.kit_at_hand import KitAtHand
from playalong.app.home.looks import size_of
from playalong.app.open_devices import Look, OpenDevices
from playalong.app.run.clock import RealClock
from playalong.app.user_folders import UserFolders

if TYPE_CHECKING:
    from playalong.app.play.play_session import SavedRun


def open_window(
    look: Look,
    home: UserFolders,
    folder: Path | None = None,
    *,
    room: Callable[[HomeSession], None] | None = None,
    kit: KitAtHand | None = None,
    told: "Callable[[SavedRun], None]" = lambda _: None,
) -> None:
    """Show the first page until the program is asked to end; ``room`` is gone into before.

    ``kit`` and ``told`` as ``HomeSession`` has them.
    """
    with OpenDevices(look, home, RealClock(), notices=()) as opened:
        kept = home.settings_of(None)
        opened.window.resize(size_of(kept))
        opened.window.full_screen(bool(kept.get("full_screen")))
        session = HomeSession(opened, look, home, kit=kit, folder=folder, told=told)
        if room is not None:
            session.enter(lambda: room(session))
        session.go()
