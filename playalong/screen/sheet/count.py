"""The spoken count along a run: 1 e & a, at the times where it sounds."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum
from fractions import Fraction
from itertools import pairwise

from playalong.pattern.meter import STRAIGHT, WrittenSwing, spoken_count
from playalong.pattern.model import Bar
from playalong.pattern.targets import Targets, counted_at


class Weight(IntEnum):
    """How much a place of the count weighs."""

    PART = 0
    BEAT = 1
    BAR = 2


@dataclass(frozen=True, slots=True)
class Spoken:
    """A place of the count: its position in the bar in whole notes, and what is said there."""

    at: Fraction
    words: str
    weight: Weight


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A place of the count in a run: seconds, words, weight, and the run's bar (0 is the first)."""

    time_s: float
    words: str
    weight: Weight
    bar: int


def count_of(bar: Bar) -> Iterator[Spoken]:
    """The count of one bar as written."""
    meter = bar.meter
    for beat, (start, length) in enumerate(zip(meter.beat_starts, meter.beats, strict=True)):
        parts = bar.divisions[beat]
        for part, syllable in enumerate(spoken_count(parts, meter.groups[beat])):
            if part:
                yield Spoken(start + length * part / parts, syllable, Weight.PART)
            else:
                yield Spoken(start, str(beat + 1), Weight.BEAT if beat else Weight.BAR)


class Count:
    """The count of a whole run.

    ``closest_s`` gives for each weight the least time between neighbours of at least that
    weight, so that the sheet can leave out what would be crowded.
    """

    def __init__(
        self, targets: Targets, bars: Sequence[Bar], swing: WrittenSwing = STRAIGHT
    ) -> None:
        self._starts_s = targets.bar_starts_s
        self.end_s = targets.end_s
        first_s = float(self._starts_s[1]) if targets.bars > 1 else targets.end_s
        scale = (first_s - targets.start_s) / float(bars[0].meter.length)
        #: On a recording bars are as long as it plays them, and have as many beats.
        self._beats_s, self._swing = targets.beats_s, swing
        self._written = [(bar, tuple(count_of(bar))) for bar in bars]
        self._bars = [
            [(float(counted_at(bar, said.at, swing)) * scale, said) for said in count]
            for bar, count in self._written
        ]
        self.closest_s = {weight: self._closest(weight, bars, scale) for weight in Weight}

    def between(self, start_s: float, end_s: float) -> Iterator[Tick]:
        """The count from ``start_s`` to ``end_s``."""
        first = max(0, int(self._starts_s.searchsorted(start_s, side="right")) - 1)
        last = int(self._starts_s.searchsorted(end_s, side="right"))
        for bar in range(first, last):
            for time_s, said in self._bar_count(bar):
                if start_s <= time_s <= end_s and time_s < self.end_s:
                    yield Tick(time_s=time_s, words=said.words, weight=said.weight, bar=bar)

    def _bar_count(self, bar: int) -> Iterator[tuple[float, Spoken]]:
        """The count of a bar of the run, in seconds of the run."""
        if not self._beats_s:
            bar_s = float(self._starts_s[bar])
            for after_s, said in self._bars[bar % len(self._bars)]:
                yield bar_s + after_s, said
            return
        written, count = self._written[bar % len(self._written)]
        beats_s, meter = self._beats_s[bar], written.meter
        ends_s = [*beats_s[1:], self._end_of(bar)]
        for said in count:
            at = counted_at(written, said.at, self._swing)
            beat = meter.beat_of(at)
            if beat < len(beats_s):
                share = float((at - meter.beat_starts[beat]) / meter.beats[beat])
                yield beats_s[beat] + share * (ends_s[beat] - beats_s[beat]), said
        for beat in range(len(meter.beats), len(beats_s)):
            yield beats_s[beat], Spoken(meter.length, str(beat + 1), Weight.BEAT)

    def _end_of(self, bar: int) -> float:
        return float(self._starts_s[bar + 1]) if bar + 1 < len(self._starts_s) else self.end_s

    def _closest(self, weight: Weight, bars: Sequence[Bar], scale: float) -> float:
        gaps = []
        for bar, count in zip(bars, self._bars, strict=True):
            at = [after_s for after_s, said in count if said.weight >= weight]
            at.append(float(bar.meter.length) * scale)
            gaps += [later - sooner for sooner, later in pairwise(at)]
        return min(gaps)
