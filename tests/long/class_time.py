"""A class of 1,000 results of 10 takes of 8 bars: how long it takes to verify them all.

Forty results are different, and stand in the folder so often that there are as many as are asked;
each is verified anew. It is to be done within 60 seconds on two processors.
"""

import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from playalong.app.assessment.classes import groups, read_all, results_in
from tests.long.frame import Options, Table
from tests.support.result_changes import result_of

FULL_COUNT, SAMPLE_COUNT = 1000, 40

MOST_S = 60.0

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
        begin_s, before = time.monotonic(), os.getloadavg()[0]
        read = list(read_all(results_in(folder)))
        took_s = time.monotonic() - begin_s
    results = [one.result for one in read if one.result is not None]
    fit = sum(not one.wrong for one in results)
    (group,) = groups(results)
    table = Table(
        "a class verified",
        ("results", "that fit", "players", "takes", "seconds", "ms a take", "load before"),
    )
    takes = 10 * options.count
    table.row(
        len(results),
        fit,
        len(group.latest),
        takes,
        took_s,
        1000.0 * took_s / takes,
        before,
        holds=fit == options.count and (took_s <= MOST_S or options.count < FULL_COUNT),
    )
    yield table
