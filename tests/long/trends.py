"""Trends in windows of takes by drummers to a metronome: none is there, and ramps put in are told.

Windows of 4, 8 and 16 bars. A window as it was played may be told a trend in 4 % of all; with a
ramp of 4 % over 8 bars in it a trend is told in 90 %, with one of 2 % over 16 bars in 80 %. The
ramp begins at the click's tempo, or lies around it: as much slower before its middle as faster
after. Told is what the measure says, and what the findings say. The gauge of a run that goes on,
which is asked again after every bar, may tell a trend in 4 % of the bars.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from playalong.grading.gauges import Gauges
from playalong.grading.grade import Grade
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.steadiness import STEADY
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.targets import lay_out
from tests.helpers.drummers import DrummerTake
from tests.helpers.played import Floats
from tests.helpers.told import codes, graded, trend
from tests.helpers.transcription import Transcription
from tests.long.frame import Options, Table
from tests.long.real import chosen

FULL_COUNT, SAMPLE_COUNT = 184, 12
NEEDS_TAKES = True

SIZES = (4, 8, 16)
AS_PLAYED = "as played"
#: All windows are taken as they were played; of each size so many of a take with ramps in them.
RAMPED = 3
#: The most bars of a take that are played live.
LIVE_BARS = 32

Course = Callable[[Floats], Floats]


@dataclass(frozen=True, kw_only=True)
class Window:
    """What was told of a window: by its bars, and what was done to it."""

    bars: int
    ramp: str
    trend: str
    found: bool
    first: bool

    @property
    def wanted(self) -> str:
        """The trend that should be told."""
        return {"faster": "speeding up", "slower": "slowing down"}.get(
            self.ramp.split(", ")[-1], ""
        )


def ramp(percent: float, end_s: float, around: bool) -> Course:
    """Time as it goes where the tempo rises by ``percent`` until ``end_s``, in a straight line
    over the beats."""
    rise = percent / 100.0
    begin = 1.0 - rise / 2.0 if around else 1.0

    def course(at_s: Floats) -> Floats:
        share = np.clip(at_s / end_s, 0.0, 1.0)
        gone: Floats = end_s / rise * np.log((begin + rise * share) / begin)
        return np.where(
            at_s < 0.0, at_s / begin, gone + np.maximum(at_s - end_s, 0.0) / (begin + rise)
        )

    if not around:
        return course
    # In the middle of the way on the click.
    ahead_s = float(np.mean(course(np.linspace(0.0, end_s, 101)) - np.linspace(0.0, end_s, 101)))
    return lambda at_s: course(at_s) - ahead_s


def ramps(bars: int, end_s: float) -> dict[str, Course]:
    """What is done to a window of so many bars, by name."""
    found: dict[str, Course] = {AS_PLAYED: lambda at_s: at_s}
    percent = {8: 4.0, 16: 2.0}.get(bars)
    for sign in (1.0, -1.0) if percent else ():
        for around in (False, True):
            name = f"{percent:g} % {'around' if around else 'from'} the click"
            course = ramp(sign * (percent or 0.0), end_s, around)
            found[f"{name}, {'faster' if sign > 0 else 'slower'}"] = course
    return found


def windows(take: DrummerTake) -> list[Window]:
    """All windows of a take."""
    written, found = Transcription(take.path, take.tempo_bpm), []
    whole = int(take.length_s / (240.0 / take.tempo_bpm))
    for bars in SIZES:
        starts = range(0, whole - bars + 1, bars)
        ramped = list(starts[:: max(1, len(starts) // RAMPED)])[:RAMPED]
        for first in starts:
            pattern, hits = written.some(range(first, first + bars))
            targets = lay_out(pattern, take.tempo_bpm, bars)
            for name, course in ramps(bars, targets.end_s).items():
                if name != AS_PLAYED and first not in ramped:
                    continue
                moved = Hits.sorted(course(hits.time_s), hits.voice, hits.velocity)
                grade = graded(pattern, targets, moved)
                found.append(window(bars, name, grade))
    return found


def window(bars: int, name: str, grade: Grade) -> Window:
    """What a grade says of the tempo."""
    said = codes(grade)
    tempo = {"speeding_up", "slowing_down"}
    return Window(
        bars=bars,
        ramp=name,
        trend=trend(grade),
        found=bool(tempo & {*said}),
        first=said[0] in tempo,
    )


def live(take: DrummerTake) -> list[bool]:
    """Whether the gauge tells a trend, bar after bar of a take as it was played."""
    written = Transcription(take.path, take.tempo_bpm)
    bars = min(written.bars - 1, LIVE_BARS)
    pattern, hits = written.some(range(max(bars, 1)))
    targets = lay_out(pattern, take.tempo_bpm, max(bars, 1))
    run = MatchedRun.of(targets, hits, Rules())
    gauges = Gauges(targets, Rules(), take.tempo_bpm)
    events = [word for word in run.verdicts.events() if word.target is not None]
    told, bar = [], 0
    for word in sorted(events, key=lambda word: (targets.bar[word.target], word.target)):
        gauges.heard(word, None if word.hit is None else hits[word.hit])
        if targets.bar[word.target] > bar:
            bar = int(targets.bar[word.target])
            told.append(gauges.steadiness.trend != STEADY)
    return told


def tables(options: Options) -> Iterator[Table]:
    """Shares of windows that are told a trend."""
    takes = chosen(options.count)
    found = [one for own in options.map(windows, takes) for one in own]
    table = Table(
        "trends in windows",
        ("bars", "ramp", "windows", "trend %", "the right one %", "finding %", "first %"),
    )
    for bars, name in dict.fromkeys(
        (one.bars, one.ramp) for one in sorted(found, key=lambda o: o.bars)
    ):
        own = [one for one in found if (one.bars, one.ramp) == (bars, name)]
        shares = [
            100.0 * float(np.mean(good))
            for good in (
                [one.trend != "" for one in own],
                [one.trend == one.wanted for one in own],
                [one.found for one in own],
                [one.first for one in own],
            )
        ]
        holds = max(shares[0], shares[2]) <= 4.0 if name == AS_PLAYED else None
        table.row(bars, name, len(own), *shares, holds=holds)
    for bars, must in ((8, 90.0), (16, 80.0)):
        own = [one for one in found if one.bars == bars and one.ramp != AS_PLAYED]
        if own:
            right = 100.0 * float(np.mean([one.trend == one.wanted for one in own]))
            table.row(bars, "all ramps", len(own), "", right, "", "", holds=right >= must)
    yield table
    bar_by_bar = [told for one in options.map(live, takes) for told in one]
    share = 100.0 * float(np.mean(bar_by_bar))
    gauge = Table("the gauge, bar by bar, takes as they were played", ("bars", "trend %"))
    gauge.row(len(bar_by_bar), share, holds=share <= 4.0)
    yield gauge
