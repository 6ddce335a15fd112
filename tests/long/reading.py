"""Files of takes, whole and damaged, read as mido reads them: to the last tick, or with its words.

A case is a take by a drummer, whole the first time and then with one to three bytes of its
beginning changed, taken away, put in, or everything after one cut off.
"""

import random
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from playalong.records import midi_file
from tests.helpers.drummers import drummer_takes, takes_folder
from tests.long.frame import Options, Table
from tests.records.test_midi_file import has_strange_ticks, outcome, reference

FULL_COUNT, SAMPLE_COUNT = 3_000, 60
NEEDS_TAKES = True

#: Damage lies in so many bytes from the start: the file is cut there, and its track made to fit.
BEGINNING = 1_500


@cache
def paths() -> list[Path]:
    """The files."""
    folder = takes_folder()
    return [take.path for take in drummer_takes(folder)] if folder is not None else []


def compared(case: tuple[int, int]) -> str:
    """Read one file in both ways."""
    number, seed = case
    turn, which = divmod(number, len(paths()))
    data = paths()[which].read_bytes()
    if turn == 0:
        read = outcome(midi_file._regular, data)
        return "whole" if read == outcome(reference, data) else "whole, otherwise"
    data = damaged(data[:BEGINNING], random.Random(f"{seed} {number}"))
    read, theirs = outcome(midi_file.parse, data), outcome(reference, data)
    if read != theirs and has_strange_ticks(data):
        return "left out: ticks before an unknown event"
    if read != theirs:
        return "damaged, otherwise"
    return "damaged, read" if isinstance(theirs, tuple) and len(theirs) == 3 else "damaged, refused"


def damaged(beginning: bytes, chance: random.Random) -> bytes:
    """The beginning of a file with faults in it; half of them are not cut off besides."""
    data = bytearray(beginning)
    if chance.random() < 0.5 and b"MTrk" in data:
        at = data.index(b"MTrk") + 4
        data[at : at + 4] = (len(data) - at - 4).to_bytes(4, "big")
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(data))
        how = chance.choice(["other", "gone", "more", "cut"])
        if how == "other":
            data[at] = chance.randrange(256)
        elif how == "gone" and len(data) > 1:
            del data[at]
        elif how == "more":
            data.insert(at, chance.randrange(256))
        elif at:
            del data[at:]
    return bytes(data)


def tables(options: Options) -> Iterator[Table]:
    """How many files were read the same."""
    cases = [(number, options.seed) for number in range(options.count)]
    found = Counter(options.map(compared, cases))
    table = Table("files read as by mido", ("what", "files"))
    for what, count in sorted(found.items()):
        table.row(what, count, holds="otherwise" not in what)
    yield table
