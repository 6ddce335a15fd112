"""Loudness verdicts on kits with other curves: ghost notes and accents, each counted alone.

Every velocity v of a take becomes 127 (v / 127)^p, 1 at least, with p from 0.5 to 2. Takes are by
simulated players over all patterns with ghost notes or accents, by the same with a fault in their
loudness, and by drummers against their own transcription. Of the verdicts of ghost notes and of
those of accents 97 % are kept.
"""

from collections.abc import Iterator

import numpy as np

from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.records.takes import read
from playalong.simulation.skills import SKILLS
from tests.helpers import faults
from tests.helpers.drummers import drummer_takes, takes_folder
from tests.helpers.faults import Injection, Scene
from tests.helpers.grooves import grooves
from tests.helpers.played import Played
from tests.helpers.transcription import Transcription
from tests.long.frame import Options, Table, generator

#: Takes of each kind.
FULL_COUNT, SAMPLE_COUNT = 360, 24

BARS = 16
POWERS = (0.5, 0.6, 0.71, 0.84, 1.19, 1.41, 1.68, 2.0)
KINDS = ("players", "players with a fault", "drummers")
COUNTED = {"ghost notes": Dynamic.GHOST, "accents": Dynamic.ACCENT}
KEPT = 0.97

#: Whether a stroke was right before.
_BOTH = (True, False)

#: Faults in loudness, and sizes.
FAULTS: tuple[tuple[Injection, float], ...] = (
    (faults.one_ghost_loud, 0.75),
    (faults.all_ghosts_loud, 0.75),
    (faults.all_ghosts_loud, 1.0),
    (faults.accents_flat, 0.25),
    (faults.accents_flat, -0.4),
)

#: By what is counted and whether it was right before: verdicts, and how many are kept.
Kept = dict[tuple[str, bool], tuple[int, int]]


def bent(hits: Hits, power: float) -> Hits:
    """The same take on a kit with another curve."""
    velocity = np.maximum(1.0, np.rint(127.0 * (hits.velocity / 127.0) ** power))
    return Hits(hits.time_s, hits.voice, velocity)


def take_of(kind: str, case: int, seed: int) -> tuple[Targets, Hits]:
    """A take of a kind: what was asked, and what was played."""
    if kind == "drummers":
        folder = takes_folder()
        takes = [take for take in drummer_takes(folder) if take.meter == "4/4"] if folder else []
        take = takes[case % len(takes)]
        pattern, bars = Transcription(take.path, take.tempo_bpm).pattern(BARS)
        played = read(take.path)
        hits, _ = Hits.of_notes(played.time_s, played.note, played.velocity)
        return lay_out(pattern, take.tempo_bpm, bars), hits
    chance = generator(seed, case)
    names, skills = sorted(grooves()), list(SKILLS)
    while True:
        pattern = grooves()[names[int(chance.integers(len(names)))]]
        targets = lay_out(pattern, pattern.tempo, -(-BARS // len(pattern.bars)) * len(pattern.bars))
        if not np.isin(targets.dynamic, [DYNAMICS.index(one) for one in COUNTED.values()]).any():
            continue
        by = SKILLS[skills[case % len(skills)]]
        made = Played.by(targets, by, int(chance.integers(1 << 30)))
        if kind == "players":
            return targets, made.hits()
        inject, size = FAULTS[case // len(skills) % len(FAULTS)]
        faulty = inject(Scene(pattern=pattern, played=made, chance=chance), size)
        if faulty is not None:
            return targets, faulty.hits


def kept(item: tuple[str, int, int]) -> Kept:
    """What is kept of one take."""
    kind, case, seed = item
    targets, hits = take_of(kind, case, seed)
    power = POWERS[case % len(POWERS)]
    run, other = (MatchedRun.of(targets, one, Rules()) for one in (hits, bent(hits, power)))
    before, after = (one.verdicts.loudness[one.answered] for one in (run, other))
    found: Kept = {}
    for what, dynamic in COUNTED.items():
        for right in _BOTH:
            own = (run.dynamic == DYNAMICS.index(dynamic)) & ((before == 0) == right)
            found[what, right] = int(own.sum()), int((own & (before == after)).sum())
    return found


def tables(options: Options) -> Iterator[Table]:
    """The shares that are kept."""
    kinds = KINDS if takes_folder() else KINDS[:-1]
    table = Table(
        "loudness verdicts on a kit with another curve",
        ("takes", "of", "verdicts", "kept %", "right before, kept %", "faults before, kept %"),
    )
    for kind in kinds:
        cases = [(kind, case, options.seed) for case in range(options.count)]
        found = list(options.map(kept, cases))
        for what in COUNTED:
            sums = {right: np.sum([one[what, right] for one in found], axis=0) for right in _BOTH}
            count, same = sums[True] + sums[False]
            if count == 0:
                continue
            table.row(
                kind,
                what,
                int(count),
                100.0 * same / count,
                *(f"{100.0 * s / n:.1f} of {n}" if n else "" for n, s in sums.values()),
                holds=bool(same >= KEPT * count),
            )
    yield table
