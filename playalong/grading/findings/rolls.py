"""Causes at rolls: they end too soon or too late, they have gaps, they are uneven.

What is wrong of a single roll stands in ``matching.rolls``. It is told of where it comes back.
"""

from collections.abc import Iterator

import numpy as np

from playalong.grading.findings.candidate import Candidate, Ints, Mend
from playalong.grading.findings.certainty import of_share
from playalong.grading.findings.look import Look
from playalong.grading.findings.ornaments import OFTEN, TIMES
from playalong.grading.graces import ORNAMENTS, Ornament
from playalong.grading.grade import Code
from playalong.midi.hits import Hits
from playalong.pattern.voices import VOICES

_FAULTS = {
    Code.ROLL_SHORT: Ornament.ROLL_SHORT,
    Code.ROLL_LONG: Ornament.ROLL_LONG,
    Code.ROLL_BROKEN: Ornament.ROLL_BROKEN,
    Code.ROLL_UNEVEN: Ornament.ROLL_UNEVEN,
}


def rolls(look: Look) -> Iterator[Candidate]:
    """All causes of this family."""
    found = look.run.rolled
    if not len(found.row):
        return
    voice = look.run.voice[found.row]
    for one in np.unique(voice).tolist():
        own = voice == one
        for code, ornament in _FAULTS.items():
            off = own & (found.ornament == ORNAMENTS.index(ornament))
            n, of = int(off.sum()), int(own.sum())
            if n < TIMES or n < OFTEN * of:
                continue
            share = of_share(n, of)
            yield Candidate(
                code=code,
                voice=VOICES[one].name,
                mend=_as_written(look, found.row[off]),
                points=look.points(float(found.lost[off].sum())),
                beside=0.2 * look.points(n),
                n=n,
                of=of,
                value=100.0 * share.value,
                unit="%",
                low=100.0 * share.low,
                high=100.0 * share.high,
            )


def _as_written(look: Look, rows: Ints) -> Mend:
    """The rolls of these answered targets, gone on with as they are written."""
    run, targets = look.run, look.targets
    mine = np.zeros(len(targets), np.bool_)
    mine[run.target[rows]] = True
    bounces = run.verdicts.hit[run.verdicts.grace & mine[run.verdicts.target]]
    removed = np.zeros(len(run.hits), np.bool_)
    removed[bounces] = True
    time_s, voice, velocity = [], [], []
    for row in rows.tolist():
        target, begin_ms = int(run.target[row]), float(run.error_ms[row])
        later_s = targets.bounces_s(target)
        # What comes late is made up for on the way to the end.
        stretch = 1.0 - begin_ms / 1000.0 / max(float(targets.roll_s[target]), 1e-3)
        first_s = float(run.hits.time_s[run.hit[row]])
        time_s += (first_s + max(stretch, 0.1) * later_s).tolist()
        voice += [int(targets.voice[target])] * len(later_s)
        velocity += [0.8 * float(run.hits.velocity[run.hit[row]])] * len(later_s)
    added = Hits.sorted(
        np.array(time_s, np.float64), np.array(voice, np.int16), np.array(velocity, np.float64)
    )
    return Mend(removed=removed, added=added)
