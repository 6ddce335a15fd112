"""A beat map: where the beats of a recording are.

People drift, so a recording has no one tempo: each beat has its own second, and between two
beats time runs evenly. Beats are counted from 0, the first of the map, and may be fractions; bars
from 0, the bar that begins on the beat ``first``. Before the first and after the last beat it goes
on at the tempo of the outermost bar.

Not all bars need be of one length: a song has a bar of two beats where it was cut, one of five
where it was held, and another meter in its middle. So from some beats on bars are counted anew
(``changes``); the bar before such a beat ends there, however many beats it has.
"""

from collections.abc import Iterable, Sequence
from dataclasses import KW_ONLY, dataclass, replace
from functools import cached_property
from itertools import pairwise
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
    has; ``changes`` are (beat, beats to the bar) from which on bars are counted anew, in order.
    ValueError says what is wrong.
    """

    times_s: tuple[float, ...]
    first: int = 0
    per_bar: int = 4
    _: KW_ONLY
    changes: tuple[tuple[int, int], ...] = ()

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
        for (before, _), (beat, per_bar) in pairwise([(self.first, self.per_bar), *self.changes]):
            if not before < beat < len(self.times_s):
                raise ValueError(
                    f"a bar cannot begin on beat {beat + 1} after the one on beat {before + 1}: "
                    f"the map has {len(self.times_s)} beats"
                )
            if per_bar < 1:
                raise ValueError(f"{per_bar} beats to a bar: a bar has one at least")

    @classmethod
    def of(cls, times_s: Iterable[float], first: int = 0, per_bar: int = 4) -> "BeatMap":
        """The map of any row of seconds."""
        return cls(tuple(float(time_s) for time_s in times_s), first, per_bar)

    @classmethod
    def of_bars(cls, times_s: Iterable[float], lengths: Sequence[int]) -> "BeatMap":
        """The map whose bars have so many beats each, the first of them on the first of seconds."""
        changes, begin = list[tuple[int, int]](), 0
        for before, length in pairwise([lengths[0], *lengths]):
            if length != before:
                changes.append((begin, length))
            begin += length
        made = cls.of(times_s, 0, lengths[0])
        return replace(made, changes=tuple(changes))

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
        times_s = self.times_s
        first, last = (min(beats, len(self) - 1) for beats in (self.per_bar, self._last_per_bar))
        return (times_s[first] - times_s[0]) / first, (times_s[-1] - times_s[-1 - last]) / last

    # Bars.

    @property
    def _last_per_bar(self) -> int:
        return self.changes[-1][1] if self.changes else self.per_bar

    @cached_property
    def bar_beats(self) -> NDArray[np.int64]:
        """(bars + 1,) the beat on which each bar begins, and the one after the last bar."""
        counted = [(self.first, self.per_bar), *self.changes]
        ends = [*(beat for beat, _ in self.changes), None]
        begins = list[int]()
        for (begin, per_bar), end in zip(counted, ends, strict=True):
            if end is None:  # the last bars are told where they are whole
                whole = (len(self) - begin) // per_bar
                begins += range(begin, begin + whole * per_bar + 1, per_bar)
            else:
                begins += range(begin, end, per_bar)
        return np.array(begins, np.int64)

    @property
    def bars(self) -> int:
        """How many bars have all their beats in the map."""
        return len(self.bar_beats) - 1

    def bar_beat(self, bar: int) -> int:
        """The beat on which ``bar`` begins; bars before 0 and after the last one too."""
        if bar < 0:
            return self.first + bar * self.per_bar
        after = max(0, bar - self.bars)
        return int(self.bar_beats[bar - after]) + after * self._last_per_bar

    def beats_in(self, bar: int) -> int:
        """How many beats ``bar`` has."""
        return self.bar_beat(bar + 1) - self.bar_beat(bar)

    def lengths(self, first_bar: int, last_bar: int) -> list[int]:
        """How many beats each of the bars ``first_bar`` to ``last_bar`` has."""
        return [self.beats_in(bar) for bar in range(first_bar, last_bar + 1)]

    def place(self, beat: int) -> tuple[int, int]:
        """In which bar a beat is, and which of its beats; both from 0, bars before 1 below that."""
        if beat < self.first:
            return divmod(beat - self.first, self.per_bar)
        end = int(self.bar_beats[-1])
        if beat >= end:
            after, inside = divmod(beat - end, self._last_per_bar)
            return self.bars + after, inside
        bar = int(self.bar_beats.searchsorted(beat, side="right")) - 1
        return bar, beat - int(self.bar_beats[bar])

    def bar_start_s(self, bar: int) -> float:
        """When ``bar`` begins, in seconds; bars before 0 and after the last one too."""
        return self.seconds(float(self.bar_beat(bar)))

    def tempo_bpm(self, bar: int) -> float:
        """The tempo of ``bar``, in beats in a minute."""
        return 60.0 * self.beats_in(bar) / (self.bar_start_s(bar + 1) - self.bar_start_s(bar))

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
        skip = self.first % 2
        first = self.first // 2
        changes = ((max((beat - skip + 1) // 2, first + 1), n) for beat, n in self.changes)
        return self._with(self.times_s[skip::2], first, changes)

    def doubled(self) -> "BeatMap":
        """Twice the tempo: a beat more in the middle between two, bar 1 where it was."""
        halves = np.arange(2 * len(self) - 1) / 2.0
        changes = ((2 * beat, n) for beat, n in self.changes)
        return self._with(self.seconds(halves).tolist(), 2 * self.first, changes)

    def moved_bar_1(self, beats: int) -> "BeatMap":
        """Bar 1 begins so many beats later; ValueError where the map has no such beat."""
        return self._with(self.times_s, self.first + beats, self.changes)

    def inserted(self, at_s: float) -> "BeatMap":
        """With a beat more at a second between two others; what is counted anew stays in its place.

        The bars after it, up to where they are counted anew, begin a beat sooner. ValueError where
        there is a beat already.
        """
        number = int(self._times.searchsorted(at_s))
        at_s = float(at_s)
        times_s = (*self.times_s[:number], at_s, *self.times_s[number:])
        later = ((beat + (beat >= number), n) for beat, n in self.changes)
        return self._with(times_s, self.first + (self.first >= number), later)

    def removed(self, number: int) -> "BeatMap":
        """Without a beat; where bars are counted anew from it, they are from the next."""
        times_s = (*self.times_s[:number], *self.times_s[number + 1 :])
        sooner = ((beat - (beat > number), n) for beat, n in self.changes)
        return self._with(times_s, self.first - (self.first > number), sooner)

    def begun_at(self, number: int, per_bar: int | None = None) -> "BeatMap":
        """A bar begins on this beat, and bars of ``per_bar`` beats follow, None for as many as now.

        Where it comes before bar 1, bar 1 begins there.
        """
        if number <= self.first:
            moved = self._with(self.times_s, number, self.changes)
            return moved if per_bar is None else replace(moved, per_bar=per_bar)
        remaining = ((beat, n) for beat, n in self.changes if beat != number)
        anew = (number, per_bar or self.per_bar_at(number))
        return self._with(self.times_s, self.first, sorted([*remaining, anew]))

    def counted_through(self, number: int) -> "BeatMap":
        """No bar need begin on this beat: they are counted on from those before."""
        remaining = tuple((beat, n) for beat, n in self.changes if beat != number)
        return replace(self, changes=remaining)

    def per_bar_at(self, beat: int) -> int:
        """How many beats bars have where ``beat`` is, those apart that are cut short."""
        before = [n for begin, n in self.changes if begin <= beat]
        return before[-1] if before else self.per_bar

    def with_per_bar(self, beat: int, per_bar: int) -> "BeatMap":
        """Other bars around ``beat``: from where they are counted to where they are anew."""
        here = max((begin for begin, _ in self.changes if begin <= beat), default=None)
        if here is None:
            return replace(self, per_bar=per_bar)
        changes = tuple((begin, per_bar if begin == here else n) for begin, n in self.changes)
        return replace(self, changes=changes)

    def with_bar(self, bar: int, beats: int) -> "BeatMap":
        """One bar with so many beats; bars after it go on as they were, from its new end."""
        begin, end = self.bar_beat(bar), self.bar_beat(bar + 1)
        changes = dict(self.changes)
        after = changes.pop(end, self.per_bar_at(begin))
        changes = {b: n for b, n in changes.items() if b < begin or b > begin + beats - 1}
        changes.setdefault(begin + beats, after)
        if begin <= self.first:
            return replace(self, per_bar=beats, changes=())._with(
                self.times_s, self.first, sorted(changes.items())
            )
        changes[begin] = beats
        return self._with(self.times_s, self.first, sorted(changes.items()))

    def _with(
        self, times_s: Iterable[float], first: int, changes: Iterable[tuple[int, int]]
    ) -> "BeatMap":
        """Other beats, without the changes that would lie outside of them.

        ValueError where bar 1 would begin outside.
        """
        made = replace(self, times_s=tuple(times_s), first=first, changes=())
        within = {beat: per_bar for beat, per_bar in changes if first < beat < len(made)}
        return replace(made, changes=tuple(within.items()))

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
