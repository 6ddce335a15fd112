"""The grader: a machine that is fed hits and time, and answers with events.

It knows no clock. ``hit`` answers at once with what the hit looks like now; ``time_passed`` tells
a target missed as soon as its window is over, and a little later says the settled verdict. Live
play, a file, a simulated player and a saved take all get their settled verdicts from the same
``Settler``: live in portions, from a file (``judge``) in one.

A hit outside the run (more than the capture window before bar 1, or beyond the last window and
nearer to the bar that would follow than the capture window), and a hit of a voice that kits
sound by themselves, is not judged.
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from playalong.grading.contrast import Borders
from playalong.grading.matching.assignment import align
from playalong.grading.matching.incremental import NEVER, Played, Settler
from playalong.grading.matching.verdict_table import Verdicts, borders_of, heard, whole
from playalong.grading.matching.windows import (
    FIRST,
    HALF_NS_PER_MS,
    LAST,
    Windows,
    half_ns,
    stroke_times,
)
from playalong.grading.verdicts import HiHat, Rules, Verdict, VerdictEvent
from playalong.midi.hits import Hit, Hits
from playalong.pattern.targets import Targets
from playalong.pattern.voices import STAFF_ORDER, VOICES, folded, is_judged

#: How long after a window is over its settled verdict is said, since hits may come late by cable.
SETTLE_S = 0.15

#: How many hits of a long take are settled at a time: as many as a processor keeps at hand.
PORTION = 1 << 17

#: Loudness is heard anew after so many more answers, and when they have grown so much.
_HEARD, _GROWN = 8, 1.1

_HAT, _OPEN_HAT = STAFF_ORDER["hi-hat"], STAFF_ORDER["hi-hat-open"]
_ROW = np.dtype([("time_s", np.float64), ("voice", np.int16), ("velocity", np.float64)])


def judge(
    targets: Targets, hits: Hits, rules: Rules, *, rows: NDArray[np.int64] | None = None
) -> Verdicts:
    """The settled verdicts on all ``hits`` of a run, or on those in ``rows``; numbers are rows."""
    return judged(targets, hits, rules, rows=rows)[0]


def judged(
    targets: Targets, hits: Hits, rules: Rules, *, rows: NDArray[np.int64] | None = None
) -> tuple[Verdicts, Borders]:
    """The same, and the borders of loudness by which they were judged."""
    counts_as = np.full(len(VOICES), -1, np.int16)
    for code, voice in enumerate(VOICES):
        if is_judged(voice.name, targets.voices):
            counts_as[code] = STAFF_ORDER[folded(voice.name, targets.voices)]
    voices = counts_as[hits.voice]
    numbers = np.arange(len(hits))
    played = Played(
        time=half_ns(hits.time_s),
        voice=voices,
        struck=hits.voice,
        number=numbers,
        velocity=hits.velocity,
    )
    if rows is not None:
        voices, played = voices[rows], played[rows]
    counts = voices >= 0
    played = (played if counts.all() else played[counts]).in_order()
    settler, parts = Settler(targets, rules), []
    for first in range(0, max(len(played), 1), PORTION):
        after = first + PORTION
        until = int(played.time[after]) if after < len(played) else NEVER
        parts.append(settler.settle(until, played[slice(first, after)]))
    return whole(Verdicts.joined(parts), targets, hits, rules=rules)


@dataclass(slots=True, kw_only=True)
class _Line:
    """One voice as it stands: its windows as plain lists, and the hits in those still open.

    ``answers`` holds for each open window its hits (time, number, velocity), sorted;
    ``closed`` how many windows have been called over.
    """

    target: list[int]
    time: list[int]
    start: list[int]
    end: list[int]
    graces: list[int]
    takes: list[int]
    answers: dict[int, list[tuple[int, int, float]]] = field(default_factory=dict)
    closed: int = 0

    @classmethod
    def of(cls, windows: Windows) -> "_Line":
        """The windows of one voice."""
        return cls(
            target=windows.target.tolist(),
            time=windows.time.tolist(),
            start=windows.start.tolist(),
            end=windows.end.tolist(),
            graces=windows.graces.tolist(),
            takes=windows.takes.tolist(),
        )


def _is_rather(line: _Line, window: int, new: int, *, old: int) -> bool:
    """Whether a window takes the hit at ``new`` rather than that at ``old``."""
    takes = line.takes[window]
    if takes == FIRST:
        return new < old
    if takes == LAST:
        return new > old
    return abs(new - line.time[window]) < abs(old - line.time[window])


class _GrowingHits:
    """The hits of a run as arrays that grow."""

    def __init__(self) -> None:
        self._rows = np.zeros(256, _ROW)
        self._count = 0

    def add(self, hit: Hit) -> int:
        """Keep a hit; returns its number."""
        number = self._count
        if number == len(self._rows):
            self._rows = np.concatenate([self._rows, np.zeros(number, _ROW)])
        self._rows[number] = (hit.time_s, STAFF_ORDER[hit.voice], hit.velocity)
        self._count = number + 1
        return number

    def voice(self, number: int) -> int:
        """The voice of a hit, as it was struck."""
        return int(self._rows["voice"][number])

    def hits(self) -> Hits:
        """All of them, by number."""
        rows = self._rows[: self._count]
        return Hits(rows["time_s"], rows["voice"], rows["velocity"])


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
        self._fresh: list[tuple[int, int, int, int, float]] = []
        self._received = _GrowingHits()
        self._tolerance = self._settler.tolerance.tolist()
        #: What was settled, and how it was said; and what of loudness the strokes so far say.
        self._settled: list[Verdicts] = [Verdicts.joined(())]
        self._hear(Borders.none(rules.bands))
        self._answered, self._hear_again = 0, _HEARD
        self._expected = list(zip(targets.voice.tolist(), targets.dynamic.tolist(), strict=True))
        self._is_open = targets.is_open.tolist()
        self._next_over = min((line.end[0] for line in self._lines.values()), default=NEVER)

    def hit(self, hit: Hit) -> list[VerdictEvent]:
        """What this hit looks like now, and which earlier verdicts it changes; [] if not judged."""
        number = self._received.add(hit)
        time = 2 * round(hit.time_s * 1e9)
        code = self._codes.get(hit.voice)
        if code is None or not self._settler.begin <= time < self._settler.end:
            return []
        self._fresh.append((time, code, STAFF_ORDER[hit.voice], number, hit.velocity))
        line = self._lines.get(code)
        window = bisect_right(line.start, time) - 1 if line else -1
        too_late = line is not None and window < self._settler.settled[code]
        if line is None or window < 0 or time > line.end[window] or too_late:
            self._settler.expect(time)
            return [self._spare(code, (time, number, hit.velocity))]
        return self._in_window(line, window, (time, number, hit.velocity))

    def time_passed(self, now_s: float) -> list[VerdictEvent]:
        """What has become certain; ``now_s`` is the time now, on the clock of the targets."""
        events = self._over(2 * round(now_s * 1e9))
        until = 2 * round((now_s - SETTLE_S) * 1e9)
        if self._settler.due < until:
            events += self._settle(until).events()
        return events

    def finish(self) -> list[VerdictEvent]:
        """The run is over, no hit will come: all that is left, and what is now said otherwise."""
        left = len(self._settle(NEVER))
        said = Verdicts.joined(self._settled)
        final, _ = whole(said, self._targets, self._received.hits(), rules=self._rules)
        changed = final.differs(said)
        changed[len(said) - left :] = True
        return final[changed].events()

    def _spare(self, code: int, hit: tuple[int, int, float]) -> VerdictEvent:
        """A hit that answers nothing: it goes on with a roll, or is extra."""
        time, number, _ = hit
        roll = self._settler.rolls.of_one(code, time)
        if roll < 0:
            return VerdictEvent(verdict=Verdict.EXTRA, target=None, hit=number)
        error_ms = (time - int(self._settler.rolls.time[roll])) / HALF_NS_PER_MS
        return VerdictEvent(
            verdict=Verdict.ON_TIME, target=roll, hit=number, error_ms=error_ms, grace=True
        )

    def _in_window(
        self, line: _Line, window: int, new: tuple[int, int, float]
    ) -> list[VerdictEvent]:
        hits = line.answers.get(window, [])
        if window >= line.closed:  # nobody forgets what comes after the window was called over
            line.answers[window] = hits
        target, graces = line.target[window], line.graces[window]
        if not graces:
            # Keep the one that answers only: nothing can bring back one that did not.
            middle, code = line.time[window], int(self._targets.voice[target])
            if hits and not _is_rather(line, window, new[0], old=hits[0][0]):
                return [self._spare(code, new)]
            events = [self._spare(code, hits[0])] if hits else []
            hits[:] = [new]
            return [*events, self._answer(target, middle, new)]
        hits.insert(bisect_left(hits, new), new)
        strokes = [
            (time, line.start[window], line.end[window])
            for time in stroke_times(line.time[window], graces)
        ]
        chosen = align(strokes, [hit[0] for hit in hits])
        played = [hits[choice] for choice in chosen if choice is not None]
        main = played[-1]
        events = [
            VerdictEvent(verdict=Verdict.EXTRA, target=None, hit=hit[1])
            for hit in hits
            if hit not in played
        ]
        for grace in played[:-1]:
            distance_ms = (grace[0] - main[0]) / HALF_NS_PER_MS
            events.append(
                VerdictEvent(
                    verdict=Verdict.ON_TIME,
                    target=target,
                    hit=grace[1],
                    error_ms=distance_ms,
                    grace=True,
                )
            )
        return [*events, self._answer(target, line.time[window], main)]

    def _answer(self, target: int, time: int, hit: tuple[int, int, float]) -> VerdictEvent:
        error, tolerance = hit[0] - time, self._tolerance[target]
        verdict = Verdict.ON_TIME
        if not -tolerance <= error <= tolerance:
            verdict = Verdict.EARLY if error < 0 else Verdict.LATE
        voice, dynamic = self._expected[target]
        band, hi_hat = self._bands[voice][dynamic], None
        if voice == _HAT:
            opened, played = self._is_open[target], self._received.voice(hit[1])
            hi_hat = HiHat.NOT_OPEN if opened and played == _HAT else HiHat.RIGHT
            if not opened and played == _OPEN_HAT:
                hi_hat = HiHat.NOT_CLOSED
        return VerdictEvent(
            verdict=verdict,
            target=target,
            hit=hit[1],
            error_ms=error / HALF_NS_PER_MS,
            loudness=band.judge(hit[2]),
            hi_hat=hi_hat,
        )

    def _over(self, now: int) -> list[VerdictEvent]:
        """Windows that are over: tell the missed ones, and forget their hits."""
        events: list[VerdictEvent] = []
        if now <= self._next_over:
            return events
        for line in self._lines.values():
            while line.closed < len(line.end) and line.end[line.closed] < now:
                target = line.target[line.closed]
                answered = line.answers.pop(line.closed, None)
                if not answered and not self._targets.optional[target]:
                    events.append(VerdictEvent(verdict=Verdict.MISSED, target=target, hit=None))
                line.closed += 1
        self._next_over = min(
            (line.end[line.closed] for line in self._lines.values() if line.closed < len(line.end)),
            default=NEVER,
        )
        return events

    def _settle(self, until: int) -> Verdicts:
        fresh, self._fresh = Played.of(self._fresh), []
        part = self._settler.settle(until, fresh)
        if not len(part):
            return part
        hits = self._received.hits()
        part = heard(part, self._targets, hits, borders=self._borders)
        self._settled.append(part)
        self._answered += len(part.mains)
        if self._answered >= self._hear_again:
            self._settled = [Verdicts.joined(self._settled)]
            self._hear(borders_of(self._settled[0], self._targets, hits, rules=self._rules))
            self._hear_again = max(self._answered + _HEARD, round(self._answered * _GROWN))
        return part

    def _hear(self, borders: Borders) -> None:
        """From here on loudness is heard against ``borders``."""
        self._borders, self._bands = borders, borders.bands()
