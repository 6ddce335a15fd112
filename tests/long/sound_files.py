"""Broken files of every format of sound that is read: told in words, in bounds of time and memory.

Each is decoded as the program does it, in a process of its own; cases are files, shared evenly
between the formats. A file that takes more than ten seconds fails as well; the longest is printed.
"""

from collections.abc import Iterator

from tests.fuzz.trying import Tried, tried
from tests.long.frame import Options, Table

FORMATS = ("wav", "flac", "mp3", "ogg")

FULL_COUNT, SAMPLE_COUNT = 2_000 * len(FORMATS), 10 * len(FORMATS)

#: So many files of a format are drawn with one seed.
PORTION = 125


def tables(options: Options) -> Iterator[Table]:
    """How many files were tried, the longest time, and what failed."""
    each = max(1, options.count // len(FORMATS))
    cases = [
        (name, min(PORTION, each - begin), 1_000_000 * options.seed + number)
        for name in FORMATS
        for number, begin in enumerate(range(0, each, PORTION))
    ]
    found: dict[str, list[Tried]] = {name: [] for name in FORMATS}
    for one in options.map(tried, cases):
        found[one.kind].append(one)
    table = Table("broken files of sound", ("format", "files", "longest s", "failed"))
    failed: list[str] = []
    for name, own in found.items():
        words = [told for one in own for told in one.failed]
        count, longest_s = sum(one.count for one in own), max(one.longest_s for one in own)
        table.row(name, count, longest_s, len(words), holds=not words and count >= each)
        failed += words
    yield table
    if failed:
        examples = Table("what failed", ("file",))
        for told in failed[:20]:
            examples.row(told)
        yield examples
