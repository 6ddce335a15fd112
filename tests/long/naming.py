"""Freely played bars: how many are named right, how many of none of them are told as none.

Human timing, two strokes of a hundred missed and two added; variations drawn by chance from all
combinations, in runs of sixteen bars, over all shipped patterns. And how often a groove is said to
get looser under a variation though it never does.
"""

from collections.abc import Iterator

from playalong.practice.plan import practice_of
from playalong.records.pattern_files import library
from tests.helpers.mixed_bars import Named, Run, named, named_fill
from tests.long.frame import Options, Table

#: Runs of sixteen bars: twenty of each pattern.
FULL_COUNT, SAMPLE_COUNT = 20 * len(library().names()), 36

BARS = 16


def run_of(item: tuple[str, int]) -> tuple[Run, Named]:
    """One run of variations, and one with a bar that is none of them."""
    name, seed = item
    pattern = library().get(name)
    tempo_bpm = practice_of(pattern).goal_tempo
    return named(pattern, tempo_bpm, BARS, seed=seed), named_fill(pattern, tempo_bpm, seed)


def tables(options: Options) -> Iterator[Table]:
    """All patterns together, and those of which fewest bars are named right."""
    names = library().names()
    items = [
        (names[case % len(names)], options.seed * 10_000 + case // len(names))
        for case in range(options.count)
    ]
    found = list(options.map(run_of, items))
    right = [one.is_right for run, _ in found for one in run.bars]
    none = [fill.is_right for _, fill in found]
    looser = [bool(run.looser) for run, _ in found]
    table = Table("freely played bars, human timing", ("what", "of", "share"))

    def row(what: str, told: list[bool], *, least: float | None = None, most: float = 1.0) -> None:
        share = sum(told) / len(told)
        table.row(what, len(told), share, holds=(least or 0.0) <= share <= most)

    row("bars named right", right, least=0.96)
    row("bars that are none of them told as none", none, least=0.95)
    row("runs in which a groove is falsely said to get looser", looser, most=0.05)
    yield table
    worst = Table("fewest right", ("pattern", "bars", "named right"))
    shares = {
        name: [one.is_right for run, _ in found for one in run.bars if one.pattern == name]
        for name in names
    }
    ordered = sorted(
        (own for own in shares.items() if own[1]), key=lambda own: sum(own[1]) / len(own[1])
    )
    for name, own in ordered[:6]:
        worst.row(name, len(own), sum(own) / len(own))
    yield worst
