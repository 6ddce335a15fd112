"""What is known of a run so far: its hits, and the last verdict on each hit and each target."""

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from playalong.grading.verdicts import Rules, VerdictEvent
from playalong.midi.hits import Hit
from playalong.pattern.targets import Targets
from playalong.pattern.voices import STAFF_ORDER, folded
from playalong.screen.sheet.geometry import height_of


@dataclass(frozen=True, slots=True)
class Played:
    """A hit on the sheet: seconds, the voice as which it counts, its height in the row (0 to 1)."""

    time_s: float
    voice: str
    height: float


class Answers:
    """The verdicts of one run.

    ``voices`` are the rows of the sheet in staff order: those of the pattern, fixed before the
    run. What is hit although the pattern has no line for it is drawn in the row that lies nearest
    on the staff, with its name.
    """

    def __init__(self, targets: Targets, rules: Rules) -> None:
        self.targets = targets
        self.rules = rules
        self.voices = targets.voices
        self._nearest: dict[str, str] = {}
        #: Whether a voice was struck that has no row.
        self.has_foreign = False
        self.of_target: dict[int, VerdictEvent] = {}
        self.of_hit: dict[int, VerdictEvent] = {}
        self.played: dict[int, Played] = {}
        self._order: list[tuple[float, int]] = []
        self._optional = np.flatnonzero(targets.optional)
        self._let_pass = 0

    def hit(self, number: int, hit: Hit) -> None:
        """A hit, by its number in the run. It shows once a verdict is given on it."""
        voice = folded(hit.voice, self.targets.voices)
        self.played[number] = Played(time_s=hit.time_s, voice=voice, height=height_of(hit.velocity))
        insort(self._order, (hit.time_s, number))

    def is_foreign(self, number: int) -> bool:
        """Whether the hit is of a voice that has no row."""
        return self.played[number].voice not in self.voices

    def row_of(self, voice: str) -> str:
        """The row in which a hit of ``voice`` is drawn."""
        if voice in self.voices:
            return voice
        if voice not in self._nearest:
            place = STAFF_ORDER[voice]
            self._nearest[voice] = min(
                self.voices, key=lambda row: (abs(STAFF_ORDER[row] - place), STAFF_ORDER[row])
            )
        return self._nearest[voice]

    def judged(self, event: VerdictEvent) -> list[float]:
        """A verdict on a target, a hit, or both; returns the times in seconds where it shows.

        It takes the place of an earlier one, and a target whose hit now answers another one
        waits again.
        """
        if self._is_known(event):
            return []
        times = []
        if event.hit is not None:
            before = self.of_hit.get(event.hit)
            if before is not None and before.target is not None:
                times.append(float(self.targets.time_s[before.target]))
                if before == self.of_target.get(before.target):
                    del self.of_target[before.target]
            self.of_hit[event.hit] = event
            played = self.played[event.hit]
            times.append(played.time_s)
        if event.target is not None:
            times.append(float(self.targets.time_s[event.target]))
            if not event.grace:
                self.of_target[event.target] = event
        return times

    def _is_known(self, event: VerdictEvent) -> bool:
        """Whether all of ``event`` was said before; that it is settled now does not show."""
        said = []
        if event.hit is not None:
            said.append(self.of_hit.get(event.hit))
        if event.target is not None and not event.grace:
            said.append(self.of_target.get(event.target))
        return all(
            before is not None and replace(before, settled=event.settled) == event
            for before in said
        )

    def passed(self, now_s: float) -> Iterator[float]:
        """The times of optional strokes that, unplayed, can no longer be played at ``now_s``."""
        latest = now_s - self.rules.capture_ms / 1000.0
        while self._let_pass < len(self._optional):
            target = int(self._optional[self._let_pass])
            time_s = float(self.targets.time_s[target])
            if time_s > latest:
                return
            self._let_pass += 1
            if target not in self.of_target:
                yield time_s

    def is_ahead(self, target: int) -> bool:
        """Whether a target still waits for its hit."""
        if target in self.of_target:
            return False
        if not self.targets.optional[target]:
            return True
        return int(self._optional.searchsorted(target)) >= self._let_pass

    def targets_between(self, start_s: float, end_s: float) -> range:
        """The numbers of the targets in a stretch of time."""
        first, last = self.targets.time_s.searchsorted((start_s, end_s))
        return range(int(first), int(last))

    def hits_between(self, start_s: float, end_s: float) -> Iterator[tuple[Played, VerdictEvent]]:
        """The hits in a stretch of time on which a verdict was given, and that verdict."""
        first = bisect_left(self._order, (start_s, 0))
        last = bisect_right(self._order, (end_s, 0))
        for _, number in self._order[first:last]:
            event = self.of_hit.get(number)
            if event is not None:
                yield self.played[number], event
