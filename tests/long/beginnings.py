"""Where a take begins and ends, in every shipped pattern: count-ins, early notes, stray notes.

A case is a pattern. Its take, with all flams and drags and a spread of 12 ms, and by the
intermediate player, begins behind a bar or two counted on the rim, or one early note: bar 1 is
found within 80 ms, with the tempo given and found, with the bars given and not. What follows the
end, a note or two, or the stroke on which a groove ends, adds no bar.
"""

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from playalong.grading.matching.tempo_following import find
from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets, lay_out
from playalong.simulation.skills import SKILLS
from tests.grading.test_bars_played import after_the_end, bars_of, with_added
from tests.grading.test_tempo_following import counted_in
from tests.helpers.exact_takes import faultless, with_graces
from tests.helpers.played import Played
from tests.helpers.shipped import NAMES, SHIPPED
from tests.long.frame import Options, Table

FULL_COUNT, SAMPLE_COUNT = len(NAMES), 4

SPREAD_S, WITHIN_S = 0.012, 0.08
#: One early note, so many beats before bar 1.
EARLY = (0.4, 1.0, 2.3)

#: By what was asked and by whom: right, or what was found instead.
Found = list[tuple[str, str, bool]]


def takes(targets: Targets, seed: int) -> dict[str, Hits]:
    """The takes of a case, by player."""
    errors_s = np.random.default_rng(seed).normal(0.0, SPREAD_S, len(targets))
    main = Hits(targets.time_s + errors_s, targets.voice, faultless(targets).velocity)
    return {
        "spread of 12 ms": with_graces(targets, main),
        "intermediate": Played.by(targets, SKILLS["intermediate"], seed).hits(),
    }


def begun(name: str, seed: int) -> Found:
    """Whether bar 1 is found."""
    pattern = SHIPPED[name]
    targets, longer = (
        lay_out(pattern, pattern.tempo, rounds * len(pattern.bars)) for rounds in (4, 6)
    )
    beat_s = targets.seconds_per_whole * float(pattern.meter.unit)
    beats = len(pattern.meter.beats)
    bar = list(range(beats, 0, -1))
    found: Found = []
    for who, hits in takes(targets, seed).items():
        before = {
            "a bar counted in": ("cross-stick", bar),
            "two bars counted in": ("cross-stick", [2 * beats, 1.5 * beats, *bar]),
        }
        before |= {f"a note {early:g} beats before": ("snare", [early]) for early in EARLY}
        for what, (voice, at) in before.items():
            taken = counted_in(hits, beat_s, voice, before_s=at)
            for asked, start in (
                ("tempo given", find(targets, taken, ratio=1.0)),
                ("tempo found", find(targets, taken, ratio=None)),
                ("bars not given", find(longer, taken, ratio=1.0, open_end=True)),
            ):
                right = abs(start.start_s - 10.0) <= WITHIN_S
                found.append((f"{what}, {asked}", who, right))
    return found


def ended(name: str, seed: int) -> Found:
    """Whether the bars are those that were played."""
    pattern = SHIPPED[name]
    bars = 3 * len(pattern.bars) if len(pattern.bars) > 1 else 7
    targets = lay_out(pattern, pattern.tempo, bars)
    found: Found = []
    for who, hits in takes(targets, seed).items():
        chance = np.random.default_rng(seed)
        for added in after_the_end(pattern, targets.end_s, targets.end_s / bars, chance=chance):
            counted = bars_of(pattern, with_added(hits, added), pattern.tempo, bars=bars)
            found.append((f"notes after the end: {len(added)}", who, counted == bars))
    return found


def tried(item: tuple[int, int]) -> tuple[str, Found]:
    """A pattern, and all that was found of it."""
    number, seed = item
    name = NAMES[number % len(NAMES)]
    return name, begun(name, seed) + ended(name, seed)


def tables(options: Options) -> Iterator[Table]:
    """How often, and where not."""
    every = list(options.map(tried, [(case, options.seed) for case in range(options.count)]))
    wrong: dict[tuple[str, str], list[str]] = defaultdict(list)
    times: dict[tuple[str, str], int] = defaultdict(int)
    for name, found in every:
        for what, who, right in found:
            times[what, who] += 1
            wrong[what, who] += [] if right else [name]
    table = Table("bar 1 and the last bar", ("what", "player", "takes", "right %", "not in"))
    for (what, who), count in sorted(times.items()):
        names = wrong[what, who]
        share = 100.0 * (1.0 - len(names) / count)
        some = ", ".join(names[:3])
        table.row(what, who, count, share, some, holds=not names if who != "intermediate" else None)
    yield table
