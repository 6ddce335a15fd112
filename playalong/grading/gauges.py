"""The three gauges: timing, ghost notes and steadiness while the run goes on.

They are fed settled verdicts. Each keeps only what it shows, so a run may last as long as it likes.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf, sqrt
from statistics import fmean, median

import numpy as np

from playalong.grading.contrast import EACH, GHOST_LOUD, TOGETHER
from playalong.grading.loudness import level_db
from playalong.grading.measures.steadiness import STEADY, Strokes, steadiness
from playalong.grading.verdicts import MATCHED, Rules, VerdictEvent
from playalong.midi.hits import Hit
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, LIMBS, Targets, limbs

#: How many bars the steadiness gauge looks back.
WINDOW_BARS = 32

#: How many of its last hits a limb shows.
_EACH_LIMB = 32

_GHOST = DYNAMICS.index(Dynamic.GHOST)


@dataclass(slots=True, kw_only=True)
class TimingGauge:
    """Where the last hits fell: errors in ms, the newest last, with their mean and spread.

    ``limbs`` are the rows of the gauge, fixed before the run; ``by_limb`` the last errors of each.
    """

    errors_ms: deque[float] = field(default_factory=lambda: deque(maxlen=48))
    tolerance_ms: float = 30.0
    limbs: tuple[str, ...] = ()
    by_limb: dict[str, deque[float]] = field(default_factory=dict)
    mean_ms: float | None = None
    sd_ms: float | None = None

    def add(self, error_ms: float, limb: str = "") -> None:
        """One more answered target, and the limb that played it."""
        self.errors_ms.append(error_ms)
        self.by_limb.setdefault(limb, deque(maxlen=_EACH_LIMB)).append(error_ms)
        mean_ms = self.mean_ms = fmean(self.errors_ms)
        self.sd_ms = sqrt(fmean((each - mean_ms) ** 2 for each in self.errors_ms))

    @property
    def shown(self) -> tuple[object, ...]:
        """All that is shown, to be held against what was shown before."""
        rows = tuple((limb, *errors_ms) for limb, errors_ms in self.by_limb.items())
        return self.tolerance_ms, self.limbs, rows, self.mean_ms, self.sd_ms


@dataclass(slots=True, kw_only=True)
class GhostGauge:
    """How soft the ghost notes are against the strong strokes of the same voices.

    ``levels`` holds (is a ghost note, level in dB) of the last strokes of voices that have ghost
    notes, the newest last; ``soft_db`` the level that a ghost note should stay under, which is
    drawn from the player's own strokes once there are some, and never under ``measured_db`` on a
    kit that was measured; ``contrast_db`` the median ghost less the median of the others, None
    until both are there.
    """

    levels: deque[tuple[bool, float]] = field(default_factory=lambda: deque(maxlen=24))
    soft_db: float = 0.0
    measured_db: float = -inf
    contrast_db: float | None = None

    def add(self, is_ghost: bool, level: float) -> None:
        """One more answered stroke."""
        self.levels.append((is_ghost, level))
        soft = [level for ghost, level in self.levels if ghost]
        strong = [level for ghost, level in self.levels if not ghost]
        self.contrast_db = median(soft) - median(strong) if soft and strong else None
        enough = min(len(soft), len(strong)) >= EACH and len(soft) + len(strong) >= TOGETHER
        if enough and self.contrast_db is not None and self.contrast_db < 0.0:
            under_db = median(soft) - GHOST_LOUD * self.contrast_db
            self.soft_db = max(under_db, self.measured_db)

    @property
    def shown(self) -> tuple[object, ...]:
        """All that is shown, to be held against what was shown before."""
        return tuple(self.levels), self.soft_db, self.contrast_db


@dataclass(slots=True, kw_only=True)
class SteadinessGauge:
    """The course of the tempo.

    ``course`` holds (bar, tempo in bpm) for the last bars that are over, the newest last;
    ``written_bpm`` the tempo asked for; ``trend`` "steady", "speeding up" or "slowing down", which
    is said where two bars in a row show it, since it is asked again after each bar;
    ``first_bpm`` and ``last_bpm`` the ends of the curve behind the trend.
    """

    written_bpm: float
    course: Sequence[tuple[int, float]] = ()
    trend: str = STEADY
    first_bpm: float | None = None
    last_bpm: float | None = None

    @property
    def shown(self) -> tuple[object, ...]:
        """All that is shown, to be held against what was shown before."""
        course = tuple(self.course)
        return self.written_bpm, course, self.trend, self.first_bpm, self.last_bpm


class Gauges:
    """The three gauges of one run."""

    def __init__(self, targets: Targets, rules: Rules, tempo_bpm: float) -> None:
        self._limb = limbs(targets, rules.left_handed)
        rows = tuple(str(LIMBS[code]) for code in np.unique(self._limb))
        self.timing = TimingGauge(tolerance_ms=rules.tolerance_ms, limbs=rows)
        place = "snare", Dynamic.GHOST
        soft_db = level_db(rules.bands.of(*place).high)
        measured = place in rules.bands.by_voice
        self.ghosts = GhostGauge(soft_db=soft_db, measured_db=soft_db if measured else -inf)
        self.steadiness = SteadinessGauge(written_bpm=tempo_bpm)
        self._targets = targets
        self._with_ghosts = set(targets.voice[targets.dynamic == _GHOST].tolist())
        self._strokes: deque[tuple[float, float, int, int]] = deque()
        self._bar = 0
        self._seen = STEADY

    def heard(self, event: VerdictEvent, hit: Hit | None) -> None:
        """A settled event, and the hit it speaks of."""
        if event.grace or event.verdict not in MATCHED:
            return
        if event.target is None or hit is None or event.error_ms is None:
            return
        voice, bar = int(self._targets.voice[event.target]), int(self._targets.bar[event.target])
        if bar > self._bar:
            self._bar_over(bar)
        self.timing.add(event.error_ms, str(LIMBS[self._limb[event.target]]))
        if voice in self._with_ghosts:
            ghost = bool(self._targets.dynamic[event.target] == _GHOST)
            self.ghosts.add(ghost, level_db(hit.velocity))
        written_s = float(self._targets.time_s[event.target])
        self._strokes.append((written_s, event.error_ms / 1000.0, voice, bar))

    def _bar_over(self, bar: int) -> None:
        self._bar = bar
        first = max(0, bar - WINDOW_BARS)
        while self._strokes and self._strokes[0][3] < first:
            self._strokes.popleft()
        # Verdicts are settled only nearly in order: one of an earlier bar may come late.
        recent = sorted(stroke for stroke in self._strokes if stroke[3] >= first)
        if not recent:
            return
        written, error, voice, bars = (np.array(c) for c in zip(*recent, strict=True))
        starts = self._targets.bar_starts_s[first:bar]
        measured = steadiness(
            Strokes(
                written_s=written, error_s=error, voice=voice, bar=bars - first, bar_starts_s=starts
            ),
            self.steadiness.written_bpm,
        )
        self.steadiness.course = [(at + first, bpm) for at, bpm in measured.course]
        self.steadiness.trend = measured.trend if measured.trend == self._seen else STEADY
        self._seen = measured.trend
        self.steadiness.first_bpm, self.steadiness.last_bpm = measured.first_bpm, measured.last_bpm
