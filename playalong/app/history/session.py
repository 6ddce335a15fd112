"""Looking back in the window: plots and runs, a run opened again, and a player's own data.

``look_back`` and ``your_data`` are each a visit to a page from wherever the window is; they return
when it is left.
"""

from collections.abc import Callable
from contextlib import closing, suppress
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path

from playalong.app import leaving
from playalong.app.broken_off import say_on_page, try_on_page
from playalong.app.history import plotted, text
from playalong.app.history.anew import Anew, anew, compared, grade_pending, run_of
from playalong.app.history.reading import History, history, last_day, player_of
from playalong.app.history.sheet_of_run import heard, sheet_of
from playalong.app.listen_back import listen_back
from playalong.app.open_devices import Look, OpenDevices
from playalong.app.recording.background import LeftError, work_on_page
from playalong.app.run.clock import RealClock
from playalong.app.run.context import RunContext
from playalong.app.run.frame_loop import hold
from playalong.app.user_folders import UserFolders
from playalong.grading.text import figures
from playalong.records.store import players, runs
from playalong.records.store.database import Database
from playalong.records.store.erasing import Traces
from playalong.records.store.periods import By, periods
from playalong.records.store.players import PlayerRow
from playalong.records.store.runs import RunRow
from playalong.screen.base.keys import Key
from playalong.screen.base.page import Outcome
from playalong.screen.base.widgets import LEAVE, LISTEN, Button
from playalong.screen.history_pages.bar_by_bar import BarByBarPage
from playalong.screen.history_pages.choices import (
    ERASE,
    ERASE_ALL,
    ERASE_NONE,
    EXPORT,
    ChoicesPage,
)
from playalong.screen.history_pages.comparison import ComparisonPage
from playalong.screen.history_pages.look_back import LookBackPage
from playalong.screen.pages.result import ResultPage
from playalong.support.errors import UserError
from playalong.support.text import counted

SHEET = Button((Key.ENTER,), "Enter", "bar by bar", outcome=Outcome.SHEET)
COMPARE = Button(("c", "C"), "C", "compare", outcome=Outcome.COMPARE)

#: The page lists so many runs; the table on a terminal lists all.
_LISTED = 200


def show(
    home: UserFolders, look: Look, who: str, *, pattern: str | None, number: int | None
) -> None:
    """Open a window that looks back; on the run of that ``number`` where there is one."""
    with OpenDevices(look, home, RealClock(), notices=()) as context:
        if context.window.offscreen:
            raise UserError("There is no screen for the page: leave out --page for a table.")
        look_back(context, home, who, pattern=pattern, number=number)


def look_back(
    context: RunContext,
    home: UserFolders,
    who: str,
    *,
    pattern: str | None = None,
    number: int | None = None,
) -> None:
    """What ``who`` has practised, with plots, until it is left.

    ``pattern`` is the one that is shown first, None for all; ``number`` a run that is opened at
    once. UserError where there is nothing to look back on.
    """
    _LookBack(context, home, who, pattern=pattern).go(number)


def your_data(context: RunContext, home: UserFolders, who: str) -> bool:
    """What is kept of ``who``: exported as files, or erased; whether it was erased."""
    with closing(home.memory.opened()) as database:
        player = player_of(database, who, who)
        notice = ""
        while True:
            found = leaving.traces_of(home, database, player)
            page = ChoicesPage(
                context.theme,
                "Your data",
                said=f"This is kept of {player.name}, on this computer alone.",
                lines=leaving.listed(player, found),
                offered=[EXPORT, ERASE, LEAVE],
                notices=[notice],
            )
            outcome = hold(context, page, 0.0)
            if outcome is Outcome.EXPORT:
                notice = _export(context, home, player)
            elif outcome is Outcome.ERASE:
                if _erase(context, database, player, found=found):
                    return True
            else:
                return False


def _export(context: RunContext, home: UserFolders, player: PlayerRow) -> str:
    name = leaving.folder_name(player, datetime.now())
    for folder in (Path.home() / name, Path.cwd() / name):

        def work(progress: Callable[[float], None], folder: Path = folder) -> int:
            with closing(home.memory.opened()) as database:  # a thread has its own
                return leaving.export(home, database, player, folder=folder, progress=progress)

        try:
            count = work_on_page(context, "Your data", "Writing your files", work=work)
        except LeftError:
            return "Nothing was written: it was left before it was ready."
        except UserError as error:
            message = str(error)
            continue
        return f"{count} files are in {folder}"
    return message


def _erase(context: RunContext, database: Database, player: PlayerRow, *, found: Traces) -> bool:
    """Ask once, and erase; whether it is done."""
    page = ChoicesPage(
        context.theme,
        "Erase",
        said=f"Erase all that is kept of {player.name}? It cannot be brought back.",
        lines=leaving.listed(player, found),
        offered=[ERASE_ALL, ERASE_NONE],
    )
    if hold(context, page, 0.0) is not Outcome.ERASE:
        return False
    left = try_on_page(context, partial(leaving.erase, database, player, found))
    if left is None:
        return False
    stayed = [f"This file stayed: {path}" for path in left]
    say_on_page(context, "Erased", f"Nothing is kept of {player.name} any more.", lines=stayed)
    return True


class _LookBack:
    """The page and what is opened from it."""

    def __init__(
        self, context: RunContext, home: UserFolders, who: str, *, pattern: str | None
    ) -> None:
        self._context, self._home, self._who = context, home, who
        self._pattern, self._by, self._chosen = pattern, By.DAY, 0

    def go(self, number: int | None) -> None:
        """Until it is left."""
        with closing(self._home.memory.opened()) as database:
            player = players.find(database, self._who)
            if player is None:
                raise UserError("Nothing has been played yet: the first run begins the history.")
            self._database, self._player = database, player
            self._grade_pending()
            if number is not None:
                self._open(run_of(database, self._player, number))
                return
            while self._once():
                pass

    def _grade_pending(self) -> None:
        """Takes of earlier times are graded before they are shown; who leaves sees the others."""
        count = len(runs.pending(self._database, self._player.id))
        if not count:
            return

        def work(progress: Callable[[float], None]) -> int:
            done = 0

            def step() -> None:
                nonlocal done
                done += 1
                progress(done / count)

            with closing(self._home.memory.opened()) as database:
                return grade_pending(database, self._player, step=step)

        with suppress(LeftError):
            work_on_page(self._context, "Look back", "Grading takes of earlier times", work=work)

    def _once(self) -> bool:
        """Show the page once; whether it goes on."""
        today = date.today()
        played = last_day(self._database, self._player, self._pattern)
        last = plotted.last_shown(self._by, today, played)
        found = history(
            self._database,
            self._player,
            self._pattern,
            limit=_LISTED,
            by=(self._by,),
            since=plotted.first_shown(self._by, last),
        )
        page = self._page(found, last, today)
        outcome = hold(self._context, page, 0.0)
        self._chosen = page.chosen
        if outcome is Outcome.OPEN and found.rows:
            self._open(found.rows[self._chosen])
        elif outcome is Outcome.SPAN:
            self._by = By.WEEK if self._by is By.DAY else By.DAY
        elif outcome is Outcome.OTHER:
            self._other_pattern()
        elif outcome is Outcome.DATA:
            return not your_data(self._context, self._home, self._player.name)
        return outcome is not Outcome.LEAVE

    def _other_pattern(self) -> None:
        ways = [None, *runs.patterns(self._database, self._player.id)]
        at = ways.index(self._pattern) if self._pattern in ways else 0
        self._pattern, self._chosen = ways[(at + 1) % len(ways)], 0

    def _page(self, found: History, last: date, today: date) -> LookBackPage:
        title = "all patterns"
        if self._pattern is not None and found.last is not None:
            title = found.last.title or self._pattern
        monday = today - timedelta(days=today.weekday())
        week = periods(
            self._database, self._player.id, By.WEEK, pattern=self._pattern, since=monday
        )
        said, *also = text.said(found, today, week[0] if week else None)
        return LookBackPage(
            self._context.theme,
            "Look back",
            f"{self._player.name}  ·  {title}",
            said=said,
            also=also,
            plots=plotted.plots(found, self._by, last, today=today),
            runs=[plotted.line(row, today) for row in found.rows],
            chosen=self._chosen,
        )

    # A run.

    def _open(self, row: RunRow) -> None:
        """The grade of a run, made anew; and from there its sheet, its sound, another run."""
        found = try_on_page(self._context, partial(anew, self._database, row))
        while found is not None:
            outcome = hold(self._context, self._result(found), 0.0)
            if outcome is Outcome.SHEET:
                self._bar_by_bar(found)
            elif outcome is Outcome.LISTEN:
                listen_back(self._context, sheet_of(found, self._context), heard(found))
            elif outcome is Outcome.COMPARE:
                self._compare(found)
            else:
                return

    def _result(self, found: Anew) -> ResultPage:
        grade, run = found.graded.grade, found.graded.run
        bars = counted(grade.bars, "bar")
        best = runs.best(self._database, self._player.id, found.row.pattern)
        return ResultPage(
            self._context.theme,
            title=found.graded.expected.pattern.title,
            subtitle=f"{bars} at {grade.tempo_bpm:g} bpm  ·  {found.row.began:%d %b %Y, %H:%M}",
            total=grade.score.total,
            advice=grade.advice,
            also=[each.text for each in grade.findings[1:]],
            figures=figures(grade),
            places=grade.places,
            bars=found.graded.expected.bars,
            voices=run.targets.voices,
            notices=[found.words, *found.differences[:2]],
            rules=run.rules,
            offered=[SHEET, LISTEN, COMPARE, LEAVE],
            level=self._context.level(),
            course=grade.steadiness.course,
            requested_bpm=grade.tempo_bpm,
            best=best.score if best else None,
        )

    def _bar_by_bar(self, found: Anew) -> None:
        starts_s = [float(start_s) for start_s in found.graded.run.targets.bar_starts_s]
        page = BarByBarPage(sheet_of(found, self._context), starts_s)
        while hold(self._context, page, 0.0) is Outcome.LISTEN:
            listen_back(self._context, sheet_of(found, self._context), heard(found))

    def _compare(self, found: Anew) -> None:
        """Beside another run of the pattern: the best one first, then the others."""
        rows = [
            row
            for row in runs.history(
                self._database, self._player.id, name=found.row.pattern, limit=_LISTED
            )
            if row.id != found.row.id and row.score is not None
        ]
        if not rows:
            say_on_page(self._context, "Compare", "There is no other run of this pattern yet.")
            return
        at = max(range(len(rows)), key=lambda place: rows[place].score or 0.0)
        outcome: Outcome | None = None
        while outcome is not Outcome.LEAVE:
            other = try_on_page(self._context, partial(anew, self._database, rows[at]))
            if other is None:
                return
            page = ComparisonPage(
                self._context.theme,
                found.graded.expected.pattern.title,
                named=(text.when(found.row), text.when(other.row)),
                rows=[row for row in compared(found, other) if all(row)],
                has_others=len(rows) > 1,
            )
            outcome = hold(self._context, page, 0.0)
            at = (at + (1 if outcome is Outcome.NEXT else -1)) % len(rows)
