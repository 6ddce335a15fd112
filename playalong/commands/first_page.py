"""playalong alone: the window at its first page, where there is a screen and a person."""

import os
import sys

from playalong.support.terminal import is_read


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
    return os.environ.get(FROM_MENU) == "1" or is_read()


#: Set by the entry in the system's menu, which has no terminal.
FROM_MENU = "PLAYALONG_FROM_MENU"


def open_first_page() -> None:
    """Open the window, and show its pages until it is closed."""
    from playalong.app.home.entry import open_window
    from playalong.app.open_devices import Look
    from playalong.commands.options.folder import user_folders

    open_window(Look(), user_folders())
