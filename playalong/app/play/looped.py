"""What is played again and again: bars of a recording, or bars of the pattern by themselves."""

from dataclasses import dataclass, replace
from typing import Protocol

from playalong.app.grade.checks import FASTEST_BPM
from playalong.app.run.along import Along
from playalong.app.run.task import Task
from playalong.pattern.beat_map import FASTEST_PERCENT
from playalong.sound.recordings.decoding import Progress
from playalong.support.text import counted


class Looped(Protocol):
    """Bars, at a speed in per cent of that which was asked for, so many times in one run."""

    @property
    def percent(self) -> int:
        """At what speed."""
        ...

    @property
    def bars(self) -> int:
        """How many bars a pass has."""
        ...

    @property
    def pass_s(self) -> float:
        """How long a pass is, in seconds."""
        ...

    @property
    def words(self) -> str:
        """Which bars, as a musician says."""
        ...

    @property
    def fastest(self) -> int:
        """The highest speed there may be, in per cent; where it cannot be changed, this one."""
        ...

    def in_rounds(self, rounds: int) -> "Looped":
        """The same, so many times in a run."""
        ...

    def at(self, percent: int, rounds: int, progress: Progress) -> "Looped":
        """The same at another speed; it may take a while, of which ``progress`` is told."""
        ...

    def task(self, task: Task) -> Task:
        """A run of it, and otherwise as ``task``."""
        ...


def looped(task: Task) -> Looped:
    """The bars of a task."""
    return OfPattern(requested=task) if task.along is None else OfRecording(task.along)


@dataclass(frozen=True)
class OfRecording:
    """Bars of a recording, as they are cut out of it."""

    along: Along

    @property
    def percent(self) -> int:
        """Of the recording's speed."""
        return self.along.cut.percent

    @property
    def bars(self) -> int:
        """Those of the cut."""
        return self.along.cut.bars

    @property
    def pass_s(self) -> float:
        """By the recording's beats."""
        return self.along.beats.bar_start_s(self.bars) - self.along.beats.bar_start_s(0)

    @property
    def words(self) -> str:
        """Bars of the recording."""
        return self.along.cut.words

    @property
    def fastest(self) -> int:
        """What a recording can be stretched to."""
        return round(FASTEST_PERCENT) if self.along.again is not None else self.percent

    def in_rounds(self, rounds: int) -> "OfRecording":
        """Cut anew, where there is another number of rounds."""
        again = self.along.again
        if again is None or self.along.cut.rounds == rounds:
            return self
        return OfRecording(again(replace(self.along.cut, rounds=rounds), lambda _: None))

    def at(self, percent: int, rounds: int, progress: Progress) -> "OfRecording":
        """Stretched anew."""
        again = self.along.again
        if again is None:
            return self
        return OfRecording(again(replace(self.along.cut, percent=percent, rounds=rounds), progress))

    def task(self, task: Task) -> Task:
        """Along with it."""
        return replace(task, bars=self.bars * self.along.cut.rounds).going_along(self.along)


@dataclass(frozen=True, kw_only=True)
class OfPattern:
    """All bars of a task, to the click alone; per cent are those of the ``requested`` tempo."""

    requested: Task
    percent: int = 100
    rounds: int = 1

    @property
    def bars(self) -> int:
        """Those of the task."""
        return self.requested.bars

    @property
    def tempo_bpm(self) -> float:
        """At this speed."""
        return round(self.requested.tempo_bpm * self.percent / 100.0, 1)

    @property
    def pass_s(self) -> float:
        """By the tempo."""
        return replace(self.requested, tempo_bpm=self.tempo_bpm, rest=0).length_s()

    @property
    def words(self) -> str:
        """What of the pattern it is, or how many bars."""
        return self.requested.about or counted(self.bars, "bar")

    @property
    def fastest(self) -> int:
        """What comes to the highest tempo."""
        return max(int(100.0 * FASTEST_BPM / self.requested.tempo_bpm), 100)

    def in_rounds(self, rounds: int) -> "OfPattern":
        """So many."""
        return replace(self, rounds=rounds)

    def at(self, percent: int, rounds: int, progress: Progress) -> "OfPattern":
        """At another tempo, at once."""
        return replace(self, percent=percent, rounds=rounds)

    def task(self, task: Task) -> Task:
        """At its tempo."""
        return replace(task, bars=self.bars * self.rounds, tempo_bpm=self.tempo_bpm)
