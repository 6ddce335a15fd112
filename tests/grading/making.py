"""Patterns, targets and hits for these tests, all invented."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from playalong.grading.grade import Counts, Dynamics, Graces, Grade, Score, Timing
from playalong.grading.grade_run import counts, grade
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.dynamics import dynamics
from playalong.grading.measures.ornaments import graces
from playalong.grading.measures.score import score
from playalong.grading.measures.timing import timing
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.pattern.meter import Meter
from playalong.pattern.model import Bar, Dynamic, Pattern, Stroke, divisions
from playalong.pattern.reader import read
from playalong.pattern.targets import DYNAMICS, Place, Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER


def groove(meter: str = "4/4", swing: float = 50, swung: str = "eighths", **lines: str) -> Pattern:
    """A pattern of one bar; a line for each voice, with _ for the hyphen of its name."""
    return groove_of(lines, meter, swing, swung=swung)


def groove_of(
    lines: Mapping[str, str], meter: str = "4/4", swing: float = 50, *, swung: str = "eighths"
) -> Pattern:
    """The same, of a table of lines."""
    rows = "".join(f'{name.replace("_", "-")} = "{line}"\n' for name, line in lines.items())
    head = f'title = "A Test"\nmeter = "{meter}"\ntempo = 100\nswing = {swing:g}\n'
    head += f'swung = "{swung}"\n'
    return read(f"{head}[[bar]]\n{rows}", "a-test")


def of_strokes(strokes: Iterable[Stroke], meter: str = "4/4") -> Pattern:
    """A pattern of one bar with these strokes."""
    metre = Meter.parse(meter)
    placed = tuple(sorted(strokes, key=lambda stroke: stroke.place))
    bar = Bar(metre, placed, divisions(metre, placed))
    return Pattern(name="a-test", title="A Test", meter=metre, tempo=100.0, bars=(bar,))


def placed(
    rows: Iterable[tuple[float, str]],
    dynamic: Dynamic = Dynamic.NORMAL,
    graces: Mapping[int, int] | None = None,
) -> Targets:
    """Targets at any times: rows of (seconds, voice); ``graces`` by number of the sorted rows."""
    ordered = sorted(rows, key=lambda row: (row[0], STAFF_ORDER[row[1]]))
    count = len(ordered)
    asked = np.zeros(count, np.int8)
    for number, strokes in (graces or {}).items():
        asked[number] = strokes
    time_s = np.array([time for time, _ in ordered], np.float64)
    names = {voice for _, voice in ordered}
    return Targets(
        time_s=time_s,
        written=time_s / 2.0,
        voice=np.array([STAFF_ORDER[voice] for _, voice in ordered], np.int16),
        dynamic=np.full(count, DYNAMICS.index(dynamic), np.int8),
        graces=asked,
        optional=np.zeros(count, np.bool_),
        bar=np.zeros(count, np.int32),
        place=np.arange(count, dtype=np.int32),
        places=tuple(
            Place(0, Stroke(at=Fraction(0), voice=voice, dynamic=dynamic)) for _, voice in ordered
        ),
        voices=tuple(sorted(names, key=STAFF_ORDER.__getitem__)),
        bar_starts_s=np.zeros(1),
        end_s=float(time_s[-1]) + 2.0 if count else 2.0,
        seconds_per_whole=2.0,
    )


def moved(hits: Hits, by_s: NDArray[np.float64] | float) -> Hits:
    """The same hits, so much later."""
    return Hits.sorted(hits.time_s + by_s, hits.voice, hits.velocity)


def without(hits: Hits, numbers: Sequence[int] | NDArray[np.int64]) -> Hits:
    """The hits, but for some."""
    kept = np.ones(len(hits), np.bool_)
    kept[numbers] = False
    return Hits(hits.time_s[kept], hits.voice[kept], hits.velocity[kept])


def joined(hits: Hits, more: Iterable[Hit]) -> Hits:
    """The hits, and more of them."""
    return Hits.of([*(hits[number] for number in range(len(hits))), *more])


def graded(pattern: Pattern, targets: Targets, hits: Hits, *, rules: Rules | None = None) -> Grade:
    """The grade of a run to a click at the pattern's tempo."""
    return grade_and_run(pattern, targets, hits, rules=rules)[0]


def grade_and_run(
    pattern: Pattern, targets: Targets, hits: Hits, *, rules: Rules | None = None
) -> tuple[Grade, MatchedRun]:
    """The grade, and the matched run behind it."""
    return grade(pattern, pattern.tempo, targets=targets, hits=hits, rules=rules or Rules())


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What a grade says in figures, without looking for their causes, which is most of its work."""

    run: MatchedRun
    counts: Counts
    timing: Timing
    dynamics: Dynamics
    graces: Graces | None
    score: Score


def measured(targets: Targets, hits: Hits, rules: Rules | None = None) -> Measured:
    """The figures of a run, as ``grade`` takes them."""
    run = MatchedRun.of(targets, hits, rules or Rules())
    return Measured(
        run=run,
        counts=counts(run),
        timing=timing(run),
        dynamics=dynamics(run),
        graces=graces(run),
        score=score(run),
    )


def with_optional(targets: Targets, numbers: Sequence[int]) -> Targets:
    """The targets, some of them optional."""
    optional = targets.optional.copy()
    optional[list(numbers)] = True
    return replace(targets, optional=optional)


def best_assignment(costs: Sequence[Mapping[int, int]], columns: int) -> tuple[int, int]:
    """The most pairs, and of these the least total distance.

    Source: scipy.optimize.linear_sum_assignment; every pair is made cheaper than all distances
    together, so that the number of pairs counts first. ``costs`` holds for each row its possible
    columns with their distances, whole numbers.
    """
    if not costs or not columns:
        return 0, 0
    reward = 1 + sum(max(row.values(), default=0) for row in costs)
    matrix = np.zeros((len(costs), columns))
    for row, own in enumerate(costs):
        for column, distance in own.items():
            matrix[row, column] = distance - reward
    rows, chosen = linear_sum_assignment(matrix)
    taken = [
        costs[row][column]
        for row, column in zip(rows.tolist(), chosen.tolist(), strict=True)
        if column in costs[row]
    ]
    return len(taken), sum(taken)


# Strategies.

_VOICES = ("hi-hat", "snare", "kick")
#: What a player may hit: also voices that fold, one that is not written, and the pedal.
PLAYED = ("hi-hat", "hi-hat-open", "snare", "rim-shot", "kick", "ride", "crash", "hi-hat-pedal")


#: One whole number says all of a stroke: drawing one costs a fifth of drawing its parts, and what
#: is small is simple, so that an example shrinks as before.
_EIGHTHS, _GRACES = 8, (0, 0, 0, 1, 2)
_DYNAMICS = tuple(Dynamic)


def _stroke(number: int) -> tuple[tuple[int, int], int, int, int]:
    """Where a stroke is (step and voice), its dynamic, an eighth, and its grace strokes."""
    number, step = divmod(number, 16)
    number, voice = divmod(number, len(_VOICES))
    number, dynamic = divmod(number, len(_DYNAMICS))
    graces, eighth = divmod(number, _EIGHTHS)
    return (step, voice), dynamic, eighth, graces


_PLAIN = 16 * len(_VOICES) * len(_DYNAMICS) * _EIGHTHS
_STROKES = {
    has_graces: st.lists(
        st.integers(0, _PLAIN * (len(_GRACES) if has_graces else 1) - 1).map(_stroke),
        min_size=1,
        max_size=24,
        unique_by=lambda row: row[0],
    )
    for has_graces in (False, True)
}


# Strategies are made once: making and checking one costs more than drawing from it.
@cache
@st.composite
def patterns(draw: st.DrawFn, graces: bool = True, optional: bool = True) -> Pattern:
    """One bar of 4/4 on sixteenths with up to three voices, at least one stroke."""
    return of_strokes(
        Stroke(
            at=Fraction(step, 16),
            voice=_VOICES[voice],
            dynamic=_DYNAMICS[dynamic],
            optional=optional and eighth == 0,
            graces=_GRACES[before],
        )
        for (step, voice), dynamic, eighth, before in draw(_STROKES[graces])
    )


#: From a slow practice tempo to one at which the sixteenths' windows touch.
TEMPI = st.sampled_from((50.0, 84.0, 120.0, 168.0, 240.0))
_BARS = st.integers(1, 3)


@cache
@st.composite
def runs(draw: st.DrawFn, graces: bool = True, optional: bool = True) -> tuple[Pattern, Targets]:
    """A pattern laid out over one to three bars; its own tempo is that of the run."""
    pattern = replace(draw(patterns(graces, optional)), tempo=draw(TEMPI))
    return pattern, lay_out(pattern, pattern.tempo, draw(_BARS))


_PLAYED = st.sampled_from(PLAYED)
_ANOTHER = st.one_of(st.none(), st.none(), st.none(), _PLAYED)
_GRIDS = st.integers(0, 2)


#: More targets than a run has here.
_MANY = 24 * 3


def _near(row: tuple[int, int, str | None]) -> Callable[[Targets, float], Hit]:
    number, steps, other = row

    def hit(targets: Targets, grid_s: float) -> Hit:
        own = number % len(targets)
        return Hit(float(targets.time_s[own]) + steps * grid_s, other or targets.names[own], 84.0)

    return hit


def _anywhere(row: tuple[float, str, float]) -> Callable[[Targets, float], Hit]:
    share, voice, velocity = row

    def hit(targets: Targets, grid_s: float) -> Hit:
        at_s = share * (targets.end_s + 0.6) - 0.3
        return Hit(round(at_s / grid_s) * grid_s, voice, velocity)

    return hit


_NEAR = st.tuples(st.integers(0, _MANY - 1), st.integers(-5, 5), _ANOTHER).map(_near)
_ANYWHERE = st.tuples(st.floats(0.0, 1.0), _PLAYED, st.integers(1, 127).map(float)).map(_anywhere)
#: Hits of any run, as functions of its targets and a grid in seconds.
_ROWS = st.lists(st.one_of(_NEAR, _NEAR, _ANYWHERE), max_size=40)


@st.composite
def takes(draw: st.DrawFn, targets: Targets) -> list[Hit]:
    """Hits near the targets and anywhere; on a grid, so that many lie exactly equally far.

    The grid is a part of the distance between two sixteenths where there is one, which puts
    hits exactly half-way.
    """
    steps_s = targets.seconds_per_whole / 16.0
    grid_s = (0.001, steps_s / 8.0, steps_s / 2.0)[draw(_GRIDS)]
    hits = [row(targets, grid_s) for row in draw(_ROWS)]
    twice = draw(st.lists(st.sampled_from(hits), max_size=4)) if hits else []
    return [*hits, *twice]


@cache
@st.composite
def runs_with_takes(
    draw: st.DrawFn, graces: bool = True, optional: bool = True
) -> tuple[Pattern, Targets, list[Hit]]:
    """A run and what somebody played."""
    pattern, targets = draw(runs(graces, optional))
    return pattern, targets, draw(takes(targets))


def near(value: float) -> Any:
    """Equal but for rounding: times are kept to the nanosecond, a millionth of a millisecond."""
    return pytest.approx(value, abs=2e-6)


def numbers_in(value: Any) -> list[float]:
    """Every number in plain JSON objects."""
    if isinstance(value, dict):
        return [number for item in value.values() for number in numbers_in(item)]
    if isinstance(value, list):
        return [number for item in value for number in numbers_in(item)]
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return [float(value)] if is_number else []
