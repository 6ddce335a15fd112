"""playalong alone: the window at its first page, where there is a screen and a person."""

import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from playalong.support.errors import UserError
from playalong.support.terminal import is_read

if TYPE_CHECKING:
    from playalong.app.home.home_session import HomeSession
    from playalong.app.user_folders import UserFolders
    from playalong.commands.options.look import LookOptions as WindowOptions
    from playalong.midi.port import Port
    from playalong.profile.profile import Profile

#: What a room gives back.
_Came = TypeVar("_Came")


def has_person() -> bool:
    """Whether somebody is there to use a window: not where a script or a build server starts it.

    On Linux a screen is told by its variables. A start from a menu has no terminal, and no output
    that anybody reads; a start by a script has one that is piped.
    """
    if os.environ.get("CI") or os.environ.get("SDL_VIDEODRIVER") in ("dummy", "offscreen"):
        return False
    if sys.platform.startswith("linux") and not (
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    ):
        return False
    return os.environ.get("PLAYALONG_FROM_MENU") == "1" or is_read()


def in_one_window(
    given: "WindowOptions | None",
    home: "UserFolders",
    kit: "tuple[Port | None, Profile] | None" = None,
    *,
    room: "Callable[[HomeSession], _Came]",
) -> "_Came":
    """Open the window in a room of it, from which Back leads to the first page; what came of it.

    ``given`` says how it looks and sounds, None for as it is set. ``kit`` is the port and what is
    known of the kit on it; without a port it is the one at hand, or the computer's keys. What runs
    leave is told, and UserError, once the window is closed, says what went wrong in the room.
    """
    from playalong.app.home.entry import open_window
    from playalong.app.home.kit_at_hand import KitAtHand
    from playalong.app.open_devices import Look
    from playalong.commands.options.look import look_of
    from playalong.commands.outcome import print_run

    came: list[_Came] = []
    failed: list[UserError] = []

    def enter(session: "HomeSession") -> None:
        try:
            came.append(room(session))
        except UserError as error:
            failed.append(error)
            raise

    port, profile = kit or (None, None)
    open_window(
        Look() if given is None else look_of(given, getattr(given, "sound_pads", False)),
        home,
        getattr(given, "out", None),
        room=enter,
        kit=None if port is None or profile is None else KitAtHand(port, profile, is_keys=False),
        on_saved=print_run,
    )
    if failed:
        raise failed[0]
    return came[0]


def open_first_page() -> None:
    """Open the window, and show its pages until it is closed."""
    from playalong.app.home.entry import open_window
    from playalong.app.open_devices import Look
    from playalong.commands.options.folder import user_folders

    open_window(Look(), user_folders())
