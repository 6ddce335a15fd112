"""The sentences of the history."""

from collections.abc import Iterator
from datetime import date

from playalong.app.history.reading import History
from playalong.app.history.weakest import Weakest
from playalong.pattern.voices import BY_NAME
from playalong.records.store.periods import By, Period
from playalong.records.store.runs import RunRow
from playalong.support.text import counted

_STROKES = {"ghost": " ghost note", "accent": " accent"}


def weakest(found: Weakest) -> str:
    """The weakest place, in a sentence."""
    which = f" of bar {found.bar}" if found.bars > 1 else ""
    stroke = BY_NAME[found.voice].label + _STROKES.get(found.dynamic, "")
    runs = "the last run" if found.runs == 1 else f"the last {found.runs} runs"
    return (
        f"Weakest place lately: the {stroke} on the {found.count}{which}, {found.off} of "
        f"{found.of} times off in {runs} of {found.pattern}, mostly {found.fault}."
    )


def run(row: RunRow) -> str:
    """A run in a line."""
    score = "no grade" if row.score is None else f"{row.score:.0f} of 100"
    tempo = "" if row.tempo_bpm is None else f" at {row.tempo_bpm:g} bpm"
    return f"{score}, {row.title or row.pattern or row.kind}{tempo}, {row.began:%Y-%m-%d %H:%M}"


def when(row: RunRow) -> str:
    """When a run was, and at which tempo."""
    tempo = "" if row.tempo_bpm is None else f", {row.tempo_bpm:g} bpm"
    return f"{row.began.day} {row.began:%b %Y, %H:%M}{tempo}"


def day(which: date, today: date) -> str:
    """A day as a person says it: the year only where it is another one."""
    if which == today:
        return "today"
    return f"{which.day} {which:%b}" + ("" if which.year == today.year else f" {which.year}")


def said(history: History, today: date, this_week: Period | None) -> list[str]:
    """What stands out, for a page; then best and last, and how much was played this week."""
    if history.last is None:
        return ["Nothing has been played yet: the first run begins the history."]
    first = "Nothing stands out lately: no place of the bar goes wrong often."
    if history.weakest is not None:
        first = weakest(history.weakest)
    best, last = history.best, history.last
    figures = [f"best {best.score:.0f}, {day(best.began.date(), today)}"] if best else []
    if last.score is not None:
        figures.append(f"last {last.score:.0f}, {day(last.began.date(), today)}")
    if this_week is not None:
        figures.append(f"{_days(this_week.days)} this week, {duration(this_week.seconds)}")
    return [first, "  ·  ".join(figures)]


def summary(history: History, days: int, seconds: float) -> list[str]:
    """Best and last, the weakest place, and how much was played: on so many days in all."""
    lines = []
    if history.best is not None:
        lines.append(f"Best: {run(history.best)}.")
    if history.last is not None:
        lines.append(f"Last: {run(history.last)}.")
    if history.weakest is not None:
        lines.append(weakest(history.weakest))
    return [*lines, f"{_days(days)}, {duration(seconds)} of playing in all."]


def _days(count: int) -> str:
    return counted(count, "day")


def duration(seconds: float) -> str:
    """How long, for a person."""
    minutes = round(seconds / 60.0)
    if minutes < 1:
        return f"{seconds:.0f} s"
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest} min" if hours else f"{minutes} min"


def run_table(history: History) -> Iterator[str]:
    """A line for each run, under a head."""
    yield (
        f"{'run':>5}  {'when':<16}  {'pattern':<22} {'long':>8} {'bars':>4} {'bpm':>5} "
        f"{'score':>5} {'spread':>7} {'ghosts':>7} {'steady':>7}"
    )
    for row in history.rows:
        name = (row.pattern or row.kind)[:22]
        long = "" if row.seconds is None else duration(row.seconds)
        yield (
            f"{row.id:>5}  {row.began:%Y-%m-%d %H:%M}  {name:<22} {long:>8} "
            f"{row.bars or '':>4} {figure(row.tempo_bpm, 'g'):>5} {figure(row.score, '.0f'):>5} "
            f"{_ms(row.spread_ms):>7} {_db(row.contrast_db):>7} {_ms(row.steadiness_ms):>7}"
        )


def period_table(history: History, by: By) -> Iterator[str]:
    """A line for each day or week, under a head."""
    yield (
        f"{'day' if by is By.DAY else 'week from':<10} {'runs':>5} {'long':>10} {'to bpm':>6} "
        f"{'score':>5} {'best':>5} {'spread':>7} {'ghosts':>7} {'steady':>7}"
    )
    periods: list[Period] = list(history.days if by is By.DAY else history.weeks)
    for period in periods:
        yield (
            f"{period.first.isoformat():<10} {period.runs:>5} {duration(period.seconds):>10} "
            f"{figure(period.tempo_bpm, 'g'):>6} {figure(period.score, '.0f'):>5} "
            f"{figure(period.best_score, '.0f'):>5} {_ms(period.spread_ms):>7} "
            f"{_db(period.contrast_db):>7} {_ms(period.steadiness_ms):>7}"
        )


def figure(value: float | None, form: str) -> str:
    """A figure in the form asked for, "" where there is none."""
    return "" if value is None else format(value, form)


def _ms(value: float | None) -> str:
    return "" if value is None else f"{value:.0f} ms"


def _db(value: float | None) -> str:
    """How far under the plain strokes ghost notes are."""
    return "" if value is None else f"{-value:.0f} dB"
