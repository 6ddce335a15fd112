"""Whether the server of a MIDI system is still there: its end of a socket hangs up when it dies.

A client of JACK is told that its server went away by a callback that python-rtmidi does not pass
on, and goes on listing the ports that there were. But each client holds sockets to its server, and
the system says of each whether the other end is still held (POLLHUP, poll(2)): at once, whatever
ended the server, and without asking the server anything. Where a system does not list the open
sockets of a process, nothing is known.
"""

import os
import select
import socket
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from stat import S_ISSOCK
from typing import Self, TypeVar

Client = TypeVar("Client")

#: Where a system lists what a process has open (proc(5)).
_OPEN = Path("/proc/self/fd")


class Line:
    """The sockets that a client has to its server."""

    def __init__(self, held: list[socket.socket]) -> None:
        self._held = held

    @classmethod
    def of(cls, make: Callable[[], Client]) -> tuple[Client, Self]:
        """What ``make`` gives, and the sockets that it has opened."""
        before = _sockets()
        client = make()
        held = []
        for number in _sockets() - before:
            with suppress(OSError):
                one = socket.socket(fileno=os.dup(number))
                held.append(one)
        return client, cls([one for one in held if _is_line(one)])

    @property
    def hangs_up(self) -> bool:
        """Whether the server has gone; never waits."""
        if sys.platform == "win32" or not self._held:
            return False
        else:
            poll = select.poll()
            for one in self._held:
                poll.register(one, 0)
            # A socket that was open for a moment only, while the client came up, hangs up as well.
            hung = [event for _, event in poll.poll(0) if event & select.POLLHUP]
            return len(hung) == len(self._held)

    def close(self) -> None:
        """Let go of the sockets: only then does a server see that its client has left."""
        for one in self._held:
            one.close()
        self._held = []


def _sockets() -> set[int]:
    """The numbers of the sockets that this process has open."""
    found = set()
    with suppress(OSError):
        for name in os.listdir(_OPEN):  # noqa: PTH208 - names that are gone again are no paths
            with suppress(OSError):
                if S_ISSOCK(os.fstat(int(name)).st_mode):
                    found.add(int(name))
    return found


def _is_line(one: socket.socket) -> bool:
    """Whether it is joined to a server on this machine; else it is let go of."""
    if sys.platform != "win32":
        with suppress(OSError):
            if one.family == socket.AF_UNIX and one.getpeername():
                return True
    one.close()
    return False
