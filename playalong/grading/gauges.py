"""The three gauges: timing, ghost notes and steadiness while the run goes on.

Each keeps only what it shows, so a run may last as long as it likes.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(slots=True)
class TimingGauge:
    """Where the last hits fell: errors in ms, the newest last, with their mean and spread."""

    errors_ms: deque[float] = field(default_factory=lambda: deque(maxlen=48))
    tolerance_ms: float = 30.0
    mean_ms: float | None = None
    sd_ms: float | None = None


@dataclass(slots=True)
class GhostGauge:
    """How soft the ghost notes are against the strong strokes of the same voices.

    ``levels`` holds (is a ghost note, level in dB) of the last strokes of voices that have ghost
    notes, the newest last; ``soft_db`` the level that a ghost note should stay under;
    ``contrast_db`` the median ghost less the median of the others, None until both are there.
    """

    levels: deque[tuple[bool, float]] = field(default_factory=lambda: deque(maxlen=40))
    soft_db: float = 0.0
    contrast_db: float | None = None


@dataclass(slots=True)
class SteadinessGauge:
    """The course of the tempo.

    ``course`` holds (bar, tempo in bpm) for the bars played so far, the newest last;
    ``written_bpm`` the tempo asked for; ``trend`` "steady", "speeding up" or "slowing down".
    """

    written_bpm: float
    course: Sequence[tuple[int, float]] = ()
    trend: str = "steady"
