"""Trends in windows of takes by drummers to a metronome: none is there, and ramps put in are told.

Windows of 4, 8 and 16 bars. A window as it was played may be told a trend in 4 % of all; with a
ramp of 4 % over 8 bars in it a trend is told in 90 %, with one of 2 % over 16 bars in 80 %. The
ramp begins at the click's tempo, or lies around it: as much slower before its middle as faster
after. Told is what the measure says, and what the findings say.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from playalong.grading.grade import Grade
from playalong.midi.hits import Hits
from playalong.pattern.targets import lay_out
from tests.long.frame import Options, Table
from tests.long.real import chosen
from tests.support.drummers import DrummerTake
from tests.support.played import Floats
from tests.support.told import codes, graded, trend
from tests.support.transcription import Transcription

FULL_COUNT, SAMPLE_COUNT = 184, 12
NEEDS_TAKES = True

SIZES = (4, 8, 16)
#: Windows of a size from one take at most.
WINDOWS = 3

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
    found: dict[str, Course] = {"as played": lambda at_s: at_s}
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
        for first in list(starts)[
            : WINDOWS * max(1, len(starts) // WINDOWS) : max(1, len(starts) // WINDOWS)
        ]:
            pattern, hits = written.some(range(first, first + bars))
            targets = lay_out(pattern, take.tempo_bpm, bars)
            for name, course in ramps(bars, targets.end_s).items():
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


def tables(options: Options) -> Iterator[Table]:
    """Shares of windows that are told a trend."""
    found = [one for own in options.map(windows, chosen(options.count)) for one in own]
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
        holds = max(shares[0], shares[2]) <= 4.0 if name == "as played" else None
        table.row(bars, name, len(own), *shares, holds=holds)
    for bars, must in ((8, 90.0), (16, 80.0)):
        own = [one for one in found if one.bars == bars and one.ramp != "as played"]
        if own:
            right = 100.0 * float(np.mean([one.trend == one.wanted for one in own]))
            table.row(bars, "all ramps", len(own), "", right, "", "", holds=right >= must)
    yield table
