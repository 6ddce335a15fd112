"""Damaged files of every format that a pattern comes in: a pattern or plain words, and soon.

So many of each format. An input fails that ends in anything but a pattern or words for a person, or
takes more than five seconds; a format where the process that reads it ever had more than 500 MB.
"""

import sys
from collections.abc import Iterator

from tests.fuzz.kinds import KINDS
from tests.fuzz.trying import Tried, tried
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 10_000, 100

#: So many inputs of a kind are drawn with one seed.
PORTION = 250

LONGEST_S, MOST_MB = 5.0, 500.0

#: The formats, by the kind of file.
FORMATS = {
    ".toml": "patterns",
    ".mid": "patterns as midi",
    ".musicxml": "scores",
    ".mxl": "packed scores",
    ".tab": "tabs",
}


def _tried(case: tuple[str, int, int]) -> tuple[Tried, float]:
    """As ``tried``, and the most memory that the process ever had, in MB; 0 where none tells."""
    found = tried(case)
    if sys.platform == "win32":
        return found, 0.0
    import resource

    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return found, most / (1e6 if sys.platform == "darwin" else 1e3)


def tables(options: Options) -> Iterator[Table]:
    """How many inputs of each format were tried, and what failed."""
    table = Table("damaged patterns", ("format", "inputs", "longest s", "most MB", "failed"))
    failed: list[str] = []
    for ending, kind in FORMATS.items():
        cases = [
            (kind, min(PORTION, options.count - first), 1_000_000 * options.seed + number)
            for number, first in enumerate(range(0, options.count, PORTION))
        ]
        assert kind in KINDS
        found = list(options.map(_tried, cases))
        own = [words for one, _ in found for words in one.failed]
        longest_s = max(one.longest_s for one, _ in found)
        most = max(megabytes for _, megabytes in found)
        holds = not own and longest_s <= LONGEST_S and most <= MOST_MB
        count = sum(one.count for one, _ in found)
        table.row(ending, count, longest_s, most, len(own), holds=holds)
        failed += own
    yield table
    if failed:
        examples = Table("what failed", ("input",))
        for words in list({words.split(")")[0]: words for words in failed}.values())[:20]:
            examples.row(words)
        yield examples
