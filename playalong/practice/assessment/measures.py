"""The figures of a grade that an assessment can ask for.

A figure is taken from the JSON of the grade and from nowhere else, so that what a mark stands on is
what ``playalong grade --json`` prints. Each has a name, as it is written in the file, a unit, the
side on which it is good, and the range in which a limit makes sense.

==============  =========  =======================================================================
name            good is    what
==============  =========  =======================================================================
score           at least   the score, 0 to 100
on-time         at least   strokes on time, per cent of those asked
early, late     at most    strokes outside the tolerance, to one side
missed          at most    strokes missed
extra           at most    strokes too many
wrong-drum      at most    strokes on another drum
too-loud        at most    strokes louder than asked
too-soft        at most    strokes softer than asked
not-open        at most    open strokes of the hi-hat that were not open
not-closed      at most    closed strokes of the hi-hat that were not closed
spread          at most    standard deviation of the errors, ms
mean            at most    mean error, ms, to either side
median          at most    median error, ms, to either side
drift           at most    tempo kept against the tempo asked, per cent, to either side
steadiness      at most    spread around the tempo kept, ms
ghost-contrast  at least   how far the ghost notes lie under the other strokes, dB: of several
                           voices that which has least
unisons         at most    median distance of strokes together, ms
strokes         at least   score of its parts, each 0 to 100, as in the grade: see
timing                     ``grading.measures.score``
loudness
hi-hat
ornaments
==============  =========  =======================================================================
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

#: A grade as ``grade --json`` has it.
Plain = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One figure: where it is good, its unit, what it is called, and how it is had.

    ``figure`` gives None where the grade has none. ``low`` to ``high`` is where a limit may lie.
    """

    at_least: bool
    unit: str
    label: str
    low: float
    high: float
    figure: Callable[[Plain], float | None]

    def reaches(self, value: float, limit: float) -> bool:
        """Whether ``value`` is as good as ``limit``."""
        return value >= limit if self.at_least else value <= limit

    def written(self, value: float | None) -> str:
        """A figure with its unit."""
        if value is None:
            return "none"
        digits = 0 if self.unit in ("", "strokes", "points") else 1
        text = f"{value:.{digits}f}"
        return f"{text} {self.unit}" if self.unit else text

    def limit(self, value: float) -> str:
        """A limit in words: "at most 25 ms"."""
        side = "at least" if self.at_least else "at most"
        return f"{side} {value:g} {self.unit}".rstrip()


def _at(*keys: str) -> Callable[[Plain], float | None]:
    def figure(grade: Plain) -> float | None:
        found: Any = grade
        for key in keys:
            found = found[key]
        return None if found is None else float(found)

    return figure


def _either_side(*keys: str) -> Callable[[Plain], float | None]:
    figure = _at(*keys)

    def size(grade: Plain) -> float | None:
        found = figure(grade)
        return None if found is None else abs(found)

    return size


def _on_time(grade: Plain) -> float | None:
    counts = grade["counts"]
    return 100.0 * counts["on_time"] / counts["targets"] if counts["targets"] else None


def _contrast(grade: Plain) -> float | None:
    found = [
        value for value in grade["dynamics"]["ghost_contrast_db"].values() if value is not None
    ]
    return -max(found) if found else None


def _points(label: str, *keys: str) -> Measure:
    return Measure(
        at_least=True, unit="points", label=label, low=0.0, high=100.0, figure=_at(*keys)
    )


def _strokes(label: str, key: str) -> Measure:
    return Measure(
        at_least=False,
        unit="strokes",
        label=label,
        low=0.0,
        high=100_000.0,
        figure=_at("counts", key),
    )


def _ms(label: str, figure: Callable[[Plain], float | None]) -> Measure:
    return Measure(at_least=False, unit="ms", label=label, low=0.0, high=1000.0, figure=figure)


MEASURES: Mapping[str, Measure] = {
    "score": _points("score", "score", "total"),
    "on-time": Measure(
        at_least=True, unit="%", label="on time", low=0.0, high=100.0, figure=_on_time
    ),
    "early": _strokes("early", "early"),
    "late": _strokes("late", "late"),
    "missed": _strokes("missed", "missed"),
    "extra": _strokes("too many", "extra"),
    "wrong-drum": _strokes("on another drum", "wrong_drum"),
    "too-loud": _strokes("too loud", "too_loud"),
    "too-soft": _strokes("too soft", "too_soft"),
    "not-open": _strokes("hi-hat not open", "not_open"),
    "not-closed": _strokes("hi-hat not closed", "not_closed"),
    "spread": _ms("spread", _at("timing", "sd_ms")),
    "mean": _ms("mean error", _either_side("timing", "mean_ms")),
    "median": _ms("median error", _either_side("timing", "median_ms")),
    "drift": Measure(
        at_least=False,
        unit="%",
        label="tempo kept, off by",
        low=0.0,
        high=100.0,
        figure=_either_side("steadiness", "drift_percent"),
    ),
    "steadiness": _ms("spread around the tempo kept", _at("steadiness", "residual_sd_ms")),
    "ghost-contrast": Measure(
        at_least=True,
        unit="dB",
        label="ghost notes under the other strokes",
        low=-80.0,
        high=80.0,
        figure=_contrast,
    ),
    "unisons": _ms("unisons apart", _at("unison", "median_ms")),
    "strokes": _points("strokes played", "score", "strokes"),
    "timing": _points("timing", "score", "timing"),
    "loudness": _points("loudness", "score", "loudness"),
    "hi-hat": _points("hi-hat", "score", "hi_hat"),
    "ornaments": _points("flams and drags", "score", "ornaments"),
}
