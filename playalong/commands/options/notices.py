"""What should be said besides: in brackets, a line each."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.user_folders import UserFolders


def broken_off_runs(home: "UserFolders") -> list[str]:
    """What is to be said of runs whose program ended before they did, if there are any."""
    from playalong.app import broken_off

    descriptions = [f"{broken_off.describe(found)}." for found in home.memory.broken_off()]
    if not descriptions:
        return []
    what = "A run was" if len(descriptions) == 1 else f"{len(descriptions)} runs were"
    how = "playalong history --broken-off grade, keep or throw-away."
    return ["\n".join([f"{what} broken off.", *descriptions, how])]


def print_notices(notices: Iterable[str]) -> None:
    """Print notices, each of one line or more."""
    for notice in notices:
        print_lines(*f"({notice})".split("\n"))
