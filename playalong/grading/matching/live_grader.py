"""The grader: a machine that is fed hits and time, and answers with words.

It knows no clock. ``hit`` answers at once with what the hit looks like now; ``time_passed`` tells
a target missed as soon as its window is over, and a little later says the settled word. Live
play, a file, a simulated player and a kept take all get their settled words from the same
``Settler``: live in portions, from a file (``judge``) in one.

A hit outside the run (more than the capture window before bar 1, or beyond the last window and
nearer to the bar that would follow than the capture window), and a hit of a voice that kits
sound by themselves, is not judged.
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from playalong.grading.matching.assignment import align
from playalong.grading.matching.incremental import NEVER, Played, Settler, Verdicts
from playalong.grading.matching.windows import HALF_NS_PER_MS, Windows, half_ns, stroke_times
from playalong.grading.verdicts import Rules, Verdict, VerdictEvent
from playalong.midi.hits import Hit, Hits
from playalong.pattern.targets import DYNAMICS, Targets
from playalong.pattern.voices import STAFF_ORDER, VOICES, folded, is_judged

#: How long after a window is over its settled word is said, since hits may come late by cable.
SETTLE_S = 0.15

#: How many hits of a long take are settled at a time: as many as a processor keeps at hand.
PORTION = 1 << 17


def judge(
    targets: Targets, hits: Hits, rules: Rules, rows: NDArray[np.int64] | None = None
) -> Verdicts:
    """The settled words on all ``hits`` of a run, or on those in ``rows``; numbers are rows."""
    counts_as = np.full(len(VOICES), -1, np.int16)
    for code, voice in enumerate(VOICES):
        if is_judged(voice.name, targets.voices):
            counts_as[code] = STAFF_ORDER[folded(voice.name, targets.voices)]
    voices = counts_as[hits.voice]
    played = Played(half_ns(hits.time_s), voices, np.arange(len(hits)), hits.velocity)
    if rows is not None:
        voices, played = voices[rows], played[rows]
    judged = voices >= 0
    played = (played if judged.all() else played[judged]).in_order()
    settler, parts = Settler(targets, rules), []
    for first in range(0, max(len(played), 1), PORTION):
        after = first + PORTION
        until = int(played.time[after]) if after < len(played) else NEVER
        parts.append(settler.settle(until, played[slice(first, after)]))
    return Verdicts.joined(parts)


@dataclass(slots=True)
class _Line:
    """One voice as it stands: its windows as plain lists, and the hits in those still open.

    ``answers`` holds for each open window its hits (time, number, velocity), sorted;
    ``told`` how many windows have been told to be over.
    """

    target: list[int]
    time: list[int]
    start: list[int]
    end: list[int]
    graces: list[int]
    answers: dict[int, list[tuple[int, int, float]]] = field(default_factory=dict)
    told: int = 0

    @classmethod
    def of(cls, windows: Windows) -> "_Line":
        """The windows of one voice."""
        columns = (windows.target, windows.time, windows.start, windows.end, windows.graces)
        return cls(*(column.tolist() for column in columns))


class Grader:
    """The live grader of one run. Hits are numbered 0, 1, 2 ... as they are fed."""

    def __init__(self, targets: Targets, rules: Rules) -> None:
        self._targets, self._rules = targets, rules
        self._settler = Settler(targets, rules)
        self._lines = {voice: _Line.of(own) for voice, own in self._settler.windows.items()}
        self._codes = {
            voice.name: STAFF_ORDER[folded(voice.name, targets.voices)]
            for voice in VOICES
            if is_judged(voice.name, targets.voices)
        }
        self._fresh: list[tuple[int, int, int, float]] = []
        self._count = 0
        self._next_over = min((line.end[0] for line in self._lines.values()), default=NEVER)

    def hit(self, hit: Hit) -> list[VerdictEvent]:
        """What this hit looks like now, and which earlier words it changes; [] if not judged."""
        number = self._count
        self._count += 1
        time = 2 * round(hit.time_s * 1e9)
        code = self._codes.get(hit.voice)
        if code is None or not self._settler.begin <= time < self._settler.end:
            return []
        self._fresh.append((time, code, number, hit.velocity))
        line = self._lines.get(code)
        window = bisect_right(line.start, time) - 1 if line else -1
        too_late = line is not None and window < self._settler.settled[code]
        if line is None or window < 0 or time > line.end[window] or too_late:
            self._settler.expect(time)
            return [VerdictEvent(Verdict.EXTRA, None, number)]
        return self._in_window(line, window, (time, number, hit.velocity))

    def time_passed(self, now_s: float) -> list[VerdictEvent]:
        """What has become certain; ``now_s`` is the time now, on the clock of the targets."""
        words = self._over(2 * round(now_s * 1e9))
        until = 2 * round((now_s - SETTLE_S) * 1e9)
        if self._settler.due < until:
            words += self._settle(until)
        return words

    def finish(self) -> list[VerdictEvent]:
        """The run is over, no hit will come: all that is left."""
        return self._settle(NEVER)

    def _in_window(
        self, line: _Line, window: int, new: tuple[int, int, float]
    ) -> list[VerdictEvent]:
        hits = line.answers.get(window, [])
        if window >= line.told:  # nobody forgets what comes after the window was called over
            line.answers[window] = hits
        target, graces = line.target[window], line.graces[window]
        if not graces:
            # Keep the nearest only: nothing can bring back one that was farther.
            middle = line.time[window]
            if hits and abs(hits[0][0] - middle) <= abs(new[0] - middle):
                return [VerdictEvent(Verdict.EXTRA, None, new[1])]
            words = [VerdictEvent(Verdict.EXTRA, None, hits[0][1])] if hits else []
            hits[:] = [new]
            return [*words, self._answer(target, middle, new)]
        hits.insert(bisect_left(hits, new), new)
        strokes = [
            (time, line.start[window], line.end[window])
            for time in stroke_times(line.time[window], graces)
        ]
        chosen = align(strokes, [hit[0] for hit in hits])
        played = [hits[choice] for choice in chosen if choice is not None]
        main = played[-1]
        words = [VerdictEvent(Verdict.EXTRA, None, hit[1]) for hit in hits if hit not in played]
        for grace in played[:-1]:
            distance_ms = (grace[0] - main[0]) / HALF_NS_PER_MS
            words.append(VerdictEvent(Verdict.ON_TIME, target, grace[1], distance_ms, grace=True))
        return [*words, self._answer(target, line.time[window], main)]

    def _answer(self, target: int, time: int, hit: tuple[int, int, float]) -> VerdictEvent:
        error_ms = (hit[0] - time) / HALF_NS_PER_MS
        if abs(error_ms) <= self._rules.tolerance_ms:
            verdict = Verdict.ON_TIME
        else:
            verdict = Verdict.EARLY if error_ms < 0 else Verdict.LATE
        voice = VOICES[self._targets.voice[target]].name
        band = self._rules.bands.of(voice, DYNAMICS[self._targets.dynamic[target]])
        return VerdictEvent(verdict, target, hit[1], error_ms, band.judge(hit[2]))

    def _over(self, now: int) -> list[VerdictEvent]:
        """Windows that are over: tell the missed ones, and forget their hits."""
        words: list[VerdictEvent] = []
        if now <= self._next_over:
            return words
        for line in self._lines.values():
            while line.told < len(line.end) and line.end[line.told] < now:
                target = line.target[line.told]
                answered = line.answers.pop(line.told, None)
                if not answered and not self._targets.optional[target]:
                    words.append(VerdictEvent(Verdict.MISSED, target, None))
                line.told += 1
        self._next_over = min(
            (line.end[line.told] for line in self._lines.values() if line.told < len(line.end)),
            default=NEVER,
        )
        return words

    def _settle(self, until: int) -> list[VerdictEvent]:
        fresh, self._fresh = Played.of(self._fresh), []
        return self._settler.settle(until, fresh).words()
