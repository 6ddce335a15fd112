"""Settled words: what nothing that may still come can change.

``Settler`` is given hits as they come, in any portions, and a time up to which all hits are
known. It settles every window that is over, and every wrong drum whose rivals are all settled,
and keeps the rest. Given everything at once it settles everything in one step; in portions it
gives the same words, since a window or a group of rivals is only ever settled whole.
"""

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from playalong.grading.loudness import LOUDNESSES, Loudness
from playalong.grading.matching.windows import (
    HALF_NS_PER_MS,
    Ints,
    Windows,
    answer,
    half_ns,
    windows_of,
    wrong_drums,
)
from playalong.grading.verdicts import MATCHED, VERDICTS, Rules, Verdict, VerdictEvent
from playalong.midi.hits import Hits
from playalong.pattern.targets import DYNAMICS, Targets
from playalong.pattern.voices import VOICES

#: Later than anything that can be played.
NEVER = 2**62

_CODE = {verdict: code for code, verdict in enumerate(VERDICTS)}
_FITS = {loudness: code for code, loudness in enumerate(LOUDNESSES)}
_ANSWERED = tuple(_CODE[verdict] for verdict in MATCHED)


def in_time(error: Ints, tolerance: int) -> NDArray[np.int8]:
    """The verdict on hits that answer their targets, from their errors in half-nanoseconds."""
    verdict = np.full(len(error), _CODE[Verdict.ON_TIME], np.int8)
    verdict[error < -tolerance] = _CODE[Verdict.EARLY]
    verdict[error > tolerance] = _CODE[Verdict.LATE]
    return verdict


def fit(
    targets: Targets, rules: Rules, target: Ints, velocity: NDArray[np.float64]
) -> NDArray[np.int8]:
    """How the loudness of hits fits their targets, as indexes into ``LOUDNESSES``; all (k,)."""
    asked = [[rules.bands.of(voice.name, dynamic) for dynamic in DYNAMICS] for voice in VOICES]
    low = np.array([[band.low for band in row] for row in asked])
    high = np.array([[band.high for band in row] for row in asked])
    voice, dynamic = targets.voice[target], targets.dynamic[target]
    found = np.full(len(target), _FITS[Loudness.RIGHT], np.int8)
    found[velocity < low[voice, dynamic]] = _FITS[Loudness.TOO_SOFT]
    found[velocity > high[voice, dynamic]] = _FITS[Loudness.TOO_LOUD]
    return found


@dataclass(frozen=True, slots=True)
class Verdicts:
    """Settled words as a table; each array has one row for each word.

    ``verdict`` int8, index into ``VERDICTS``; ``target``, ``hit`` int64, their numbers, -1 for
    none; ``error`` int64, hit less target in half-nanoseconds, 0 without a pair (of a grace
    stroke: less its main stroke); ``grace`` bool; ``loudness`` int8, index into ``LOUDNESSES``,
    -1 where nothing is asked.
    """

    verdict: NDArray[np.int8]
    target: Ints
    hit: Ints
    error: Ints
    grace: NDArray[np.bool_]
    loudness: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.verdict)

    @property
    def error_ms(self) -> NDArray[np.float64]:
        """Errors in milliseconds, positive is late."""
        return self.error / HALF_NS_PER_MS

    def words(self) -> list[VerdictEvent]:
        """The rows as words."""
        columns = (getattr(self, column.name).tolist() for column in fields(self))
        return [
            VerdictEvent(
                VERDICTS[verdict],
                target if target >= 0 else None,
                hit if hit >= 0 else None,
                error / HALF_NS_PER_MS if target >= 0 and hit >= 0 else None,
                LOUDNESSES[loudness] if loudness >= 0 else None,
                grace,
                settled=True,
            )
            for verdict, target, hit, error, grace, loudness in zip(*columns, strict=True)
        ]

    def judged_anew(self, targets: Targets, hits: Hits, rules: Rules) -> "Verdicts":
        """The same answers, held, with ``hits`` played otherwise: at other times, or levels.

        ``hits`` keep their numbers, and need not be in order.
        """
        error, main = np.zeros(len(self), np.int64), np.full(len(targets), -1, np.int64)
        both = np.flatnonzero((self.target >= 0) & (self.hit >= 0))
        time, own = half_ns(hits.time_s), both[~self.grace[both]]
        main[self.target[own]] = self.hit[own]
        error[own] = time[self.hit[own]] - half_ns(targets.time_s)[self.target[own]]
        graces = both[self.grace[both]]
        error[graces] = time[self.hit[graces]] - time[main[self.target[graces]]]
        verdict, loudness = self.verdict.copy(), self.loudness.copy()
        own = own[np.isin(self.verdict[own], _ANSWERED)]
        verdict[own] = in_time(error[own], round(rules.tolerance_ms * HALF_NS_PER_MS))
        loudness[own] = fit(targets, rules, self.target[own], hits.velocity[self.hit[own]])
        return replace(self, verdict=verdict, error=error, loudness=loudness)

    def without(self, targets: Targets, removed: NDArray[np.bool_]) -> "Verdicts":
        """These, had the hits ``removed`` (m,) not been played: what they answered is missed.

        Grace strokes of a main stroke that is gone have gone with it.
        """
        gone = (self.hit >= 0) & removed[self.hit]
        unanswered = np.zeros(len(targets), np.bool_)
        unanswered[self.target[gone & ~self.grace & (self.target >= 0)]] = True
        lost = gone & ~self.grace & (self.target >= 0)
        lost[lost] = ~targets.optional[self.target[lost]]
        gone |= self.grace & unanswered[self.target]
        changed = replace(
            self,
            verdict=np.where(lost, np.int8(_CODE[Verdict.MISSED]), self.verdict),
            hit=np.where(lost, np.int64(-1), self.hit),
            error=np.where(lost, np.int64(0), self.error),
            loudness=np.where(lost, np.int8(-1), self.loudness),
        )
        return changed[lost | ~gone]

    def __getitem__(self, rows: Ints | NDArray[np.bool_]) -> "Verdicts":
        return Verdicts(*(getattr(self, column.name)[rows] for column in fields(self)))

    @classmethod
    def joined(cls, parts: "list[Verdicts]") -> "Verdicts":
        """The rows of all parts, one after the other."""
        return cls(
            *(
                np.concatenate([getattr(part, column.name) for part in parts])
                for column in fields(cls)
            )
        )


@dataclass(frozen=True, slots=True)
class Played:
    """Hits of known order: arrays of m, sorted by time, then voice, then the louder first.

    ``time`` int64 half-nanoseconds; ``voice`` int16, index into ``kit.VOICES``, as it counts in
    the pattern; ``number`` int64; ``velocity`` float64.
    """

    time: Ints
    voice: NDArray[np.int16]
    number: Ints
    velocity: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time)

    def __getitem__(self, rows: Ints | NDArray[np.bool_] | slice) -> "Played":
        return Played(self.time[rows], self.voice[rows], self.number[rows], self.velocity[rows])

    @classmethod
    def of(cls, rows: Iterable[tuple[int, int, int, float]]) -> "Played":
        """Rows of (time, voice, number, velocity) in any order."""
        order = sorted(rows, key=lambda row: (row[0], row[1], -row[3]))
        time, voice, number, velocity = zip(*order, strict=True) if order else ((), (), (), ())
        return cls(
            np.array(time, np.int64),
            np.array(voice, np.int16),
            np.array(number, np.int64),
            np.array(velocity, np.float64),
        )

    @classmethod
    def merged(cls, *parts: "Played") -> "Played":
        """All parts as one, in order."""
        some = [part for part in parts if len(part)]
        if len(some) < 2:
            return some[0] if some else parts[0]
        return cls(
            *(np.concatenate([getattr(p, column.name) for p in some]) for column in fields(cls))
        ).in_order()

    def in_order(self) -> "Played":
        """The same hits, sorted."""
        if bool((self.time[1:] > self.time[:-1]).all()):
            return self
        return self[np.lexsort((-self.velocity, self.voice, self.time))]


class Settler:
    """Settles the words of one run; see the head of this module."""

    def __init__(self, targets: Targets, rules: Rules) -> None:
        self.windows: dict[int, Windows] = windows_of(targets, rules.capture_ms)
        capture = round(rules.capture_ms * HALF_NS_PER_MS)
        #: Hits from here on are judged ...
        self.begin = int(half_ns(np.array(targets.start_s))) - capture
        #: ... up to here: what comes after belongs to the bar that would follow.
        last = max((int(windows.end.max()) + 1 for windows in self.windows.values()), default=0)
        self.end = max(last, int(half_ns(np.array(targets.end_s))) - capture)
        #: Nothing can be settled until all hits up to this time are known.
        self.due = min((int(windows.end[0]) for windows in self.windows.values()), default=NEVER)

        self._tolerance = round(rules.tolerance_ms * HALF_NS_PER_MS)
        self._targets, self._rules = targets, rules

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
            parts.append(self._answered(windows, own, found.window, found.grace))
            unanswered = windows[found.hit < 0]
            missed.append(unanswered[~self._targets.optional[unanswered.target]])
            unused = own[found.window < 0]
            extras.append(unused[(unused.time >= self.begin) & (unused.time < self.end)])
        self._open = hits[np.flatnonzero(later)]
        self._missed = Windows.joined(missed)
        self._extras = Played.merged(*extras)
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
        self, windows: Windows, hits: Played, window: Ints, grace: NDArray[np.bool_]
    ) -> Verdicts:
        rows = np.flatnonzero(window >= 0)
        own = window[rows]
        target, velocity, grace = windows.target[own], hits.velocity[rows], grace[rows]
        error = hits.time[rows] - windows.time[own]
        if grace.any():
            mains = np.zeros(len(windows), np.int64)
            mains[own[~grace]] = hits.time[rows[~grace]]
            error[grace] = hits.time[rows[grace]] - mains[own[grace]]
        verdict = in_time(error, self._tolerance)
        verdict[grace] = _CODE[Verdict.ON_TIME]
        return Verdicts(
            verdict,
            target,
            hits.number[rows],
            error,
            grace,
            np.where(grace, np.int8(-1), fit(self._targets, self._rules, target, velocity)),
        )

    def _left_over(self, certain: int) -> Verdicts:
        """Missed targets and extras of which nothing before ``certain`` is open any more."""
        missed, extras = self._missed, self._extras
        stays, waits = self._waiting(certain)
        self._missed, self._extras = missed[stays], extras[waits]
        missed, extras = missed[~stays], extras[~waits]
        pair = wrong_drums(missed.time, missed.start, missed.end, extras.time)
        wrong = np.flatnonzero(pair >= 0)
        unused = np.ones(len(extras), np.bool_)
        unused[pair[wrong]] = False
        alone, spare = missed.target[pair < 0], extras.number[unused]
        none = np.int64(-1)
        counts = (len(wrong), len(alone), len(spare))
        kinds = (Verdict.WRONG_DRUM, Verdict.MISSED, Verdict.EXTRA)
        total = sum(counts)
        return Verdicts(
            np.repeat(np.array([_CODE[kind] for kind in kinds], np.int8), counts),
            np.concatenate([missed.target[wrong], alone, np.full(len(spare), none)]),
            np.concatenate([extras.number[pair[wrong]], np.full(len(alone), none), spare]),
            np.concatenate(
                [
                    extras.time[pair[wrong]] - missed.time[wrong],
                    np.zeros(len(alone) + len(spare), np.int64),
                ]
            ),
            np.zeros(total, np.bool_),
            np.full(total, -1, np.int8),
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
