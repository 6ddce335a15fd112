"""A matched run as the families of causes look at it: by limb, by place, bar by bar.

* A **place** is a position of the written pattern with its voice. Where the pattern goes round at
  least twice each of its bars has places of its own; a long pattern that is played once has those
  of one bar, so that its bars can be compared.
* The **kit** is where all strokes lie: the middle of the limbs' mean errors, each weighed by its
  strokes. A **limb** lies beside the others, a **place** beside the strokes around it (a beat to
  either side, each less its limb's mean), since people drift ahead and behind for some beats.
"""

from dataclasses import KW_ONLY, dataclass, replace
from functools import cached_property

import numpy as np

from playalong.grading.findings.candidate import Bools, Floats, Ints
from playalong.grading.findings.certainty import Interval, interval
from playalong.grading.grade import Spot, Steadiness
from playalong.grading.levels import DEFAULT_LEVEL, LEVELS
from playalong.grading.matching.course import Course
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.steadiness import Strokes, steadiness
from playalong.grading.verdicts import Verdict
from playalong.pattern.meter import Meter, WrittenSwing
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, LIMBS, PARTS, Targets
from playalong.pattern.voices import STAFF_ORDER, VOICES

GHOST, NORMAL, ACCENT = (DYNAMICS.index(dynamic) for dynamic in Dynamic)

#: Strokes that make a habit of a limb; those of a place, and in what part of the rounds it comes at
#: least: what is played now and then is a phrase of its own.
LIMB_STROKES, PLACE_STROKES, ROUNDS = 8, 4, 0.4

#: How far around a stroke its neighbours lie, in whole notes: a beat.
AROUND = 0.25


@dataclass(frozen=True, kw_only=True)
class Layout:
    """The places of a run, whose targets may be cut: ``group`` (p,) a number for each stroke of the
    pattern, equal where it is one place; ``first`` (g,) the first stroke of each place; ``swing``
    is what the pattern says.
    """

    targets: Targets
    meters: tuple[Meter, ...]
    group: Ints
    first: Ints
    goes_round: bool
    swing: WrittenSwing

    @classmethod
    def of(cls, targets: Targets, meters: tuple[Meter, ...], swing: WrittenSwing) -> "Layout":
        """The places of the pattern that ``targets`` lay out."""
        places = targets.places
        goes_round = 2 * len(meters) <= targets.bars
        bar = np.array([place.bar if goes_round else 0 for place in places], np.int64)
        voice = np.array([STAFF_ORDER[place.stroke.voice] for place in places], np.int64)
        keys = (bar * _LONGEST + targets.at) * len(VOICES) + voice
        _, first, group = np.unique(keys, return_index=True, return_inverse=True)
        return cls(
            targets=targets,
            meters=meters,
            group=group,
            first=first,
            goes_round=goes_round,
            swing=swing,
        )

    @cached_property
    def second(self) -> Floats:
        """(p,) where in their pair the notes that swing sound, 0 to 1: 0 the first, more for the
        short notes, the second of two or the last of a triplet; nan of all others, and where a
        beat is no quarter note."""
        found = np.full(len(self.targets.places), np.nan)
        if any(4 * beat != 1 for meter in self.meters for beat in meter.beats):
            return found
        pair = int(self.swing.pair * PARTS)
        into = self.targets.at % pair
        found[into == 0] = 0.0
        found[into == pair // 2] = float(self.swing.percent) / 100.0
        if pair == _BEAT:
            found[into == _BEAT * 2 // 3] = 2.0 / 3.0
        return found

    @property
    def bars(self) -> int:
        """How many bars have places of their own."""
        return len(self.meters) if self.goes_round else 1

    def spot(self, group: int) -> Spot:
        """How a place is told."""
        place = self.targets.places[int(self.first[group])]
        meter = self.meters[place.bar]
        return Spot(place.bar + 1 if self.goes_round else 1, meter.count(place.stroke.at))

    def voice(self, group: int) -> str:
        """The voice of a place."""
        return self.targets.places[int(self.first[group])].stroke.voice


#: A quarter note, and more than any bar has, both in parts of a whole note.
_BEAT, _LONGEST = PARTS // 4, 64 * PARTS


@dataclass(frozen=True, kw_only=True)
class MeantStrokes:
    """The strokes that were meant, arrays of s in order of written time: ``written_s`` float64 when
    each was written, ``off_s`` float64 how much later than the click it was played, ``bar`` int64,
    ``one`` int64 a number for all that share a limb's habit and a stretch between two leaps,
    ``stretch`` int64.
    """

    written_s: Floats
    off_s: Floats
    bar: Ints
    one: Ints
    stretch: Ints

    @classmethod
    def of(cls, run: MatchedRun, course: Course | None) -> "MeantStrokes":
        """Those of a run, or of the player's own course."""
        meant = course.run if course else run
        own = meant.target
        written_s = run.targets.time_s[own]
        off_s = meant.error_ms / 1000.0
        stretch = np.zeros(len(own), np.int64)
        if course:
            off_s = off_s + course.run.targets.time_s[own] - written_s
            stretch = course.path.stretch[course.path.rows(written_s)]
        one = meant.limb + len(LIMBS) * stretch
        return cls(
            written_s=written_s,
            off_s=off_s,
            bar=run.targets.bar[own].astype(np.int64),
            one=one,
            stretch=stretch,
        )

    @property
    def leaps(self) -> int:
        """How often the place was lost."""
        return int(self.stretch.max()) if len(self.stretch) else 0

    def centred(self, values: Floats) -> Floats:
        """``values`` (s,) less the mean of those that are one."""
        n = np.maximum(np.bincount(self.one), 1)
        return np.asarray(values - (np.bincount(self.one, values) / n)[self.one])

    def bar_means(self, values: Floats) -> Floats:
        """The means of ``values`` (s,) over the bars that have any."""
        n = np.bincount(self.bar)
        return np.asarray(np.bincount(self.bar, values)[n > 0] / n[n > 0])

    def by_instant(self, values: Floats) -> Floats:
        """The sums of ``values`` (s,) over the strokes of each instant."""
        instants = np.flatnonzero(np.diff(self.written_s, prepend=-np.inf) > 1e-9)
        return np.asarray(np.add.reduceat(values, instants))


@dataclass(frozen=True)
class Look:
    """A run, its places, and the player's own course where the click's windows lose it; arrays of k
    speak of the answered targets of the run, in order of time. ``steadiness``, where it is known
    already."""

    run: MatchedRun
    layout: Layout
    course: Course | None
    _: KW_ONLY
    steadiness: Steadiness | None = None

    @classmethod
    def at(cls, run: MatchedRun, layout: Layout) -> "Look":
        """A look at a run whose course is not known yet."""
        return cls(run, layout, Course.of(run))

    @cached_property
    def meant(self) -> MeantStrokes:
        """The strokes that were meant."""
        return MeantStrokes.of(self.run, self.course)

    @cached_property
    def steady(self) -> Steadiness:
        """The tempo kept, and its trend."""
        if self.steadiness is not None:
            return self.steadiness
        meter = self.layout.meters[0]
        return steadiness(Strokes.of(self.run, self.course), self.targets.tempo_bpm(meter))

    @property
    def targets(self) -> Targets:
        """What was asked."""
        return self.run.targets

    @property
    def rounds(self) -> int:
        """How often a place could come: the rounds of a pattern that goes round, else the bars."""
        bars = self.targets.bars
        return bars // len(self.layout.meters) if self.layout.goes_round else bars

    def swung_run(self, off_beat: Bools) -> MatchedRun:
        """The run, or where many off-beats are not answered, one with off-beats moved a sixth of a
        pair towards where they may be, if that answers more."""
        missed = self.run.verdicts.target[self.run.by_verdict[Verdict.MISSED]]
        if off_beat[missed].sum() < 0.25 * off_beat.sum():
            return self.run
        best = self.run
        by_s = self.targets.seconds_per_whole * float(self.layout.swing.pair) / 6.0
        for moved_s in (by_s, -by_s):
            laid = self.targets.time_s + np.where(off_beat, moved_s, 0.0)
            order = np.argsort(laid, kind="stable")
            if not np.array_equal(order, np.arange(len(order))):
                laid = np.maximum.accumulate(laid)
            tried = MatchedRun.of(replace(self.targets, time_s=laid), self.run.hits, self.run.rules)
            best = max(best, tried, key=lambda each: len(each.target))
        return best

    @cached_property
    def expected(self) -> int:
        """How many strokes count: those of the pattern, and optional ones where played."""
        run = self.run
        lost = (len(run.by_verdict[kind]) for kind in (Verdict.MISSED, Verdict.WRONG_DRUM))
        return len(run.target) + sum(lost)

    @cached_property
    def spread_ms(self) -> float:
        """The spread that is even enough at this level."""
        return LEVELS[self.run.rules.level].spread_ms

    @cached_property
    def contrast(self) -> float:
        """How much of the usual contrast of ghost notes this level asks for, 1 at most: more asks
        nobody who cannot measure his kit."""
        own = LEVELS[self.run.rules.level].contrast_db
        return min(own / LEVELS[DEFAULT_LEVEL].contrast_db, 1.0)

    @cached_property
    def slowness(self) -> float:
        """How much wider than at 100 beats a minute people scatter at this tempo: with the power
        0.3 of the length of a beat (184 takes by drummers to a metronome, Groove MIDI Dataset,
        Gillick et al., ICML 2019)."""
        beat_s = self.targets.seconds_per_whole / 4.0
        return float(np.clip((beat_s / 0.6) ** 0.3, 1.0 / 1.6, 1.6))

    def points(self, strokes: float) -> float:
        """So many strokes as points of the score."""
        return 100.0 * strokes / max(self.expected, 1)

    @cached_property
    def bar(self) -> Ints:
        """(k,) the bar of the run."""
        return self.targets.bar[self.run.target].astype(np.int64)

    @cached_property
    def written(self) -> Floats:
        """(k,) the written position, in whole notes from the start of the run."""
        return self.targets.written[self.run.target]

    @cached_property
    def group(self) -> Ints:
        """(k,) the place."""
        return self.layout.group[self.run.place]

    @cached_property
    def with_ghost(self) -> Bools:
        """(k,) whether a ghost note of another voice was written at the same instant."""
        ghost = self.targets.dynamic == GHOST
        ghosts = np.bincount(self.instant_of, ghost)[self.instant_of] - ghost
        return np.asarray(ghosts[self.run.target] > 0)

    @cached_property
    def instant_of(self) -> Ints:
        """(n,) a number for the written instant of every target."""
        written = np.round(self.targets.written, 6)
        return np.cumsum(np.diff(written, prepend=written[:1]) > 0.0)

    @cached_property
    def alike(self) -> Ints:
        """(k,) a number for strokes that are alike: of one place, dynamic, and with a ghost note or
        without one."""
        return (self.group * len(DYNAMICS) + self.run.dynamic) * 2 + self.with_ghost

    @cached_property
    def group_of(self) -> Ints:
        """(n,) the place of every target."""
        return self.layout.group[self.targets.place]

    @cached_property
    def of_group(self) -> Ints:
        """(g,) how many targets each place has, optional ones where they were played."""
        optional = np.bincount(self.group_of, self.targets.optional, len(self.layout.first))
        every = np.bincount(self.group_of, minlength=len(self.layout.first))
        played = self.targets.optional[self.run.target]
        extra = np.bincount(self.group[played], minlength=len(self.layout.first))
        return (every - optional.astype(np.int64) + extra).astype(np.int64)

    @cached_property
    def answered_of_group(self) -> Ints:
        """(g,) how many of them were answered."""
        return np.bincount(self.group, minlength=len(self.layout.first))

    @cached_property
    def limb_mean(self) -> Floats:
        """(limbs,) the mean error of each limb in ms, nan of one without strokes."""
        n = np.bincount(self.run.limb, minlength=len(LIMBS))
        total = np.bincount(self.run.limb, self.run.error_ms, len(LIMBS))
        with np.errstate(invalid="ignore"):
            return np.asarray(total / n)

    @cached_property
    def limb_count(self) -> Ints:
        """(limbs,) answered strokes of each limb."""
        return np.bincount(self.run.limb, minlength=len(LIMBS))

    @cached_property
    def kit(self) -> Interval:
        """Where the whole kit lies, in ms: the mean of the bars' means, and how certain."""
        return interval(self.bar_means(self.run.error_ms))

    def bar_means(self, values: Floats, rows: Bools | None = None) -> Floats:
        """The means of ``values`` (k,) over each bar that has any of ``rows``."""
        bar, own = (self.bar, values) if rows is None else (self.bar[rows], values[rows])
        n = np.bincount(bar)
        total = np.bincount(bar, own)
        return np.asarray(total[n > 0] / n[n > 0])

    @cached_property
    def less_limb(self) -> Floats:
        """(k,) errors in ms less the mean of their limb."""
        return np.asarray(self.run.error_ms - self.limb_mean[self.run.limb])

    @cached_property
    def _around(self) -> tuple[Ints, Ints]:
        """(k,) the first stroke around each, itself among them, and that after the last."""
        low = np.searchsorted(self.written, self.written - AROUND - 1e-9)
        return low, np.searchsorted(self.written, self.written + AROUND + 1e-9)

    @cached_property
    def local(self) -> tuple[Floats, Ints]:
        """(k,) the mean of ``less_limb`` over the strokes around each, and how many these are."""
        low, high = self._around
        sums = np.append(0.0, np.cumsum(self.less_limb))
        n = high - low - 1
        total = sums[high] - sums[low] - self.less_limb
        return np.asarray(total / np.maximum(n, 1)), n

    @cached_property
    def aside(self) -> Floats:
        """(k,) how far each stroke lies from all strokes around it, in ms."""
        errors = self.run.error_ms
        low, high = self._around
        sums = np.append(0.0, np.cumsum(errors))
        n = high - low - 1
        around = (sums[high] - sums[low] - errors) / np.maximum(n, 1)
        return np.asarray(np.where(n > 0, errors - around, 0.0))

    @cached_property
    def beside(self) -> Floats:
        """(k,) how far each stroke lies from those around it, in ms, limbs' habits left out."""
        return np.asarray(self.less_limb - self.local[0])

    @cached_property
    def own_scatter(self) -> Floats:
        """(k,) how far each stroke lies from its place's middle and from its neighbours, in ms, as
        a stroke would that is alone with its error."""
        groups = len(self.layout.first)
        n = np.maximum(np.bincount(self.group, minlength=groups), 1)
        middle = np.bincount(self.group, self.beside, groups) / n
        around = 1.0 + 1.0 / np.maximum(self.local[1], 1)
        fair = np.sqrt(around * np.maximum(1.0 - 1.0 / n, 0.2)[self.group])
        return np.asarray((self.beside - middle[self.group]) / fair)

    @cached_property
    def scatter_ms(self) -> float:
        """The player's own scatter: that of one stroke, what all share left out; 0 where no stroke
        has another one around it."""
        own = self.own_scatter[self.local[1] > 0]
        return float(np.sqrt(np.mean(own**2))) if len(own) else 0.0

    @cached_property
    def leniency(self) -> float:
        """How much wider than at the usual level a stroke may be off, 1 at least: a level that asks
        for less calls less a habit, one that asks for more hears no better."""
        own = LEVELS[self.run.rules.level].tolerance_ms
        return max(own / LEVELS[DEFAULT_LEVEL].tolerance_ms, 1.0)
