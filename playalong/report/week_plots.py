"""Plots over weeks: how long was played, and what the runs of each pattern came to."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from playalong.report.drawing import BLUE, INK, MARKS, OFF, QUIET, drawing, svg
from playalong.report.plots import Plot

#: So many dates have room below a plot.
_DATES = 5

_COLOURS = (INK, BLUE, OFF, QUIET)


def minutes_plot(minutes: Mapping[date, float]) -> Plot:
    """Minutes of playing in each week, by its Monday."""
    weeks = list(minutes)
    with drawing("minutes", high=1.9) as (figure, (axes,)):
        axes.bar(range(len(weeks)), list(minutes.values()), color=BLUE)
        step = -(-len(weeks) // _DATES)
        ticks = range(0, len(weeks), step)
        axes.set_xticks(list(ticks), [f"{weeks[at].day} {weeks[at]:%b}" for at in ticks])
        axes.set_ylabel("minutes")
        return Plot("Minutes of playing, week by week", svg(figure, "Minutes in each week."))


def scores_plot(series: Mapping[str, Sequence[tuple[datetime, float]]]) -> Plot:
    """The scores of the runs of each pattern, in their order."""
    if not any(len(points) > 1 for points in series.values()):
        return Plot("", "")
    first = min(points[0][0] for points in series.values())
    with drawing("scores", high=2.8) as (figure, (axes,)):
        for number, (title, points) in enumerate(series.items()):
            days = [(when - first).total_seconds() / 86_400.0 for when, _ in points]
            colour, mark = _COLOURS[number % len(_COLOURS)], MARKS[number % len(MARKS)]
            scores = [score for _, score in points]
            axes.plot(days, scores, color=colour, lw=0.8, marker=mark, ms=3.5, label=title)
        axes.set_xlabel(f"days since {first.day} {first:%B}")
        axes.set_ylabel("score")
        axes.legend(ncols=2, loc="upper center", bbox_to_anchor=(0.5, -0.24), fontsize=8)
        return Plot("Scores, pattern by pattern", svg(figure, "Scores of each pattern over time."))
