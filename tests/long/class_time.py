"""A class of 1,000 results of 10 takes of 8 bars: how long it takes to verify them all.

Forty results are different, and stand in the folder so often that there are as many as are asked;
each is verified anew. It is to be done within 60 seconds on two processors. Where other programs
take their part of them the clock says little: it holds by the processor time, half of it each.
"""

import multiprocessing
import os
import resource
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from playalong.app.assessment.classes import read_all, results_in
from tests.helpers.result_changes import result_of
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 1000, 40

MOST_S = 60.0

#: The processors that there are to be.
PROCESSORS = 2

_DIFFERENT = 40
_SKILLS = ("beginner", "intermediate", "advanced", "professional")

TEN = """
title = "Ten takes"
minutes = 30
[[item]]
pattern = "late-bus-home"
bars = 8
attempts = 5
[item.asked]
score = { good = 85, pass = 70 }
[[item]]
pattern = "boots-by-the-door"
bars = 8
attempts = 5
[item.asked]
score = 75
"""


def _processor_s() -> float:
    """The processor time of this process and those that it has begun and that have ended."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def _ended() -> None:
    """Wait until the processes of a pool have ended, so that their time is known."""
    while multiprocessing.active_children():
        time.sleep(0.05)


def _made(item: tuple[str, int]) -> None:
    folder, number = item
    who = f"player {number}"
    result_of(Path(folder), who, _SKILLS[number % len(_SKILLS)], seed=number, text=TEN)


def tables(options: Options) -> Iterator[Table]:
    """The time, and what it is per take."""
    with tempfile.TemporaryDirectory() as made:
        different = min(_DIFFERENT, options.count)
        list(options.map(_made, [(made, number) for number in range(different)]))
        originals = sorted(Path(made).glob("*.zip"))
        folder = Path(made) / "class"
        folder.mkdir()
        for number in range(options.count):
            data = originals[number % different].read_bytes()
            (folder / f"{number:04}.zip").write_bytes(data)
        _ended()
        begin_s, used_s, load = time.monotonic(), _processor_s(), os.getloadavg()[0]
        read = list(read_all(results_in(folder)))
        took_s = time.monotonic() - begin_s
        _ended()
        each_s = (_processor_s() - used_s) / PROCESSORS
    results = [one.result for one in read if one.result is not None]
    fit = sum(not one.wrong for one in results)
    table = Table(
        "a class verified",
        ("results", "that fit", "takes", "seconds", "load before", "processor s on each of two"),
    )
    table.row(
        len(results),
        fit,
        10 * options.count,
        took_s,
        load,
        each_s,
        holds=fit == options.count and (each_s <= MOST_S or options.count < FULL_COUNT),
    )
    yield table
