"""A player's own weeks: what was practised, how it went, what comes back, what to do next."""

from collections import Counter
from datetime import date, datetime, timedelta
from typing import Any

from playalong.app.assessment.reporting import homework_rows, known_patterns
from playalong.app.history.reading import player_of
from playalong.app.user_folders import UserFolders
from playalong.app.warm_up import saved
from playalong.practice.assessment.homework import Played, as_text, proposals
from playalong.practice.assessment.phrases import finding
from playalong.practice.warm_up.diary import Diary
from playalong.records.assessments.sittings import file_stem
from playalong.records.store import runs
from playalong.records.store.database import Database
from playalong.records.store.players import PlayerRow
from playalong.records.store.runs import KEPT, RunRow
from playalong.report.html import Report, Table
from playalong.report.week_plots import minutes_plot, scores_plot
from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.text import counted as said_count

#: So many patterns have a line of their own, and so many causes are listed.
MOST_PATTERNS, MOST_CAUSES = 8, 6

#: Homework comes from so many of the last runs.
_LAST = 12


def weeks_report(home: UserFolders, who: str | None, weeks: int) -> tuple[Report, str]:
    """The report on a player's last ``weeks``, and a name for its file.

    UserError where nothing was played.
    """
    last = home.settings().player
    database = home.memory.opened()
    try:
        player = player_of(database, who, last)
        since = datetime.now().astimezone() - timedelta(weeks=weeks)
        rows = _rows(database, player, since)
        if not rows:
            raise UserError(f"{player.name} has played nothing in the last {weeks} weeks.")
        warm_ups = _warm_ups(saved.load(home, player.name).diary, since.date())
        report = _report(database, player, rows, weeks=weeks, warm_ups=warm_ups)
        return report, file_stem(player.name) or "player"
    finally:
        database.close()


def _rows(database: Database, player: PlayerRow, since: datetime) -> list[RunRow]:
    where = "run.player = ? AND run.state = ? AND run.began_s >= ?"
    return runs.select(database, where, [player.id, KEPT, since.timestamp()], limit=100_000)


def _warm_ups(diary: Diary, since: date) -> list[Table]:
    """The warm-ups since a day, the latest first; none where there were none."""
    days = [one for one in diary.days if one.day[:10] >= since.isoformat()]
    rows = [
        (
            one.day[:10],
            f"{one.seconds / 60.0:.0f}",
            f"{one.warmest:.0f}°",
            str(len(one.bouts)),
        )
        for one in reversed(days)
    ]
    heads = ("warm-up", "minutes of playing", "warmest", "exercises")
    return [Table(title="Warm-ups", heads=heads, rows=rows)] if rows else []


def _report(
    database: Database,
    player: PlayerRow,
    rows: list[RunRow],
    *,
    weeks: int,
    warm_ups: list[Table],
) -> Report:
    monday = _monday(datetime.now().date())
    starts = [monday - timedelta(weeks=back) for back in reversed(range(weeks))]
    minutes = dict.fromkeys(starts, 0.0)
    for row in rows:
        week = _monday(row.began.date())
        if week in minutes:
            minutes[week] += (row.seconds or 0.0) / 60.0
    scored = [row for row in rows if row.score is not None and row.pattern]
    by_pattern: dict[str, list[RunRow]] = {}
    for row in reversed(scored):
        by_pattern.setdefault(str(row.pattern), []).append(row)
    most = sorted(by_pattern.items(), key=lambda pair: -len(pair[1]))[:MOST_PATTERNS]
    days = len({row.began.date() for row in rows})
    total = sum((row.seconds or 0.0) for row in rows) / 60.0
    homework = proposals(_last_played(database, scored), known_patterns())
    plots = [minutes_plot(minutes), scores_plot(_series(most))]
    return Report(
        title="Weeks of practice",
        player=player.name,
        facts=[
            ("weeks", f"{weeks}, since {starts[0]:%Y-%m-%d}"),
            (
                "played",
                f"{said_count(len(rows), 'run')} on {said_count(days, 'day')}, {total:.0f} minutes",
            ),
        ],
        plots=[plot for plot in plots if plot.svg],
        tables=[_patterns(most), _causes(database, rows), *warm_ups],
        homework=homework_rows(homework),
        homework_file=as_text(homework) if homework else "",
        caution=CAUTION,
    )


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _series(most: list[tuple[str, list[RunRow]]]) -> dict[str, list[tuple[datetime, float]]]:
    return {
        own[-1].title or name: [(row.began, float(row.score or 0.0)) for row in own]
        for name, own in most
    }


def _patterns(most: list[tuple[str, list[RunRow]]]) -> Table:
    rows = []
    for name, own in most:
        scores = [float(row.score or 0.0) for row in own]
        tempi = [row.tempo_bpm for row in own if row.tempo_bpm]
        rows.append(
            (
                own[-1].title or name,
                str(len(own)),
                f"{scores[0]:.0f}",
                f"{scores[-1]:.0f}",
                f"{max(scores):.0f}",
                f"{max(tempi):g}" if tempi else "",
            )
        )
    heads = ("pattern", "runs", "first", "last", "best", "fastest, bpm")
    return Table(title="Patterns", heads=heads, rows=rows)


def _causes(database: Database, rows: list[RunRow]) -> Table:
    """What was found most often, and whether it was found less in the second half."""
    half = len(rows) // 2  # the latest come first
    late, early = (_codes(database, part) for part in (rows[:half], rows[half:]))
    counted = (late + early).most_common(MOST_CAUSES)
    cells = [
        (finding(code), str(count), str(early[code]), str(late[code]))
        for code, count in counted
        if code != "clean"
    ]
    heads = ("what was found", "runs", "first half", "second half")
    return Table(title="What comes back", heads=heads, rows=cells)


def _codes(database: Database, rows: list[RunRow]) -> Counter[str]:
    found: Counter[str] = Counter()
    for row in rows:
        codes = database.rows("SELECT DISTINCT code FROM finding WHERE run = ?", (row.id,))
        found.update(code for (code,) in codes)
    return found


def _last_played(database: Database, scored: list[RunRow]) -> list[Played]:
    known, found = known_patterns(), []
    for row in scored[:_LAST]:
        pattern = known.get(str(row.pattern))
        grade: Any = runs.grade_of(database, row.id)[0]
        if pattern is not None and grade and row.tempo_bpm:
            found.append(
                Played(pattern=pattern, tempo_bpm=row.tempo_bpm, findings=grade["findings"])
            )
    return found
