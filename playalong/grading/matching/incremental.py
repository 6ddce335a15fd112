"""Settled verdicts: what nothing that may still come can change.

``Settler`` is given hits as they come, in any portions, and a time up to which all hits are
known. It settles every window that is over, and every wrong drum whose rivals are all settled,
and keeps the rest. Given everything at once it settles everything in one step; in portions it
gives the same verdicts, since a window or a group of rivals is only ever settled whole.
"""

from collections.abc import Iterable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from playalong.grading.matching.rolls import RollSpans
from playalong.grading.matching.verdict_table import CODE, Verdicts, in_time
from playalong.grading.matching.windows import (
    HALF_NS_PER_MS,
    Ints,
    Windows,
    answer,
    half_ns,
    tolerances,
    windows_of,
    wrong_drums,
)
from playalong.grading.verdicts import Rules, Verdict
from playalong.pattern.targets import Targets

#: Later than anything that can be played.
NEVER = 2**62


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """Hits of known order: arrays of m, sorted by time, then voice, then the louder first.

    ``time`` int64 half-nanoseconds; ``voice`` int16, index into ``kit.VOICES``, as it counts in
    the pattern; ``struck`` int16, the same as it was struck, which decides between equals;
    ``number`` int64; ``velocity`` float64.
    """

    time: Ints
    voice: NDArray[np.int16]
    struck: NDArray[np.int16]
    number: Ints
    velocity: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time)

    def __getitem__(self, rows: Ints | NDArray[np.bool_] | slice) -> "Played":
        return Played(
            time=self.time[rows],
            voice=self.voice[rows],
            struck=self.struck[rows],
            number=self.number[rows],
            velocity=self.velocity[rows],
        )

    @classmethod
    def of(cls, rows: Iterable[tuple[int, int, int, int, float]]) -> "Played":
        """Rows of (time, voice, struck, number, velocity) in any order."""
        order = sorted(rows, key=lambda row: (row[0], row[1], -row[4], row[2]))
        columns = zip(*order, strict=True) if order else ((), (), (), (), ())
        time, voice, struck, number, velocity = columns
        return cls(
            time=np.array(time, np.int64),
            voice=np.array(voice, np.int16),
            struck=np.array(struck, np.int16),
            number=np.array(number, np.int64),
            velocity=np.array(velocity, np.float64),
        )

    @classmethod
    def merged(cls, *parts: "Played") -> "Played":
        """All parts as one, in order."""
        some = [part for part in parts if len(part)]
        if len(some) < 2:
            return some[0] if some else parts[0]
        return cls(
            **{
                column.name: np.concatenate([getattr(part, column.name) for part in some])
                for column in fields(cls)
            }
        ).in_order()

    def in_order(self) -> "Played":
        """The same hits, sorted."""
        if bool((self.time[1:] > self.time[:-1]).all()):
            return self
        order = np.argsort(self.time, kind="stable")
        time = self.time[order]
        equal = np.flatnonzero(time[1:] == time[:-1])
        if len(equal):  # the rest is of these alone
            some = np.unique(np.concatenate([equal, equal + 1]))
            own = self[order[some]]
            order[some] = order[some][np.lexsort((own.struck, -own.velocity, own.voice, own.time))]
        return self[order]


class Settler:
    """Settles the verdicts of one run; see the head of this module."""

    def __init__(self, targets: Targets, rules: Rules) -> None:
        self.windows: dict[int, Windows] = windows_of(targets, rules.capture_ms)
        capture = round(rules.capture_ms * HALF_NS_PER_MS)
        #: Hits from here on are judged ...
        self.begin = int(half_ns(np.array(targets.start_s))) - capture
        #: ... up to here: what comes after belongs to the bar that would follow.
        last = max((int(windows.end.max()) + 1 for windows in self.windows.values()), default=0)
        rolls_end = int(half_ns(targets.time_s + targets.roll_s).max(initial=0))
        self.end = max(last, rolls_end, int(half_ns(np.array(targets.end_s))) - capture)
        #: Nothing can be settled until all hits up to this time are known.
        self.due = min((int(windows.end[0]) for windows in self.windows.values()), default=NEVER)

        #: How far from each target a hit is on time.
        self.tolerance = tolerances(targets, rules.tolerance_ms)
        self._targets = targets
        #: Where rolls are, and when each target was answered.
        self.rolls = RollSpans.of(targets, self.windows, rules.capture_ms)
        self._first = np.full(len(targets), NEVER, np.int64)

        #: How many windows of each voice are settled.
        self.settled = dict.fromkeys(self.windows, 0)
        self._open = Played.of(())
        self._missed = Windows.joined(())  # not yet settled as missed or wrong drum
        self._extras = Played.of(())  # hits, not yet settled as extra or wrong drum

    def settle(self, until: int, fresh: Played) -> Verdicts:
        """What is certain now that all hits before ``until`` are known; ``fresh`` are new."""
        hits = Played.merged(self._open, fresh)
        later = np.zeros(len(hits), np.bool_)
        certain = min(until, NEVER)
        parts: list[Verdicts] = []
        missed, extras = [self._missed], [self._extras]
        for voice in sorted({*self.windows, *np.unique(hits.voice).tolist()}):
            rows = np.flatnonzero(hits.voice == voice)
            time = hits.time[rows]
            windows, upto = self._over(voice, until, time)
            certain = min(certain, upto)
            known = int(np.searchsorted(time, upto))
            later[rows[known:]] = True
            own = hits[rows[:known]]
            if not len(own) and not len(windows):
                continue
            found = answer(windows, own.time)
            parts.append(self._answered(windows, own, found.window, grace=found.grace))
            answered = found.hit >= 0
            self._first[windows.target[answered]] = own.time[found.hit[answered]]
            if not answered.all():
                missed.append(windows[~answered & ~self._targets.optional[windows.target]])
            unused = own[found.window < 0]
            roll = self.rolls.for_all(voice, unused.time)
            if (roll >= 0).any():
                parts.append(self._bounced(roll, unused))
                unused = unused[roll < 0]
            if len(unused):
                extras.append(unused[(unused.time >= self.begin) & (unused.time < self.end)])
        self._open = hits[np.flatnonzero(later)]
        if len(missed) > 1:
            self._missed = Windows.joined(missed)
        self._extras = Played.merged(*extras)
        if len(self._missed) or len(self._extras):
            parts.append(self._left_over(certain))
        self._set_due()
        return Verdicts.joined(parts)

    def _over(self, voice: int, until: int, hits: Ints) -> tuple[Windows, int]:
        """The windows of a voice to settle now, and the time before which its hits are."""
        windows = self.windows.get(voice)
        if windows is None:
            return _NO_WINDOWS, until
        done = self.settled[voice]
        over = int(np.searchsorted(windows.end, until, side="left"))
        # A hit exactly between two windows may answer either: settle both together.
        while done < over < len(windows):
            edge = windows.end[over - 1]
            if edge != windows.start[over] or not np.any(hits == edge):
                break
            over -= 1
        over = max(over, done)
        self.settled[voice] = over
        upto = min(until, int(windows.start[over])) if over < len(windows) else until
        return windows[done:over], upto

    def _answered(
        self, windows: Windows, hits: Played, window: Ints, *, grace: NDArray[np.bool_]
    ) -> Verdicts:
        rows = np.flatnonzero(window >= 0)
        own = window[rows]
        target, grace = windows.target[own], grace[rows]
        error = hits.time[rows] - windows.time[own]
        if grace.any():
            mains = np.zeros(len(windows), np.int64)
            mains[own[~grace]] = hits.time[rows[~grace]]
            error[grace] = hits.time[rows[grace]] - mains[own[grace]]
        verdict = in_time(error, self.tolerance[target])
        verdict[grace] = CODE[Verdict.ON_TIME]
        return Verdicts.of(verdict, target, hits.number[rows], error=error, grace=grace)

    def _bounced(self, roll: Ints, hits: Played) -> Verdicts:
        """Hits that go on with a roll whose first stroke was answered, as far as they lie after it;
        of one that was not, nothing is said of them.
        """
        rows = np.flatnonzero(roll >= 0)
        rows = rows[self._first[roll[rows]] < NEVER]
        target = roll[rows]
        return Verdicts.of(
            np.full(len(rows), CODE[Verdict.ON_TIME], np.int8),
            target,
            hits.number[rows],
            error=hits.time[rows] - self._first[target],
            grace=np.ones(len(rows), np.bool_),
        )

    def _left_over(self, certain: int) -> Verdicts:
        """Missed targets and extras of which nothing before ``certain`` is open any more."""
        missed, extras = self._missed, self._extras
        stays, waits = self._waiting(certain)
        self._missed, self._extras = missed[stays], extras[waits]
        missed, extras = missed[~stays], extras[~waits]
        pair = wrong_drums(missed.time, missed.start, missed.end, extras=extras.time)
        wrong = np.flatnonzero(pair >= 0)
        unused = np.ones(len(extras), np.bool_)
        unused[pair[wrong]] = False
        alone, spare = missed.target[pair < 0], extras.number[unused]
        none = np.int64(-1)
        counts = (len(wrong), len(alone), len(spare))
        kinds = (Verdict.WRONG_DRUM, Verdict.MISSED, Verdict.EXTRA)
        return Verdicts.of(
            np.repeat(np.array([CODE[kind] for kind in kinds], np.int8), counts),
            np.concatenate([missed.target[wrong], alone, np.full(len(spare), none)]),
            np.concatenate([extras.number[pair[wrong]], np.full(len(alone), none), spare]),
            error=np.concatenate(
                [
                    extras.time[pair[wrong]] - missed.time[wrong],
                    np.zeros(len(alone) + len(spare), np.int64),
                ]
            ),
        )

    def _waiting(self, certain: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which missed targets and extras may still get a rival, directly or through others."""
        missed, extras = self._missed, self._extras
        low = np.searchsorted(extras.time, missed.start)
        high = np.searchsorted(extras.time, missed.end, side="right")
        stays = missed.end >= certain
        while True:
            # What lies in the window of a target that waits, waits; and so on along the row.
            reached = np.zeros(len(extras) + 1, np.int64)
            np.add.at(reached, low[stays], 1)
            np.add.at(reached, high[stays], -1)
            waits = (np.cumsum(reached)[:-1] > 0) | (extras.time >= certain)
            waiting = np.append(0, np.cumsum(waits))
            more = stays | (waiting[high] > waiting[low])
            if np.array_equal(more, stays):
                return stays, waits
            stays = more

    def expect(self, time: int) -> None:
        """A hit at ``time`` lies in no open window: something may be settled from then on."""
        self.due = min(self.due, time)

    def _set_due(self) -> None:
        """When something can be settled again: a window is over, or a hit before one is known.

        What is left over waits for windows only: it lies before the time that was asked about.
        """
        dues = [NEVER]
        for voice, windows in self.windows.items():
            if self.settled[voice] < len(windows):
                dues.append(int(windows.end[self.settled[voice]]))
        for time, voice in zip(self._open.time.tolist(), self._open.voice.tolist(), strict=True):
            windows, first = self.windows.get(voice, _NO_WINDOWS), self.settled.get(voice, 0)
            if first == len(windows) or time < windows.start[first]:
                dues.append(time)
        self.due = min(dues)


_NO_WINDOWS = Windows.joined(())
