"""playalong history: what was practised when, and what came of it."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.first_page import has_person, in_one_window
from playalong.commands.options.look import LOOK, LookOptions, add_look, look_of
from playalong.commands.options.notices import print_notices
from playalong.commands.parser import Given, Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import ask, print_errors, print_lines, progress

if TYPE_CHECKING:
    from playalong.app.user_folders import UserFolders
    from playalong.records.store.database import Database
    from playalong.records.store.players import PlayerRow

ABOUT = "see what was practised when, and what came of it"
EXAMPLES = (
    ("the last runs", "playalong history"),
    ("week by week, of one pattern", "playalong history late-bus-home --by week"),
    ("with plots, in the window", "playalong history --page"),
    ("one run again, held against another", "playalong history --run 12 --against 9"),
    ("all runs of one pattern, for a spreadsheet", "playalong history late-bus-home --csv"),
    ("keep and grade what was broken off", "playalong history --broken-off grade"),
    (
        "all that is kept of a player, as ordinary files",
        "playalong history --who Ines --export DIR",
    ),
)

#: How many runs, days or weeks are listed unless more are asked for.
LISTED = 20


class Options(Given, LookOptions, Protocol):
    """All that a history can be asked for."""

    pattern: str | None
    who: str | None
    by: str
    limit: int
    csv: bool
    json: bool
    page: bool
    run_number: int | None
    against: int | None
    broken_off: str | None
    export: Path | None
    erase: bool
    yes: bool
    simulated: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument(
        "pattern", nargs="?", metavar="PATTERN", help="of this pattern only (default all)"
    )
    parser.add_argument("--who", metavar="NAME", help="of this player (default the last one)")
    parser.add_argument(
        "--by",
        choices=("run", "day", "week"),
        default="run",
        help="a line for each of these (default %(default)s)",
    )
    parser.add_argument(
        "--limit",
        type=int,
        default=LISTED,
        metavar="N",
        help="how many lines at most, 1 or more (default %(default)s)",
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="as a CSV table")
    form.add_argument(
        "--json", action="store_true", help="as JSON: runs, days, weeks, best, weakest place"
    )
    form.add_argument(
        "--page", action="store_true", help="in the window, with plots; with --run that run"
    )
    form.add_argument(
        "--broken-off",
        choices=("list", "grade", "keep", "throw-away"),
        help="runs whose program ended before they did: list them, keep and grade them, keep them "
        "without a grade, or throw them away (default none of these)",
    )
    form.add_argument(
        "--export",
        type=Path,
        metavar="DIR",
        help="write all that is kept of the player into DIR (default nothing)",
    )
    form.add_argument(
        "--erase",
        action="store_true",
        help="erase all that is kept of the player, after listing it",
    )
    parser.add_argument(
        "--run",
        dest="run_number",
        type=int,
        metavar="N",
        help="open the run of this number again, and grade it anew (default none)",
    )
    parser.add_argument(
        "--against", type=int, metavar="N", help="with --run: held against this run (default none)"
    )
    parser.add_argument("--yes", action="store_true", help="with --erase: do not ask")
    parser.add_argument(
        "--simulated", action="store_true", help="of the simulated players, not of people"
    )
    add_look(parser)


def run(given: Options) -> None:
    """List, open, export or erase."""
    from playalong.app.history import reading
    from playalong.app.user_folders import UserFolders

    _refuse_unused(given)
    home = UserFolders.of_user()
    home.simulated = given.simulated
    memory, last = home.memory, home.settings().player  # what was there before moves in
    if given.broken_off is not None:
        _broken_off(given.broken_off, home, given.who)
        return
    if given.erase and _erase_in_name(given, home):
        return
    database = memory.opened()
    try:
        player = reading.player_of(database, given.who, last)
        if given.export is not None:
            _export(home, database, player, folder=given.export)
        elif given.erase:
            _erase(home, database, player, yes=given.yes)
        elif given.page:
            _show(given, home, player)
        else:
            _grade_pending(database, player)
            if given.run_number is not None:
                _open(database, player, given.run_number, against=given.against)
            else:
                _print(given, database, player)
    finally:
        database.close()
    if not (given.json or given.csv):
        print_notices([*home.notices, *memory.trouble, *memory.noted])


def _refuse_unused(given: Options) -> None:
    if not given.erase:
        refuse(given, "--yes", "goes with --erase, which asks before it erases")
    if given.erase or given.export is not None or given.broken_off is not None:
        refuse(given, "pattern --limit --by --run", "goes with a list of runs")
    if given.json:
        refuse(given, "--by", "does not go with --json, which has runs, days and weeks")
    if given.run_number is None:
        refuse(given, "--against", "goes with --run, the run that is held against it")
    else:
        refuse(given, "pattern --limit --by --csv --json", "goes with a list of runs")
    if not given.page:
        refuse(given, LOOK, "goes with --page, the window")
    else:
        refuse(given, "--limit --by --against", "goes with a table: the page shows all of it")
    if given.limit < 1:
        raise UserError(f"{given.limit} lines cannot be listed: choose 1 or more.")


def _grade_pending(database: "Database", player: "PlayerRow") -> None:
    """What was taken in from files is graded now."""
    from playalong.app.history.anew import grade_pending
    from playalong.records.store import runs

    count = len(runs.pending(database, player.id))
    if count:
        with progress(count, "takes of earlier times graded") as step:
            grade_pending(database, player, step=step)


def _print(given: Options, database: "Database", player: "PlayerRow") -> None:
    from playalong.app.history import reading, text
    from playalong.records.store.periods import By, played

    by = None if given.by == "run" else By(given.by)
    wanted = tuple(By) if given.json else () if by is None else (by,)
    found = reading.history(database, player, given.pattern, limit=given.limit, by=wanted)
    if given.json:
        print_lines(*json.dumps(found.as_plain(), indent=1).splitlines())
    elif given.csv:
        print_lines(*found.as_csv(by).splitlines())
    elif not found.rows:
        print_lines(f"{found.player} has no runs here yet.")
    else:
        print_lines(*(text.run_table(found) if by is None else text.period_table(found, by)), "")
        print_lines(*text.summary(found, *played(database, player.id, pattern=given.pattern)))


def _open(database: "Database", player: "PlayerRow", number: int, *, against: int | None) -> None:
    from playalong.app.history import anew, text
    from playalong.grading.text import figures

    found = anew.anew(database, anew.run_of(database, player, number))
    print_lines(f"Run {number}: {text.run(found.row)}", found.words)
    print_lines(*(f"  {difference}" for difference in found.differences), "")
    if against is None:
        for what, figure in figures(found.graded.grade):
            print_lines(f"  {what:<18} {figure}")
        texts = [finding.text for finding in found.graded.grade.findings]
        print_lines("", *texts[:4])
        return
    other = anew.anew(database, anew.run_of(database, player, against))
    print_lines(f"Run {against}: {text.run(other.row)}", other.words)
    print_lines(*(f"  {difference}" for difference in other.differences), "")
    rows = anew.compared(found, other)
    names, wide = (max(len(row[column]) for row in rows) for column in (0, 1))
    print_lines(f"  {'':<{names}}  {f'run {number}':<{wide}}  run {against}")
    for what, left, right in rows:
        print_lines(f"  {what:<{names}}  {left:<{wide}}  {right}")


def _show(given: Options, home: "UserFolders", player: "PlayerRow") -> None:
    from playalong.app.history.session import show

    if has_person() and player.name == home.settings().player:
        in_one_window(
            given,
            home,
            None,
            room=lambda home: home.look_back(given.pattern, given.run_number),
        )
        return
    show(home, look_of(given), player.name, pattern=given.pattern, number=given.run_number)


def _broken_off(what: str, home: "UserFolders", who: str | None) -> None:
    from playalong.app import broken_off

    memory = home.memory
    found = memory.broken_off(who)
    if not found:
        print_lines("No run was broken off.")
    for one in found:
        description = broken_off.describe(one)
        if what == "list":
            print_lines(f"{description}.")
        elif what == "throw-away":
            memory.throw_away(one)
            print_lines(f"{description}; thrown away.")
        else:
            graded = broken_off.take_up(memory, one, home.data / "takes", graded=what == "grade")
            score = "" if graded is None else f", {graded.grade.score.total:.0f} of 100"
            print_lines(f"{description}{score}.")
    print_notices([*home.notices, *memory.trouble, *memory.noted])


def _export(
    home: "UserFolders", database: "Database", player: "PlayerRow", *, folder: Path
) -> None:
    from playalong.app import leaving
    from playalong.records.store.players import runs_of_each

    runs, _ = runs_of_each(database).get(player.id, (0, ""))
    try:
        with progress(runs, "runs written") as step:
            count = leaving.export(home, database, player, folder=folder, progress=lambda _: step())
    except KeyboardInterrupt:
        print_errors(f"Nothing was written to {folder}.")
        raise
    print_lines(f"{count} files are in {folder}")


def _erase_in_name(given: Options, home: "UserFolders") -> bool:
    """Erase what a simulated player left in a name that the store does not know; whether there was
    any.
    """
    from playalong.app import leaving

    name = given.who
    if not given.simulated or name is None or home.player(name) is not None:
        return False
    files = leaving.in_name(home, name)
    if not files:
        return False
    print_lines(f"In the name of {name} a simulated player left:", *(f"  {path}" for path in files))
    _confirm(name, yes=given.yes)
    print_lines(*_erased(leaving.erase_files(files)))
    return True


def _confirm(name: str, *, yes: bool) -> None:
    """UserError where nobody types ``name``."""
    if not yes and ask("Erase all of it? Type the name of the player: ") != name:
        raise UserError("Nothing was erased: the name was not typed.")


def _erase(home: "UserFolders", database: "Database", player: "PlayerRow", *, yes: bool) -> None:
    from playalong.app import leaving

    found = leaving.traces_of(home, database, player)
    print_lines(*leaving.listed(player, found))
    _confirm(player.name, yes=yes)
    print_lines(*_erased(leaving.erase(database, player, found)))


def _erased(left: Sequence[Path]) -> list[str]:
    if not left:
        return ["It is erased."]
    return ["It is erased, but these files stayed:", *(f"  {path}" for path in left)]
