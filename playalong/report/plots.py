"""The plots of one graded run: when, where in the bar, how loud, how together.

Each gives an ``svg`` element, or nothing where there is too little to be shown. Errors are in
milliseconds, late above the line; levels in decibel, 0 the loudest.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.ticker import MaxNLocator

from playalong.grading.grade import Grade, PlaceGrade
from playalong.grading.matching.matched_run import MatchedRun
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, LIMBS
from playalong.pattern.voices import BY_NAME
from playalong.report.drawing import BAND, BLUE, INK, MARKS, OFF, QUIET, RULE, drawing, svg

#: Fewer strokes than this show nothing.
ENOUGH = 3

#: How a legend is set: small, and close.
_LEGEND: Any = {"fontsize": 8, "handletextpad": 0.2, "columnspacing": 1.2, "borderpad": 0.1}

_KINDS = {Dynamic.GHOST: "ghost", Dynamic.NORMAL: "normal", Dynamic.ACCENT: "accent"}


@dataclass(frozen=True, slots=True)
class Plot:
    """A drawing with what it shows, for its heading."""

    title: str
    svg: str


def plots_of(grade: Grade, run: MatchedRun, name: str) -> list[Plot]:
    """All plots of a run that show something; ``name`` is that of the run in its page."""
    found = (
        Plot("Error over time", error_over_time(run, f"{name}-time")),
        Plot("Tempo over the bars", tempo(grade, f"{name}-tempo")),
        Plot("Error and level at each position of the bar", by_position(grade, f"{name}-place")),
        Plot("Errors by limb", by_limb(run, f"{name}-limb")),
        Plot("Ghost notes against plain strokes", ghosts(grade, run, f"{name}-ghost")),
        Plot("Unisons: how far apart", unisons(run, f"{name}-unison")),
    )
    return [plot for plot in found if plot.svg]


def _limbs(run: MatchedRun) -> list[tuple[str, np.ndarray]]:
    """The limbs that played, with the rows of each."""
    return [
        (limb, np.flatnonzero(run.limb == code))
        for code, limb in enumerate(LIMBS)
        if (run.limb == code).any()
    ]


def _widest(values: Sequence[float], least: float) -> float:
    return max(least, *(abs(float(value)) for value in values)) * 1.08


def error_over_time(run: MatchedRun, name: str) -> str:
    """Each answered stroke: the bar in which it fell, and its error; off the tolerance in red."""
    if len(run.target) < ENOUGH:
        return ""
    targets, tolerance_ms = run.targets, run.rules.tolerance_ms
    ends_s = np.append(targets.bar_starts_s, targets.end_s)
    at = np.interp(targets.time_s[run.target], ends_s, np.arange(1, len(ends_s) + 1))
    with drawing(name) as (figure, (axes,)):
        axes.axhspan(-tolerance_ms, tolerance_ms, color=BAND, lw=0)
        axes.axhline(0.0, color=RULE, lw=0.8)
        for mark, (limb, rows) in zip(MARKS, _limbs(run), strict=False):
            off = np.abs(run.error_ms[rows]) > run.rules.tolerance_ms
            colours = [OFF if one else INK for one in off]
            axes.scatter(at[rows], run.error_ms[rows], s=11, c=colours, marker=mark, lw=0)
            axes.scatter([], [], s=18, c=INK, marker=mark, label=limb)
        axes.set_xlim(1, len(ends_s))
        axes.set_ylim(*(_widest(run.error_ms.tolist(), tolerance_ms) * side for side in (-1, 1)))
        axes.set_xticks(range(1, len(ends_s), max(1, len(ends_s) // 12)))
        axes.set_xlabel("bar")
        axes.set_ylabel("ms (late is up)")
        axes.legend(ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0), **_LEGEND)
        return svg(figure, f"Errors of {len(run.target)} strokes over {targets.bars} bars.")


def by_position(grade: Grade, name: str) -> str:
    """The mean error and the mean level of each stroke of the pattern, in their order."""
    places = [place for place in grade.places if place.mean_ms is not None]
    if len(places) < ENOUGH:
        return ""
    counts = [_spoken(place, len({one.bar for one in places}) > 1) for place in grade.places]
    labels = list(dict.fromkeys(counts))
    if len(labels) > 40:  # what cannot be read is not shown
        return ""
    at = {label: number for number, label in enumerate(labels)}
    voices = list(dict.fromkeys(place.voice for place in places))
    with drawing(name, high=3.6, rows=2) as (figure, (errors, levels)):
        errors.axhline(0.0, color=RULE, lw=0.8)
        for mark, voice in zip(MARKS, voices, strict=False):
            own = [place for place in places if place.voice == voice]
            x = [at[_spoken(place, len({one.bar for one in places}) > 1)] for place in own]
            label = BY_NAME[voice].label
            errors.scatter(x, [place.mean_ms or 0.0 for place in own], s=18, c=INK, marker=mark)
            errors.scatter([], [], s=18, c=INK, marker=mark, label=label)
            levels.scatter(x, [place.mean_db or 0.0 for place in own], s=18, c=BLUE, marker=mark)
        errors.set_ylabel("ms (late is up)")
        levels.set_ylabel("level, dB")
        levels.set_xticks(range(len(labels)), labels, rotation=90 if len(labels) > 8 else 0)
        errors.legend(ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0), **_LEGEND)
        return svg(figure, "Mean error and mean level at each position of the bar.")


def _spoken(place: PlaceGrade, with_bar: bool) -> str:
    return f"{place.bar + 1}: {place.count}" if with_bar else place.count


def by_limb(run: MatchedRun, name: str) -> str:
    """How the errors of each limb are spread, in steps of 5 ms."""
    limbs = [(limb, rows) for limb, rows in _limbs(run) if len(rows) >= ENOUGH]
    if not limbs:
        return ""
    widest = float(np.ceil(_widest(run.error_ms.tolist(), 30.0) / 5.0) * 5.0)
    edges = np.arange(-widest, widest + 5.0, 5.0)
    with drawing(name, high=0.6 + 0.95 * len(limbs), rows=len(limbs)) as (figure, axes):
        for one, (limb, rows) in zip(axes, limbs, strict=True):
            errors = run.error_ms[rows]
            one.axvspan(-run.rules.tolerance_ms, run.rules.tolerance_ms, color=BAND, lw=0)
            one.hist(errors, edges.tolist(), color=BLUE, lw=0)
            one.axvline(float(errors.mean()), color=OFF, lw=1.4)
            one.set_title(
                f"{limb}: {errors.mean():+.0f} ms, spread {errors.std():.0f} ms",
                fontsize=8,
                loc="left",
                color=QUIET,
            )
            one.set_yticks([])
        axes[-1].set_xlabel("ms (late is right); the line is the mean")
        return svg(figure, "How the errors of each limb are spread.")


def tempo(grade: Grade, name: str) -> str:
    """The course of the tempo against the one that was asked for."""
    course = grade.steadiness.course
    if len(course) < 2:
        return ""
    with drawing(name) as (figure, (axes,)):
        axes.axhline(grade.tempo_bpm, color=RULE, lw=1.0)
        axes.plot([bar + 1 for bar, _ in course], [bpm for _, bpm in course], color=INK, lw=1.8)
        widest = max(
            0.02 * grade.tempo_bpm, *(abs(bpm - grade.tempo_bpm) * 1.1 for _, bpm in course)
        )
        axes.set_ylim(grade.tempo_bpm - widest, grade.tempo_bpm + widest)
        axes.set_xlabel(f"bar (the line is {grade.tempo_bpm:g} bpm, as asked)")
        axes.set_ylabel("bpm")
        return svg(figure, f"The tempo kept, bar by bar, against {grade.tempo_bpm:g} bpm.")


def ghosts(grade: Grade, run: MatchedRun, name: str) -> str:
    """The levels of ghost notes and of the other strokes of their voices."""
    rows: list[tuple[str, np.ndarray]] = []
    for voice in grade.dynamics.ghost_contrast_db:
        own = run.by_voice.get(voice)
        if own is None:
            continue
        for dynamic, word in _KINDS.items():
            levels = run.level_db[own][run.dynamic[own] == DYNAMICS.index(dynamic)]
            if len(levels):
                rows.append((f"{BY_NAME[voice].label} {word}", levels))
    if len(rows) < 2:
        return ""
    with drawing(name, high=0.8 + 0.36 * len(rows)) as (figure, (axes,)):
        for at, (label, levels) in enumerate(reversed(rows)):
            colour = BLUE if label.endswith("ghost") else INK
            axes.scatter(levels, np.full(len(levels), at), s=14, c=colour, alpha=0.45, lw=0)
            middle = float(np.median(levels))
            axes.plot([middle, middle], [at - 0.3, at + 0.3], color=OFF, lw=1.8)
        axes.set_yticks(range(len(rows)), [label for label, _ in reversed(rows)])
        axes.set_ylim(-0.6, len(rows) - 0.4)
        axes.set_xlabel("dB (0 is the loudest); the line is the median")
        return svg(figure, "Levels of ghost notes and of the other strokes of their voices.")


def unisons(run: MatchedRun, name: str) -> str:
    """Of strokes together, how far from the first to the last, over the run."""
    instant = run.instant
    if not len(instant):
        return ""
    sizes = np.bincount(instant)
    begins = np.append(0, np.cumsum(sizes))[:-1]
    apart = np.maximum.reduceat(run.error_ms, begins) - np.minimum.reduceat(run.error_ms, begins)
    apart = apart[sizes > 1]
    if len(apart) < ENOUGH:
        return ""
    edges = np.arange(0.0, float(np.ceil(max(30.0, apart.max()) / 5.0) * 5.0) + 5.0, 5.0)
    with drawing(name, high=1.7) as (figure, (axes,)):
        axes.hist(apart, edges.tolist(), color=BLUE, lw=0)
        axes.axvline(float(np.median(apart)), color=OFF, lw=1.4)
        axes.set_xlabel("ms from first to last; the line is the median")
        axes.set_ylabel("times")
        axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
        return svg(figure, f"How far apart {len(apart)} unisons fell.")
