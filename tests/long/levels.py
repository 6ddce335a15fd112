"""What fitted players get at each level.

Each player by name (with the habits that it has, and without) over all patterns, 16 bars each:
the median score, 5th and 95th percentile, at every level.
"""

from collections.abc import Iterator

import numpy as np

from playalong.grading.levels import LEVELS, Level
from playalong.pattern.targets import lay_out
from playalong.simulation.skills import SKILLS
from tests.helpers.fault_order import plain_score
from tests.helpers.grooves import grooves
from tests.helpers.played import Played
from tests.long.frame import Options, Table

#: Takes of each player.
FULL_COUNT, SAMPLE_COUNT = 180, 10
BARS = 16


def scores(item: tuple[str, bool, str, int]) -> list[float]:
    """What one take gets at every level, in their order."""
    skill, has_habits, name, seed = item
    pattern = grooves()[name]
    bars = -(-BARS // len(pattern.bars)) * len(pattern.bars)
    targets = lay_out(pattern, pattern.tempo, bars)
    who = SKILLS[skill] if has_habits else SKILLS[skill].without_habits()
    hits = Played.by(targets, who, seed).hits()
    return [plain_score(targets, hits, level) for level in Level]


def tables(options: Options) -> Iterator[Table]:
    """What each level asks, and what each player gets at each."""
    asked = Table("levels", ("level", "tolerance ms", "spread ms", "ghosts dB", "evenness dB"))
    for level, own in LEVELS.items():
        asked.row(level, own.tolerance_ms, own.spread_ms, own.contrast_db, own.evenness_db)
    yield asked
    names = sorted(grooves())
    table = Table(
        "scores: median (5th to 95th percentile)", ("player", "habits", *(str(o) for o in Level))
    )
    for skill, own in SKILLS.items():
        for has_habits in (False, True) if own.habits else (False,):
            items = [
                (skill, has_habits, names[case % len(names)], options.seed * 100_000 + case)
                for case in range(options.count)
            ]
            got = np.array(list(options.map(scores, items)))
            low, middle, high = np.percentile(got, (5.0, 50.0, 95.0), axis=0)
            cells = [
                f"{m:.0f} ({a:.0f} to {b:.0f})" for a, m, b in zip(low, middle, high, strict=True)
            ]
            table.row(skill, "yes" if has_habits else "no", *cells)
    yield table
