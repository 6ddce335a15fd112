"""The verdicts of a run as a table, and what only the strokes of the whole run can tell.

``Settler`` gives the rows: who answers whom, and how well in time. ``heard`` adds to each of them
its loudness against the borders that the player's own strokes draw, the hi-hat, and the grace
strokes. Over a whole run these borders are those of all answered strokes, and a drag that was
played so wide that its strokes fell out of the window is found again (``whole``).
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from playalong.grading.contrast import Borders
from playalong.grading.graces import ORNAMENTS, Graced, graced
from playalong.grading.loudness import LOUDNESSES
from playalong.grading.matching.rolls import Rolled, Strokes, rolled, with_rolls
from playalong.grading.matching.windows import HALF_NS_PER_MS, HALF_NS_PER_S, Ints, half_ns
from playalong.grading.verdicts import (
    HI_HATS,
    MATCHED,
    VERDICTS,
    HiHat,
    Rules,
    Verdict,
    VerdictEvent,
)
from playalong.midi.hits import Hits
from playalong.pattern.targets import Targets
from playalong.pattern.voices import STAFF_ORDER

CODE = {verdict: code for code, verdict in enumerate(VERDICTS)}
#: By code whether a hit answers its target; the last one is -1, no verdict.
_ANSWERS = np.array([*(verdict in MATCHED for verdict in VERDICTS), False])
_OPEN, _CLOSED = STAFF_ORDER["hi-hat-open"], STAFF_ORDER["hi-hat"]
_RIGHT, _NOT_OPEN, _NOT_CLOSED = (HI_HATS.index(hi_hat) for hi_hat in HiHat)

#: How far before its main stroke a grace stroke is looked for, in 32nd notes a stroke, and at
#: least so far.
_WIDEST, _WIDEST_MS = 1.25, 130


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdicts:
    """Verdicts as a table; each array has one row for each event.

    ``verdict`` int8, index into ``VERDICTS``; ``target``, ``hit`` int64, their numbers, -1 for
    none; ``error`` int64, hit less target in half-nanoseconds, 0 without a pair (of a grace
    stroke: less its main stroke); ``grace`` bool; ``loudness``, ``hi_hat`` and ``ornament`` int8,
    indexes into ``LOUDNESSES``, ``HI_HATS`` and ``ORNAMENTS``, -1 where nothing is asked.
    """

    verdict: NDArray[np.int8]
    target: Ints
    hit: Ints
    error: Ints
    grace: NDArray[np.bool_]
    loudness: NDArray[np.int8]
    hi_hat: NDArray[np.int8]
    ornament: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.verdict)

    def __getitem__(self, rows: Ints | NDArray[np.bool_]) -> "Verdicts":
        return Verdicts(
            **{column.name: getattr(self, column.name)[rows] for column in fields(self)}
        )

    @classmethod
    def of(
        cls,
        verdict: NDArray[np.int8],
        target: Ints,
        hit: Ints,
        *,
        error: Ints,
        grace: NDArray[np.bool_] | None = None,
    ) -> "Verdicts":
        """Rows of which nothing is known yet but who answers whom; ``grace`` is False for all."""
        n = len(verdict)
        unknown = np.full(n, -1, np.int8)
        graces = np.zeros(n, np.bool_) if grace is None else grace
        return cls(
            verdict=verdict,
            target=target,
            hit=hit,
            error=error,
            grace=graces,
            loudness=unknown,
            hi_hat=unknown,
            ornament=unknown,
        )

    @classmethod
    def joined(cls, parts: "Sequence[Verdicts]") -> "Verdicts":
        """The rows of all parts, one after the other; of no parts, no rows."""
        if not parts:
            none = np.empty(0, np.int64)
            return cls.of(none.astype(np.int8), none, none, error=none)
        return cls(
            **{
                column.name: np.concatenate([getattr(part, column.name) for part in parts])
                for column in fields(cls)
            }
        )

    @property
    def error_ms(self) -> NDArray[np.float64]:
        """Errors in milliseconds, positive is late."""
        return self.error / HALF_NS_PER_MS

    @property
    def mains(self) -> Ints:
        """The rows of hits that answer their targets, grace strokes left out."""
        return np.flatnonzero(~self.grace & _ANSWERS[self.verdict])

    def events(self) -> list[VerdictEvent]:
        """The rows as events."""
        columns = (getattr(self, column.name).tolist() for column in fields(self))
        return [
            VerdictEvent(
                verdict=VERDICTS[verdict],
                target=target if target >= 0 else None,
                hit=hit if hit >= 0 else None,
                error_ms=error / HALF_NS_PER_MS if target >= 0 and hit >= 0 else None,
                loudness=LOUDNESSES[loudness] if loudness >= 0 else None,
                grace=grace,
                settled=True,
                hi_hat=HI_HATS[hi_hat] if hi_hat >= 0 else None,
                ornament=ORNAMENTS[ornament] if ornament >= 0 else None,
            )
            for verdict, target, hit, error, grace, loudness, hi_hat, ornament in zip(
                *columns, strict=True
            )
        ]

    def differs(self, other: "Verdicts") -> NDArray[np.bool_]:
        """Which rows say something else than the same rows of ``other``."""
        unlike = np.zeros(len(self), np.bool_)
        for column in fields(self):
            unlike |= getattr(self, column.name) != getattr(other, column.name)
        return unlike

    def without(self, targets: Targets, removed: NDArray[np.bool_]) -> "Verdicts":
        """These, had the hits ``removed`` (m,) not been played: what they answered is missed.

        Grace strokes of a main stroke that is gone have gone with it.
        """
        gone = (self.hit >= 0) & removed[self.hit]
        lost = gone & ~self.grace & (self.target >= 0)
        unanswered = np.zeros(len(targets), np.bool_)
        unanswered[self.target[lost]] = True
        gone |= self.grace & unanswered[self.target]
        lost[lost] = ~targets.optional[self.target[lost]]
        unknown = np.int8(-1)
        changed = Verdicts(
            verdict=np.where(lost, np.int8(CODE[Verdict.MISSED]), self.verdict),
            target=self.target,
            hit=np.where(lost, np.int64(-1), self.hit),
            error=np.where(lost, np.int64(0), self.error),
            grace=self.grace,
            loudness=np.where(lost, unknown, self.loudness),
            hi_hat=np.where(lost, unknown, self.hi_hat),
            ornament=np.where(lost, unknown, self.ornament),
        )
        return changed[lost | ~gone]

    def timed(self, targets: Targets, hits: Hits, tolerance: Ints) -> "Verdicts":
        """The same answers, held, with ``hits`` at other times; they need not be in order.

        ``tolerance`` (n,) is that of each target, in half-nanoseconds.
        """
        time, main = half_ns(hits.time_s), np.full(len(targets), -1, np.int64)
        both = np.flatnonzero((self.target >= 0) & (self.hit >= 0))
        own, graces = both[~self.grace[both]], both[self.grace[both]]
        main[self.target[own]] = self.hit[own]
        error, verdict = self.error.copy(), self.verdict.copy()
        error[own] = time[self.hit[own]] - half_ns(targets.time_s)[self.target[own]]
        error[graces] = time[self.hit[graces]] - time[main[self.target[graces]]]
        mains = self.mains
        verdict[mains] = in_time(error[mains], tolerance[self.target[mains]])
        return replace(self, verdict=verdict, error=error)


def in_time(error: Ints, tolerance: Ints) -> NDArray[np.int8]:
    """The verdict on hits that answer their targets; half-nanoseconds, (k,) each."""
    verdict = np.full(len(error), CODE[Verdict.ON_TIME], np.int8)
    verdict[error < -tolerance] = CODE[Verdict.EARLY]
    verdict[error > tolerance] = CODE[Verdict.LATE]
    return verdict


def whole(
    verdicts: Verdicts, targets: Targets, hits: Hits, *, rules: Rules
) -> tuple[Verdicts, Borders]:
    """The verdicts of a whole run: the same rows with all that can be said of them, and the borders
    of loudness by which it is said.
    """
    found = with_wide_graces(verdicts, targets, hits)
    borders = borders_of(found, targets, hits, rules=rules)
    return heard(found, targets, hits, borders=borders), borders


def borders_of(verdicts: Verdicts, targets: Targets, hits: Hits, *, rules: Rules) -> Borders:
    """The borders of loudness that the answered strokes draw."""
    rows = verdicts.mains
    target = verdicts.target[rows]
    return Borders.of(
        targets.voice[target],
        targets.dynamic[target],
        hits.velocity[verdicts.hit[rows]],
        bands=rules.bands,
    )


def heard(verdicts: Verdicts, targets: Targets, hits: Hits, *, borders: Borders) -> Verdicts:
    """The same rows with loudness, hi-hat and ornaments, as ``borders`` have it."""
    rows = verdicts.mains
    target, hit = verdicts.target[rows], verdicts.hit[rows]
    voice, velocity = targets.voice[target], hits.velocity[hit]
    loudness, hi_hat, ornament = (np.full(len(verdicts), -1, np.int8) for _ in range(3))
    loudness[rows] = borders.verdicts(voice, targets.dynamic[target], velocity)

    on_hat = np.flatnonzero(voice == _CLOSED)
    is_open, played = targets.is_open[target[on_hat]], hits.voice[hit[on_hat]]
    said = np.full(len(on_hat), _RIGHT, np.int8)
    said[is_open & (played == _CLOSED)] = _NOT_OPEN
    said[~is_open & (played == _OPEN)] = _NOT_CLOSED
    hi_hat[rows[on_hat]] = said

    if targets.has_ornaments:
        found = ornamented(verdicts, targets, hits, rows=rows)[0]
        ornament[rows[found.row]] = found.ornament
    return replace(verdicts, loudness=loudness, hi_hat=hi_hat, ornament=ornament)


def ornamented(
    verdicts: Verdicts, targets: Targets, hits: Hits, *, rows: Ints
) -> tuple[Graced, Rolled]:
    """How flams, drags and rolls were played, and the rolls alone; ``rows`` (k,) are those of the
    answered targets.
    """
    beside = np.flatnonzero(verdicts.grace)
    rolls = targets.rolls[verdicts.target[beside]] >= 0
    graces, bounces = beside[~rolls], beside[rolls]
    target, error_ms = verdicts.target[rows], verdicts.error_ms
    velocity = hits.velocity[verdicts.hit[rows]]
    found = graced(
        targets,
        target,
        velocity,
        grace_target=verdicts.target[graces],
        grace_ms=error_ms[graces],
        grace_velocity=hits.velocity[verdicts.hit[graces]],
    )
    main_ms = np.zeros(len(targets))
    main_ms[target] = error_ms[rows]
    own = verdicts.target[bounces]
    played = rolled(
        targets,
        Strokes(target, error_ms[rows], velocity),
        Strokes(own, error_ms[bounces] + main_ms[own], hits.velocity[verdicts.hit[bounces]]),
    )
    return with_rolls(found, played), played


def with_wide_graces(verdicts: Verdicts, targets: Targets, hits: Hits) -> Verdicts:
    """The same rows; extra hits just before a main stroke that lacks grace strokes are these.

    They are looked for as far ahead as written 32nd notes would lie, and some way more.
    """
    if not targets.graces.any():
        return verdicts
    mains, graces = verdicts.mains, np.flatnonzero(verdicts.grace)
    own = verdicts.target[mains]
    there = np.bincount(verdicts.target[graces], minlength=len(targets))
    lacks = targets.graces[own] - there[own]
    extras = np.flatnonzero(verdicts.verdict == CODE[Verdict.EXTRA])
    if not lacks.any() or not len(extras):
        return verdicts
    time = half_ns(hits.time_s)
    extras = extras[np.argsort(time[verdicts.hit[extras]], kind="stable")]
    voice = targets.counts_as[hits.voice[verdicts.hit[extras]]]
    by_voice = {code: extras[voice == code] for code in np.unique(voice).tolist()}
    widest = round(_WIDEST * targets.seconds_per_whole / 32.0 * HALF_NS_PER_S)
    reach = max(widest, _WIDEST_MS * HALF_NS_PER_MS)
    verdict, target = verdicts.verdict.copy(), verdicts.target.copy()
    error, grace = verdicts.error.copy(), verdicts.grace.copy()
    rows = mains[lacks > 0]
    for row, lack in zip(rows.tolist(), lacks[lacks > 0].tolist(), strict=True):
        stroke, at = int(verdicts.target[row]), int(time[verdicts.hit[row]])
        beside = by_voice.get(int(targets.voice[stroke]))
        if beside is None:
            continue
        times = time[verdicts.hit[beside]]
        last = int(np.searchsorted(times, at))
        first = int(np.searchsorted(times, at - reach * int(targets.graces[stroke])))
        for found in beside[max(first, last - lack) : last].tolist():
            if not grace[found]:
                verdict[found], target[found] = CODE[Verdict.ON_TIME], stroke
                error[found], grace[found] = time[verdicts.hit[found]] - at, True
    return replace(verdicts, verdict=verdict, target=target, error=error, grace=grace)
