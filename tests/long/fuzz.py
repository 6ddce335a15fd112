"""Damaged files of every kind that is read: words for a person, and never a mistake.

Of a thousand inputs so many are of each kind as ``tests/fuzz/kinds.py`` says. An input that takes
more than ten seconds fails as well.
"""

from collections.abc import Iterator

from tests.fuzz.kinds import KINDS
from tests.fuzz.trying import Tried, tried
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = 40_000, 400

#: So many inputs of a kind are drawn with one seed.
PORTION = 250


def tables(options: Options) -> Iterator[Table]:
    """How many inputs were tried, and what failed."""
    cases = []
    for name, kind in KINDS.items():
        left = max(1, options.count * kind.share // 1_000)
        number = 0
        while left > 0:
            cases.append((name, min(left, PORTION), 1_000_000 * options.seed + number))
            left, number = left - PORTION, number + 1
    found: dict[str, list[Tried]] = {name: [] for name in KINDS}
    for one in options.map(tried, cases):
        found[one.kind].append(one)
    table = Table("damaged files", ("kind", "inputs", "longest s", "failed"))
    failed: list[str] = []
    total = 0
    for name, each in found.items():
        count = sum(one.count for one in each)
        own = [words for one in each for words in one.failed]
        table.row(name, count, max(one.longest_s for one in each), len(own), holds=not own)
        failed += own
        total += count
    table.row("all", total, "", len(failed), holds=not failed)
    yield table
    if failed:
        examples = Table("what failed", ("input",))
        kinds_of = {words.split(")")[0]: words for words in failed}
        for words in list(kinds_of.values())[:20]:
            examples.row(words)
        yield examples
