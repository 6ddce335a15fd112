"""The one window: opened at the first page, or in a room of it."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from playalong.app.broken_off import say_on_page
from playalong.app.home.home_session import HomeSession
from playalong.app.home.kit_at_hand import KitAtHand
from playalong.app.home.looks import size_of
from playalong.app.open_devices import Look, OpenDevices
from playalong.app.recording.background import LeftError, work_on_page
from playalong.app.run.clock import RealClock
from playalong.app.run.context import RunContext
from playalong.app.user_folders import UserFolders
from playalong.support.errors import UserError

if TYPE_CHECKING:
    from playalong.app.play.play_session import SavedRun


#: So many takes of earlier versions are taken in in a moment, before there is a window.
_AT_ONCE = 300


def open_window(
    look: Look,
    home: UserFolders,
    folder: Path | None = None,
    *,
    room: Callable[[HomeSession], None] | None = None,
    kit: KitAtHand | None = None,
    on_saved: "Callable[[SavedRun], None]" = lambda _: None,
) -> None:
    """Show the first page until the program is asked to end; ``room`` is gone into before.

    ``kit`` and ``on_saved`` as ``HomeSession`` has them.
    """
    home.most_at_once = _AT_ONCE
    with OpenDevices(look, home, RealClock(), notices=()) as opened:
        if home.are_takes_due:
            _move_in(opened, home)
        stored = home.settings_of(None)
        opened.window.resize(size_of(stored))
        opened.window.full_screen(bool(stored.get("full_screen")))
        session = HomeSession(opened, look, home, kit=kit, folder=folder, on_saved=on_saved)
        if room is not None:
            session.enter(lambda: room(session))
        session.go()


def _move_in(context: RunContext, home: UserFolders) -> None:
    """Take in takes of earlier versions behind a page; who leaves it has the others later."""

    def work(progress: Callable[[float], None]) -> None:
        home.move_takes_in(lambda done, of: progress(done / of))

    try:
        work_on_page(context, "Moving in", "Taking in your earlier takes", work=work)
    except UserError as error:  # left, or the store cannot be used
        notice = (
            "The others are taken in at the next start." if isinstance(error, LeftError) else ""
        )
        say_on_page(context, "Moving in", notice or str(error))
