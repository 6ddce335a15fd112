"""The figures of a history as plots over time, and its runs as lines of a list."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from playalong.app.history.reading import History
from playalong.app.history.text import day, duration, figure
from playalong.records.store.periods import By, Period
from playalong.records.store.runs import RunRow
from playalong.screen.history_pages.look_back import RunLine
from playalong.screen.history_pages.plots import Plot

#: How many days back the plots reach: six weeks of days, a year of weeks.
_BACK = {By.DAY: 42, By.WEEK: 52 * 7}


def last_shown(by: By, today: date, played: date | None) -> date:
    """The last day of the plots: today, or that of the last run where it was long ago."""
    if played is None or (today - played).days <= _BACK[by]:
        return today
    return played


def first_shown(by: By, last: date) -> date:
    """The first day of the plots, given the last."""
    return last - timedelta(days=_BACK[by])


@dataclass(frozen=True, kw_only=True)
class _Kind:
    """A figure of a period: its name, how it is had and written, and the least span of its axis."""

    name: str
    of: Callable[[Period], float | None]
    written: Callable[[float], str]
    least: float
    stands: bool = False


_KINDS = (
    _Kind(
        name="Played",
        of=lambda one: one.seconds / 60.0,
        written=lambda value: duration(value * 60),
        least=10,
        stands=True,
    ),
    _Kind(name="Score", of=lambda one: one.score, written=lambda value: f"{value:.0f}", least=10),
    _Kind(
        name="Tempo",
        of=lambda one: one.tempo_bpm,
        written=lambda value: f"{value:.0f} bpm",
        least=10,
    ),
    _Kind(
        name="Spread",
        of=lambda one: one.spread_ms,
        written=lambda value: f"{value:.0f} ms",
        least=10,
    ),
    _Kind(
        name="Ghost notes",
        of=lambda one: None if one.contrast_db is None else -one.contrast_db,
        written=lambda value: f"{value:.0f} dB",
        least=6,
    ),
    _Kind(
        name="Steadiness",
        of=lambda one: one.steadiness_ms,
        written=lambda value: f"{value:.0f} ms",
        least=10,
    ),
)


def plots(history: History, by: By, last: date, *, today: date) -> list[Plot]:
    """A plot for each figure, over the days or weeks until the day ``last``."""
    periods = history.days if by is By.DAY else history.weeks
    first = first_shown(by, last)
    shown = [one for one in reversed(periods) if one.first >= first]
    ends = day(first, today), "today" if last == today else day(last, today)
    return [_plot(kind, shown, first=first, last=last, span=ends) for kind in _KINDS]


def _plot(
    kind: _Kind, periods: Sequence[Period], *, first: date, last: date, span: tuple[str, str]
) -> Plot:
    days = max(1, (last - first).days)
    points = [
        ((one.first - first).days / days, value)
        for one in periods
        if (value := kind.of(one)) is not None
    ]
    values = [value for _, value in points]
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    if kind.stands:
        low, high = 0.0, max(high, kind.least)
    elif high - low < kind.least:  # a small change is not made to look large
        middle = (low + high) / 2
        low, high = max(0.0, middle - kind.least / 2), middle + kind.least / 2
    return Plot(
        name=kind.name,
        words=kind.written(values[-1]) if values else "",
        points=points,
        low=low,
        high=high,
        ends=(figure(low, ".0f"), figure(high, ".0f")),
        span=span,
        stands=kind.stands,
    )


def line(row: RunRow, today: date) -> RunLine:
    """A run in a list."""
    return RunLine(
        when=f"{day(row.began.date(), today)}, {row.began:%H:%M}",
        what=row.title or row.pattern or row.kind,
        tempo="" if row.tempo_bpm is None else f"{row.tempo_bpm:g} bpm",
        score=figure(row.score, ".0f"),
    )
