"""A run along with a recording: its beats in the place of an even tempo."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

import numpy as np

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
    """Written positions on the beats of a recording; ``meter`` is that of every bar."""

    beats: BeatMap
    first_bar: int
    meter: Meter

    def seconds(self, whole: Fraction | float, /) -> float:
        """When the position ``whole`` comes, in seconds from the 1 of ``first_bar``."""
        bar, into = divmod(Fraction(whole), self.meter.length)
        beat = self.meter.beat_of(into)
        share = (into - self.meter.beat_starts[beat]) / self.meter.beats[beat]
        start = self.beats.first + self.first_bar * self.beats.per_bar
        at = start + int(bar) * self.beats.per_bar + beat + float(share)
        return float(self.beats.seconds(at)) - float(self.beats.seconds(start))


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
class Along:
    """What a run goes along with: ``beats`` as fast as it is played, from ``first_bar`` on.

    ``sounds`` are the recording itself, on the run's time line; ``name`` its file's. It is played
    at ``percent`` of its speed; ``at`` gives the same at other per cent, and tells its progress.
    """

    beats: BeatMap
    first_bar: int
    sounds: tuple[RecordingPart, ...] = ()
    name: str = ""
    percent: int = 100
    at: "Callable[[int, Progress], Along] | None" = field(default=None, repr=False)

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
        first = self.beats.first + self.first_bar * self.beats.per_bar
        start_s = float(self.beats.seconds(first))
        numbers = range(first, first + bars * self.beats.per_bar + 1)
        return {
            "recording": self.name,
            "per_bar": self.beats.per_bar,
            "times_s": [float(self.beats.seconds(number)) - start_s for number in numbers],
        }
