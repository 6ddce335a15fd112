"""Keeping C libraries from talking to the user past us."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def quiet_stderr() -> Iterator[None]:
    """Send what C libraries print on standard error nowhere: what matters is told in our words."""
    try:
        saved = os.dup(2)
    except OSError:  # there is no standard error
        yield
        return
    stream = sys.stderr  # noqa: TID251 - nothing is printed
    if stream is not None:  # as in a program without a console
        stream.flush()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(saved, 2)
        os.close(saved)
        os.close(nowhere)
