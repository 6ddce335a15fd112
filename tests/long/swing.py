"""Swing written in triplets: the figure against numpy, on takes by drummers who play it.

The reference knows nothing of the grade: of the hits as they stand in the file, each at the place
that the transcription gives it, every beat with a stroke on it, on its last triplet and on the beat
that follows is a pair; the share that its first note takes is the time to the second over the time
to the next beat, and ``numpy.median`` of these is the figure. Takes that mostly play in triplets,
with twelve pairs at least.
"""

from collections import defaultdict
from collections.abc import Iterator

import numpy as np

from playalong.grading.grade_run import grade
from playalong.grading.verdicts import Rules
from playalong.pattern.targets import lay_out
from tests.helpers.drummers import DrummerTake
from tests.helpers.transcription import Transcription
from tests.long.frame import Options, Table
from tests.long.real import chosen

FULL_COUNT, SAMPLE_COUNT = 184, 24
NEEDS_TAKES = True

BARS, PAIRS = 16, 12
#: How far the figure may lie from numpy's, in points.
NEAR = 1.0


def reference(written: Transcription, bars: int) -> float | None:
    """The swing of a take by numpy alone, None where it has few pairs."""
    at: dict[int, list[float]] = defaultdict(list)
    for one in written.written:
        thirds = one.at_beats * 3.0
        if abs(thirds - round(thirds)) < 1e-6 and 0 <= one.at_beats < 4 * bars:
            at[round(thirds)].append(one.struck.time_s)
    middle = {place: float(np.mean(times)) for place, times in at.items()}
    shares = [
        100.0 * (middle[place + 2] - middle[place]) / (middle[place + 3] - middle[place])
        for place in middle
        if place % 3 == 0 and place + 2 in middle and place + 3 in middle
    ]
    in_triplets = sum(one.parts in (3, 6) for one in written.written)
    enough = len(shares) >= PAIRS and in_triplets > len(written.written) / 2
    return float(np.median(shares)) if enough else None


def swung(take: DrummerTake) -> tuple[str, float, float | None] | None:
    """A take, its swing by numpy and as the grade has it; None where it plays no triplets."""
    written = Transcription(take.path, take.tempo_bpm)
    bars = min(BARS, written.bars)
    wanted = reference(written, bars)
    if wanted is None:
        return None
    pattern, hits = written.some(range(bars))
    targets = lay_out(pattern, take.tempo_bpm, bars)
    told, _ = grade(
        pattern=pattern, tempo_bpm=take.tempo_bpm, targets=targets, hits=hits, rules=Rules()
    )
    return take.path.stem, wanted, told.swing.played_percent


def tables(options: Options) -> Iterator[Table]:
    """Each take that swings in triplets."""
    found = [one for one in options.map(swung, chosen(options.count)) if one is not None]
    table = Table("swing written in triplets, %", ("take", "numpy", "told"))
    for name, wanted, told in found:
        holds = told is not None and abs(told - wanted) <= NEAR
        table.row(name, wanted, "nothing" if told is None else told, holds=holds)
    yield table
