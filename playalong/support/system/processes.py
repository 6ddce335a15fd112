"""Which program wrote something, and whether it has ended."""

import os
import platform


def this_process() -> str:
    """The name of this process, unlike that of any other that runs now on any computer."""
    return f"{os.getpid()}@{platform.node()}"


def has_ended(name: str) -> bool:
    """Whether the process that ``this_process`` named has certainly ended.

    False too where that cannot be told: on another computer, or a system that does not say.
    """
    number, _, node = name.partition("@")
    if os.name != "posix" or node != platform.node() or not number.isdecimal():
        return False
    try:
        os.kill(int(number), 0)  # no signal is sent: it is only asked
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False
