"""A run along with a recording: its beats in the place of an even tempo."""

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import accumulate
from typing import Any

import numpy as np
from numpy.typing import NDArray

from playalong.pattern.beat_map import BeatMap
from playalong.pattern.meter import Meter
from playalong.pattern.model import Pattern
from playalong.pattern.targets import Targets, lay_out_on
from playalong.sound.recordings.decoding import Progress
from playalong.sound.timeline import RATE, RISE_S, Frames, Stream, risen
from playalong.support.errors import UserError
from playalong.support.text import sentence


@dataclass(frozen=True)
class MapTime:
    """Written positions on the beats of a recording.

    ``meter`` is that of every bar, but of as many beats as the recording has there.
    """

    beats: BeatMap
    first_bar: int
    meter: Meter

    def seconds(self, whole: Fraction | float, /) -> float:
        """When the position ``whole`` comes, in seconds from the 1 of ``first_bar``."""
        bar, into, meter = self._bar(Fraction(whole))
        beat = meter.beat_of(into)
        share = (into - meter.beat_starts[beat]) / meter.beats[beat]
        at = self.beats.bar_beat(bar) + beat + float(share)
        start = self.beats.bar_beat(self.first_bar)
        return float(self.beats.seconds(at)) - float(self.beats.seconds(float(start)))

    def meter_of(self, bar: int) -> Meter:
        """The meter of a bar of the recording."""
        return self.meter.of_beats(self.beats.beats_in(bar))

    @cached_property
    def _written(self) -> list[Fraction]:
        """Where the bars from the first on begin, to the end of the last one of the map."""
        bars = range(self.first_bar, max(self.beats.bars, self.first_bar + 1))
        return [Fraction(0), *accumulate(self.meter_of(bar).length for bar in bars)]

    def _bar(self, whole: Fraction) -> tuple[int, Fraction, Meter]:
        """The bar of the recording in which a position is, where in it, and the bar's meter."""
        starts = self._written
        if whole < 0:
            meter = self.meter_of(self.first_bar - 1)
            before, into = divmod(whole, meter.length)
            return self.first_bar + int(before), into, meter
        number = min(bisect_right(starts, whole), len(starts)) - 1
        meter, into = self.meter_of(self.first_bar + number), whole - starts[number]
        after, into = divmod(into, meter.length)
        return self.first_bar + number + int(after), into, meter


@dataclass(frozen=True)
class RecordingPart:
    """A part of a recording, from frame ``begin`` of ``stream`` on, heard from ``time_s`` on.

    Where that is not the stream's beginning it rises within ``RISE_S``, so that nothing cracks.
    """

    stream: Stream
    begin: int
    time_s: float

    def frames(self, rate: int) -> Stream:
        """What is heard."""
        return self

    def read(self, begin: int, count: int) -> Frames:
        """Its frames, (count, 2)."""
        part = self.stream.read(self.begin + begin, count)
        rise = round(RISE_S * RATE)
        if self.begin and begin < rise:
            part = part * risen(np.arange(begin, begin + len(part)), 0, rise)
        return part

    def after(self, time_s: float) -> "RecordingPart":
        """The same from ``time_s`` on."""
        later = max(0, round((time_s - self.time_s) * RATE))
        return RecordingPart(self.stream, self.begin + later, self.time_s + later / RATE)


@dataclass(frozen=True, kw_only=True)
class Cut:
    """What is heard of a recording: its bars ``first_bar`` to ``last_bar`` (from 0, both played),
    ``rounds`` times over, at ``percent`` of its speed.
    """

    first_bar: int
    last_bar: int
    percent: int = 100
    rounds: int = 1

    @property
    def bars(self) -> int:
        """How many bars one round has."""
        return self.last_bar + 1 - self.first_bar

    @property
    def words(self) -> str:
        """Which bars, as a musician says."""
        if self.bars == 1:
            return f"bar {self.first_bar + 1}"
        return f"bars {self.first_bar + 1} to {self.last_bar + 1}"


@dataclass(frozen=True, kw_only=True)
class Song:
    """A whole recording, to be seen: its ``beats``, its length, and the least and greatest of so
    many even parts of it from one second to another, (columns, 2).
    """

    beats: BeatMap
    length_s: float
    overview: Callable[[float, float, int], NDArray[np.float32]] = field(repr=False)


@dataclass(frozen=True, kw_only=True)
class Along:
    """What a run goes along with: ``beats`` as fast as it is played, from ``first_bar`` on.

    ``sounds`` are the recording itself, on the run's time line, as it is ``cut``; ``name`` its
    file's. ``ending`` rings out where a round is the last after all, its time counted from the end
    of that round. ``again`` gives another cut of the same ``song``, and tells its progress.
    """

    beats: BeatMap
    first_bar: int
    sounds: tuple[RecordingPart, ...] = ()
    name: str = ""
    cut: Cut = Cut(first_bar=0, last_bar=0)
    ending: RecordingPart | None = None
    song: Song | None = None
    again: "Callable[[Cut, Progress], Along] | None" = field(default=None, repr=False)

    def targets(self, pattern: Pattern, bars: int, variations: Sequence[str]) -> Targets:
        """The targets on the recording's beats; UserError where the meters do not fit."""
        try:
            return lay_out_on(pattern, self.beats, self.first_bar, bars=bars, variations=variations)
        except ValueError as error:
            raise UserError(sentence(error)) from None

    def time(self, pattern: Pattern) -> MapTime:
        """Where written positions are."""
        return MapTime(self.beats, self.first_bar, pattern.meter)

    def as_plain(self, bars: int) -> dict[str, Any]:
        """What a take must say so that it can be graded again: the beats of its ``bars``."""
        beats = self.beats
        first = beats.bar_beat(self.first_bar)
        numbers = np.arange(first, beats.bar_beat(self.first_bar + bars) + 1, dtype=np.float64)
        times_s = beats.seconds(numbers)
        lengths = beats.lengths(self.first_bar, self.first_bar + bars - 1)
        plain = {
            "recording": self.name,
            "per_bar": lengths[0],
            "times_s": (times_s - times_s[0]).tolist(),
        }
        return plain if len(set(lengths)) == 1 else {**plain, "bars": lengths}
