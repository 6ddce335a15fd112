"""Habits told from one half of the bars of a drummer's take: do they return in the other half?

The bars of a take are dealt out in turns, or cut in the middle. What is told of one half is looked
for in the other by the same figure, made here with numpy: of 85 % of all it has the same sign
there, and at least 40 % of the size.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from playalong.grading.loudness import level_db
from playalong.midi.hits import Hits
from playalong.pattern.meter import Meter
from playalong.pattern.model import Dynamic, Pattern
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER, VOICES
from tests.helpers.drummers import DrummerTake
from tests.helpers.played import Bools, Played
from tests.helpers.told import graded
from tests.helpers.transcription import Transcription
from tests.long.frame import Options, Table
from tests.long.real import chosen

FULL_COUNT, SAMPLE_COUNT = 184, 16
NEEDS_TAKES = True

#: Bars of a half at most, and at least.
MOST, LEAST = 24, 8
SAME_SIZE, MUST = 0.4, 85.0
#: How often a place must come in the other half to be looked at.
OFTEN = 3

TIME = ("limb_early", "limb_late", "stroke_early", "stroke_late", "played_swung", "played_straight")
WHOLE = ("all_early", "all_late")
LEVEL = (
    "ghost_loud",
    "ghost_soft",
    "accent_flat",
    "stroke_loud",
    "stroke_soft",
    "ghost_loud_over_kick",
    "kick_soft_under_ghost",
)

#: The dynamic that a finding speaks of.
KINDS = {
    "ghost_loud": Dynamic.GHOST,
    "ghost_soft": Dynamic.GHOST,
    "ghost_loud_over_kick": Dynamic.GHOST,
    "accent_flat": Dynamic.ACCENT,
    "stroke_loud": Dynamic.NORMAL,
    "stroke_soft": Dynamic.NORMAL,
}


@dataclass(frozen=True, kw_only=True)
class Told:
    """A finding of one half: its code, whether it could be looked for, and whether it returned."""

    dealt: str
    code: str
    sought: bool
    returned: bool


@dataclass(frozen=True)
class Half:
    """Some bars of a take as if nothing lay between them."""

    targets: Targets
    played: Played
    counts: "np.ndarray[tuple[int], np.dtype[np.str_]]"

    def rows(self, finding: Any) -> Bools:
        """(n,) the answered strokes of which a finding speaks, at the same counts of any bar."""
        there = self.played.answered
        if finding.limb is not None:
            limbs = np.array([voice.limb.value == str(finding.limb) for voice in VOICES])
            there = there & limbs[self.targets.voice]
        elif finding.voice is not None:
            there = there & (self.targets.voice == STAFF_ORDER[finding.voice])
        counts = {place.count for place in finding.places}
        if counts and not finding.code.startswith("limb"):
            there = there & np.isin(self.counts, list(counts))
        kind = KINDS.get(str(finding.code))
        if kind is not None:
            there = there & (self.targets.dynamic == DYNAMICS.index(kind))
        if finding.code == "kick_soft_under_ghost":
            there = there & self.with_ghost
        return there

    @property
    def with_ghost(self) -> Bools:
        """(n,) the targets at which a ghost note of another voice is written too."""
        ghost = self.targets.dynamic == DYNAMICS.index(Dynamic.GHOST)
        written = np.round(self.targets.written, 6)
        return np.asarray(np.isin(written, written[ghost]) & ~ghost)

    def figure(self, finding: Any) -> float | None:
        """How far those strokes are off: in ms against all others, in dB against their like."""
        rows, answered = self.rows(finding), self.played.answered
        if rows.sum() < OFTEN:
            return None
        if finding.code in WHOLE:
            return float(np.mean(self.played.error_ms[answered]))
        if finding.code in TIME:
            others = answered & ~rows
            own_ms = float(np.mean(self.played.error_ms[rows]))
            return own_ms - float(np.mean(self.played.error_ms[others])) if others.any() else None
        if finding.code in LEVEL:
            like = answered & ~rows & (self.targets.voice == self.targets.voice[rows][0])
            if finding.code == "kick_soft_under_ghost":
                like &= ~self.with_ghost
            like &= self.targets.dynamic == self.targets.dynamic[rows][0]
            level = level_db(np.where(answered, self.played.velocity, 1.0))
            return float(np.median(level[rows]) - np.median(level[like])) if like.any() else None
        return None


def half_of(take: Transcription, bars: list[int]) -> tuple[Pattern, Half, Hits]:
    """Bars of a take, as one run."""
    pattern, hits = take.some(bars)
    targets = lay_out(pattern, take.tempo_bpm, len(bars))
    meter = Meter.parse("4/4")
    by_place = [meter.count(place.stroke.at) for place in targets.places]
    counts = np.array([by_place[place] for place in targets.place.tolist()], np.str_)
    return pattern, Half(targets, Played.of(targets, hits), counts), hits


def halves(take: DrummerTake) -> list[Told]:
    """What is told of each half of a take, both ways of halving, and whether it returns."""
    written = Transcription(take.path, take.tempo_bpm)
    whole = list(range(min(written.bars - 1, 2 * MOST)))
    found = []
    middle = len(whole) // 2
    for dealt, parts in (
        ("in turns", (whole[0::2], whole[1::2])),
        ("in the middle", (whole[:middle], whole[middle:])),
    ):
        if min(map(len, parts)) < LEAST:
            continue
        both = [half_of(written, part) for part in parts]
        for (pattern, own, hits), (_, other, _) in (both, both[::-1]):
            grade = graded(pattern, own.targets, hits)
            found += [told(dealt, finding, own=own, other=other) for finding in grade.findings]
    return found


def told(dealt: str, finding: Any, *, own: Half, other: Half) -> Told:
    """Whether a finding of one half is in the other too."""
    here, there = own.figure(finding), other.figure(finding)
    if here is None or there is None:
        return Told(dealt=dealt, code=finding.code, sought=False, returned=False)
    returned = here * there > 0.0 and abs(there) >= SAME_SIZE * abs(here)
    return Told(dealt=dealt, code=finding.code, sought=True, returned=returned)


def tables(options: Options) -> Iterator[Table]:
    """Shares that return, by code."""
    found = [one for own in options.map(halves, chosen(options.count)) for one in own]
    table = Table(
        "habits of drummers from one half of the bars to the other",
        ("dealt", "finding", "told", "sought", "returned %"),
    )
    for dealt in dict.fromkeys(one.dealt for one in found):
        own = [one for one in found if one.dealt == dealt]
        sought = [one for one in own if one.sought]
        share = 100.0 * float(np.mean([one.returned for one in sought])) if sought else 100.0
        table.row(dealt, "all", len(own), len(sought), share, holds=share >= MUST)
        for code, n in Counter(one.code for one in own).most_common():
            of_code = [one for one in sought if one.code == code]
            back = f"{100.0 * np.mean([one.returned for one in of_code]):.0f}" if of_code else ""
            table.row(dealt, code, n, len(of_code), back)
    yield table
