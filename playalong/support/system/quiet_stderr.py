"""Keeping C libraries from talking to the user past us."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

_LOCK = Lock()


class _State:
    """How many threads want it quiet now, and where standard error goes when none does."""

    wanted = 0
    saved: int | None = None


@contextmanager
def quiet_stderr() -> Iterator[None]:
    """Send what C libraries print on standard error nowhere: what matters is told in our words.

    Several threads may ask for it at once: it is loud again when the last one is done.
    """
    with _LOCK:
        _State.wanted += 1
        if _State.wanted == 1:
            _State.saved = _sent_nowhere()
    try:
        yield
    finally:
        with _LOCK:
            _State.wanted -= 1
            if _State.wanted == 0 and _State.saved is not None:
                os.dup2(_State.saved, 2)
                os.close(_State.saved)
                _State.saved = None


def _sent_nowhere() -> int | None:
    """Send standard error nowhere; a copy of what it was, None where there is none."""
    try:
        saved = os.dup(2)
    except OSError:  # there is no standard error
        return None
    stream = sys.stderr  # noqa: TID251 - nothing is printed
    if stream is not None:  # as in a program without a console
        stream.flush()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    os.close(nowhere)
    return saved
