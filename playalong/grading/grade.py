"""The grade of one run: every figure, as frozen records.

Times are seconds, errors milliseconds (positive is late), levels decibel. Spreads are population
standard deviations. A figure that cannot be had is None. How each figure is made stands in the
module that makes it: the folders measures and findings.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from playalong.grading.graces import Ornament
from playalong.grading.levels import Level
from playalong.grading.loudness import Loudness
from playalong.grading.verdicts import HiHat, Verdict
from playalong.pattern.model import Dynamic


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """How many of each.

    ``targets`` = ``matched`` + ``missed`` + ``wrong_drum``, and ``matched`` = ``on_time`` +
    ``early`` + ``late``. An optional stroke counts as a target only where it was played.
    ``not_open`` and ``not_closed`` are of the hi-hat; what follows them counts flams and drags,
    each under one of these: flat may be either, a flam is wide, a drag is open; and rolls at last.
    """

    targets: int
    matched: int
    on_time: int
    early: int
    late: int
    missed: int
    extra: int
    wrong_drum: int
    too_loud: int
    too_soft: int
    not_open: int
    not_closed: int
    flam_flat: int
    flam_wide: int
    drag_open: int
    grace_loud: int
    grace_missing: int
    roll_short: int
    roll_long: int
    roll_broken: int
    roll_uneven: int


@dataclass(frozen=True, slots=True)
class Spread:
    """A number of errors, their mean and their population standard deviation, in ms."""

    n: int
    mean_ms: float | None
    sd_ms: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """Errors of all answered targets, of each voice, and of each limb that usually plays them.

    ``leads`` names the limb that comes first, where its lead is more than chance.
    """

    mean_ms: float | None
    sd_ms: float | None
    median_ms: float | None
    by_voice: Mapping[str, Spread]
    by_limb: Mapping[str, Spread]
    leads: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Steadiness:
    """The tempo kept, how far it is from the written one, the spread around the straight fit.

    ``course`` holds (bar, tempo in bpm), the first bar is 0; ``first_bpm`` and ``last_bpm`` are
    the ends of the curved fit; ``trend`` is "steady", "speeding up" or "slowing down".
    """

    tempo_bpm: float | None
    drift_percent: float | None
    residual_sd_ms: float | None
    course: tuple[tuple[int, float], ...]
    first_bpm: float | None
    last_bpm: float | None
    trend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrokeLevel:
    """Strokes of one voice and dynamic: how many, median and spread of level, ill-fitting."""

    n: int
    median_db: float | None
    sd_db: float | None
    too_soft: int
    too_loud: int


@dataclass(frozen=True, slots=True)
class Dynamics:
    """Ghost contrast of each voice that has ghost notes, levels, and whose bands were used."""

    ghost_contrast_db: Mapping[str, float | None]
    by_voice: Mapping[str, Mapping[Dynamic, StrokeLevel]]
    bands: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """Strokes of ``voice`` and ``dynamic`` that fall together with ``other`` (its ghost notes
    where ``other_ghost``): how many, and their mean level there less elsewhere.
    """

    voice: str
    dynamic: Dynamic
    other: str
    other_ghost: bool
    n: int
    change_db: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two limbs at the instants that they share: how much later ``second`` comes than ``first``.

    ``first`` is the one that comes first on average.
    """

    first: str
    second: str
    n: int
    mean_ms: float
    sd_ms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Unison:
    """Strokes together: number of instants, spread, how often each voice comes first, and pairs
    of limbs.
    """

    n: int
    median_ms: float | None
    p90_ms: float | None
    leads: Mapping[str, int]
    pairs: tuple[Pair, ...]
    together: tuple[Together, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Swing:
    """The share of a pair of ``notes`` (eighths or sixteenths) that its first takes, in per cent:
    as played, and as written; and the ratio of the pair's two notes as played. None where no pair
    was answered.
    """

    notes: str
    played_percent: float | None
    written_percent: float
    played_ratio: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Graces:
    """Grace strokes: asked for, played, and of the flams and drags that have some the median
    distance from stroke to stroke, and how much softer the louder grace stroke is than the main
    stroke (negative is softer).
    """

    asked: int
    played: int
    median_ms: float | None
    median_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rolls:
    """Rolls: how many were asked for and begun; of those, medians: when they began and ended,
    against what is written (positive is late), and the distance from stroke to stroke; how far
    the strokes of counted ones stray around even ones, and the spread of level inside a roll.
    """

    asked: int
    played: int
    begin_ms: float | None
    end_ms: float | None
    apart_ms: float | None
    stray_ms: float | None
    spread_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """0 to 100 in all, and what of it each part kept (each 0 to 100): see ``measures.score``."""

    total: float
    strokes: float
    timing: float
    loudness: float
    hi_hat: float
    ornaments: float
    extras: float
    habits: float
    steadiness: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceGrade:
    """One stroke of the written pattern over all its repetitions.

    ``bar`` is the bar of the pattern (0 is the first), ``count`` the position as it is spoken
    ("e of 2"), ``targets`` how often it came, ``clean`` how often nothing was wrong with it.
    """

    bar: int
    count: str
    voice: str
    dynamic: Dynamic
    targets: int
    clean: int
    missed: int
    wrong_drum: int
    early: int
    late: int
    too_soft: int
    too_loud: int
    wrong_hi_hat: int
    wrong_ornament: int
    mean_ms: float | None
    mean_db: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedHit:
    """One hit and what became of it; ``verdict`` is None for a hit that was not judged."""

    time_s: float
    voice: str
    velocity: float
    target: int | None
    error_ms: float | None
    verdict: Verdict | None
    loudness: Loudness | None
    grace: bool
    hi_hat: HiHat | None
    ornament: Ornament | None


class Code(StrEnum):
    """The causes that can be told."""

    CLEAN = "clean"
    NOTHING_PLAYED = "nothing_played"
    OTHER_PATTERN = "other_pattern"
    ALL_EARLY = "all_early"
    ALL_LATE = "all_late"
    FASTER = "faster"
    SLOWER = "slower"
    SPEEDING_UP = "speeding_up"
    SLOWING_DOWN = "slowing_down"
    WANDERING = "wandering"
    STOPPED = "stopped"
    HESITATED = "hesitated"
    LOST_PLACE = "lost_place"
    HALF_TEMPO = "half_tempo"
    DOUBLE_TEMPO = "double_tempo"
    LIMB_EARLY = "limb_early"
    LIMB_LATE = "limb_late"
    STROKE_EARLY = "stroke_early"
    STROKE_LATE = "stroke_late"
    UNEVEN_TIME = "uneven_time"
    PLAYED_STRAIGHT = "played_straight"
    PLAYED_SWUNG = "played_swung"
    MISSED_STROKE = "missed_stroke"
    MISSED_VOICE = "missed_voice"
    EXTRA = "extra"
    DOUBLE_TRIGGER = "double_trigger"
    WRONG_DRUM = "wrong_drum"
    NOT_OPEN = "not_open"
    NOT_CLOSED = "not_closed"
    GHOST_LOUD = "ghost_loud"
    GHOST_SOFT = "ghost_soft"
    ACCENT_FLAT = "accent_flat"
    STROKE_LOUD = "stroke_loud"
    STROKE_SOFT = "stroke_soft"
    UNEVEN_LOUDNESS = "uneven_loudness"
    GHOST_LOUD_OVER_KICK = "ghost_loud_over_kick"
    KICK_SOFT_UNDER_GHOST = "kick_soft_under_ghost"
    FLAM_FLAT = "flam_flat"
    FLAM_WIDE = "flam_wide"
    GRACE_LOUD = "grace_loud"
    GRACE_MISSING = "grace_missing"
    DRAG_OPEN = "drag_open"
    DRAG_MISSING = "drag_missing"
    ROLL_SHORT = "roll_short"
    ROLL_LONG = "roll_long"
    ROLL_BROKEN = "roll_broken"
    ROLL_UNEVEN = "roll_uneven"
    UNISON_APART = "unison_apart"


@dataclass(frozen=True, slots=True)
class Spot:
    """A place: the bar, 1 is the first (of the pattern where the cause comes again with it, else
    of the run), and the position as it is spoken ("e of 2")."""

    bar: int
    count: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One cause of faults.

    ``voice`` and ``limb`` where it has one; ``places`` where it shows, none where everywhere;
    ``n`` strokes of ``of`` show it. ``value`` in ``unit`` is its size, from ``low`` to ``high``
    with 95 % certainty; None where it has none. ``gain``: what mending it alone would win, in
    points. ``text``: a teacher's sentence.
    """

    code: Code
    voice: str | None
    limb: str | None
    places: tuple[Spot, ...]
    n: int
    of: int
    value: float | None
    unit: str
    low: float | None
    high: float | None
    gain: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Grade:
    """Everything that is said of a run; ``advice`` is the text of the first finding."""

    pattern: str
    tempo_bpm: float
    bars: int
    level: Level
    counts: Counts
    timing: Timing
    steadiness: Steadiness
    dynamics: Dynamics
    unison: Unison
    swing: Swing
    graces: Graces | None
    rolls: Rolls | None
    score: Score
    findings: tuple[Finding, ...]
    advice: str
    places: tuple[PlaceGrade, ...]
