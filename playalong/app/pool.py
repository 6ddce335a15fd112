"""The same work on many things, on all processors, in their order.

Each piece is done in a process of a pool of its own; ``work`` is a function of a module (or a
``partial`` of one), and it and its results can be pickled.
"""

import gc
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")

#: Windows waits for no more processes than this.
_MOST_PROCESSES = 61

#: So many objects more than are let go make a process look for garbage.
_GARBAGE = 50_000

#: So many things are handed to a process at a time: few enough to keep all of them busy to the end.
_AT_A_TIME = 8


def in_order(
    work: Callable[[T], R], things: Sequence[T], *, few: int, at_a_time: int = _AT_A_TIME
) -> Iterator[R]:
    """What ``work`` makes of each of ``things``; ``close`` it where no more are wanted.

    Fewer than ``few`` are done sooner than another process has begun: they are done here.
    """
    processes = min(_processors(), -(-len(things) // at_a_time))
    if len(things) < few or processes < 2:
        yield from map(work, things)
        return
    # Spawned: a forked process would take over the threads and devices of this one.
    pool = ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=_begin)
    done = 0
    try:
        for result in pool.map(work, things, chunksize=at_a_time):
            done += 1
            yield result
    except BrokenProcessPool:  # the system has ended one of them: go on alone
        yield from map(work, things[done:])
    finally:
        # What is being worked on is waited for: a program that ends meanwhile would do so as well,
        # and in Python 3.11 stumble over what the pool is just then closing.
        pool.shutdown(cancel_futures=True)


def _processors() -> int:
    if sys.platform == "linux":  # which tells what this process may use
        number = len(os.sched_getaffinity(0))
    else:
        number = os.cpu_count() or 1
    return min(number, _MOST_PROCESSES)


def _begin() -> None:
    """In each process of the pool: Ctrl+C is for the one that a person has started.

    Its garbage is looked for less often: what a piece of work leaves is mostly arrays, which need
    no looking for.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.set_threshold(_GARBAGE)
