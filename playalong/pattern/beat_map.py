"""A beat map: where the beats of a recording are.

People drift, so a recording has no one tempo: each beat has its own second, and between two
beats time runs evenly. Beats are counted from 0, the first of the map, and may be fractions; bars
from 0, the bar that begins on the beat ``first``. Before the first and after the last beat it goes
on at the tempo of the outermost bar.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import overload

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: How slow and how fast a recording may be played, in per cent.
SLOWEST_PERCENT, FASTEST_PERCENT = 50.0, 110.0


@dataclass(frozen=True)
class BeatMap:
    """The beats of a recording.

    ``times_s`` are the seconds of its beats, two at least, each later than the one before;
    ``first`` is the number of the beat that is the 1 of bar 1; ``per_bar`` how many beats a bar
    has. ValueError says what is wrong.
    """

    times_s: tuple[float, ...]
    first: int = 0
    per_bar: int = 4

    def __post_init__(self) -> None:
        if len(self.times_s) < 2:
            raise ValueError("a beat map needs two beats at least")
        if self.per_bar < 1:
            raise ValueError(f"{self.per_bar} beats to a bar: a bar has one at least")
        if not np.isfinite(self._times).all():
            raise ValueError("every beat must have its second")
        wrong = np.flatnonzero(np.diff(self._times) <= 0.0)
        if len(wrong):
            number = int(wrong[0]) + 1
            raise ValueError(
                f"beat {number + 1}, at {self.times_s[number]:.3f} s, does not come after the one "
                f"before it, at {self.times_s[number - 1]:.3f} s"
            )
        if not 0 <= self.first < len(self.times_s):
            raise ValueError(
                f"bar 1 cannot begin on beat {self.first + 1}: the map has beats 1 to "
                f"{len(self.times_s)}"
            )

    @classmethod
    def of(cls, times_s: Iterable[float], first: int = 0, per_bar: int = 4) -> "BeatMap":
        """The map of any row of seconds."""
        return cls(tuple(float(time_s) for time_s in times_s), first, per_bar)

    @classmethod
    def from_tempo(
        cls, *, tempo_bpm: float, first_beat_s: float, length_s: float, per_bar: int = 4
    ) -> "BeatMap":
        """Even beats at ``tempo_bpm`` from ``first_beat_s``, the 1 of bar 1, to ``length_s``."""
        if tempo_bpm <= 0.0:
            raise ValueError(f"a tempo of {tempo_bpm:g} is none: it must be more than 0")
        if not 0.0 <= first_beat_s < length_s:
            raise ValueError(
                f"the first beat, at {first_beat_s:g} s, is not in the recording: it goes from 0 "
                f"to {length_s:.1f} s"
            )
        period_s = 60.0 / tempo_bpm
        count = int((length_s - first_beat_s) / period_s + 1e-9) + 1
        if count < 2:
            raise ValueError(
                f"from {first_beat_s:g} s at {tempo_bpm:g} bpm there is no second beat before the "
                f"end, at {length_s:.1f} s"
            )
        return cls.of(first_beat_s + period_s * np.arange(count), per_bar=per_bar)

    @cached_property
    def _times(self) -> Floats:
        return np.array(self.times_s, np.float64)

    def __len__(self) -> int:
        return len(self.times_s)

    @overload
    def seconds(self, beat: float) -> float: ...
    @overload
    def seconds(self, beat: Floats) -> Floats: ...
    def seconds(self, beat: float | Floats) -> float | Floats:
        """When ``beat`` comes, in seconds; an array gives an array of its shape."""
        times_s, last = self._times, len(self) - 1
        at = np.asarray(beat, np.float64)
        before_s, after_s = self._outer_periods_s
        found = np.interp(at, np.arange(last + 1), times_s)
        found = found + before_s * np.minimum(at, 0.0) + after_s * np.maximum(at - last, 0.0)
        return found if isinstance(beat, np.ndarray) else float(found)

    @overload
    def beat(self, time_s: float) -> float: ...
    @overload
    def beat(self, time_s: Floats) -> Floats: ...
    def beat(self, time_s: float | Floats) -> float | Floats:
        """Which beat, and part of one, ``time_s`` (seconds) is: the other way of ``seconds``."""
        times_s, at = self._times, np.asarray(time_s, np.float64)
        before_s, after_s = self._outer_periods_s
        found = np.interp(at, times_s, np.arange(len(self)))
        found = found + np.minimum(at - times_s[0], 0.0) / before_s
        found = found + np.maximum(at - times_s[-1], 0.0) / after_s
        return found if isinstance(time_s, np.ndarray) else float(found)

    @property
    def _outer_periods_s(self) -> tuple[float, float]:
        """Seconds of a beat in the first and in the last bar."""
        beats = min(self.per_bar, len(self) - 1)
        times_s = self.times_s
        return (times_s[beats] - times_s[0]) / beats, (times_s[-1] - times_s[-1 - beats]) / beats

    @property
    def bars(self) -> int:
        """How many bars have all their beats in the map."""
        return (len(self) - self.first) // self.per_bar

    def bar_start_s(self, bar: int) -> float:
        """When ``bar`` begins, in seconds; bars before 0 and after the last one too."""
        return self.seconds(float(self.first + bar * self.per_bar))

    def tempo_bpm(self, bar: int) -> float:
        """The tempo of ``bar``, in beats in a minute."""
        return 60.0 * self.per_bar / (self.bar_start_s(bar + 1) - self.bar_start_s(bar))

    def loop(self, first_bar: int, last_bar: int) -> tuple[float, float]:
        """Begin and end, in seconds, of the bars ``first_bar`` to ``last_bar``, both played."""
        if not 0 <= first_bar <= last_bar < self.bars:
            raise ValueError(
                f"bars {first_bar + 1} to {last_bar + 1} cannot be looped: the recording has bars "
                f"1 to {self.bars}, and the first comes before the last"
            )
        return self.bar_start_s(first_bar), self.bar_start_s(last_bar + 1)

    def nudge(self, ms: float) -> "BeatMap":
        """All beats so much later; earlier when it is negative."""
        return replace(self, times_s=tuple((self._times + ms / 1000.0).tolist()))

    def nudge_beat(self, number: int, ms: float) -> "BeatMap":
        """One beat so much later; ValueError when it would pass its neighbour."""
        times_s = list(self.times_s)
        times_s[number] += ms / 1000.0
        return replace(self, times_s=tuple(times_s))

    def halved(self) -> "BeatMap":
        """Half the tempo: every second beat, bar 1 where it was."""
        return replace(self, times_s=self.times_s[self.first % 2 :: 2], first=self.first // 2)

    def doubled(self) -> "BeatMap":
        """Twice the tempo: a beat more in the middle between two, bar 1 where it was."""
        halves = np.arange(2 * len(self) - 1) / 2.0
        return replace(self, times_s=tuple(self.seconds(halves).tolist()), first=2 * self.first)

    def moved_bar_1(self, beats: int) -> "BeatMap":
        """Bar 1 begins so many beats later; ValueError where the map has no such beat."""
        return replace(self, first=self.first + beats)

    def at_speed(self, percent: float) -> "BeatMap":
        """The beats of the recording played at ``percent`` of its speed, 50 to 110."""
        check_speed(percent)
        return replace(self, times_s=tuple((self._times * (100.0 / percent)).tolist()))


def check_speed(percent: float) -> None:
    """ValueError for a speed at which no recording is played."""
    if not SLOWEST_PERCENT <= percent <= FASTEST_PERCENT:
        raise ValueError(
            f"{percent:g} % is no speed for a recording: choose {SLOWEST_PERCENT:g} to "
            f"{FASTEST_PERCENT:g}"
        )
