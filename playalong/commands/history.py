"""playalong history: what was practised when, and what came of it."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.notices import print_notices
from playalong.commands.parser import Given, Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.history import History
    from playalong.app.memory import Memory
    from playalong.app.user_folders import UserFolders
    from playalong.records.store.database import Database
    from playalong.records.store.players import PlayerRow

ABOUT = "see what was practised when, and what came of it"
EXAMPLES = (
    ("the last runs", "playalong history"),
    ("all runs of one pattern, for a spreadsheet", "playalong history late-bus-home --csv"),
    ("keep and grade what was broken off", "playalong history --broken-off keep"),
    (
        "all that is kept of a player, as ordinary files",
        "playalong history --who Ines --export DIR",
    ),
)

#: How many runs are listed unless more are asked for.
LISTED = 20


class Options(Given, Protocol):
    """All that a history can be asked for."""

    pattern: str | None
    who: str | None
    limit: int
    csv: bool
    json: bool
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
        "--limit",
        type=int,
        default=LISTED,
        metavar="N",
        help="how many runs at most (default %(default)s)",
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="as a CSV table")
    form.add_argument("--json", action="store_true", help="as JSON")
    form.add_argument(
        "--broken-off",
        choices=("list", "keep", "throw-away"),
        help="runs whose program ended before they did: list them, keep and grade them, or throw "
        "them away (default none of these)",
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
    parser.add_argument("--yes", action="store_true", help="with --erase: do not ask")
    parser.add_argument(
        "--simulated", action="store_true", help="of the simulated players, not of people"
    )


def run(given: Options) -> None:
    """List, export or erase."""
    from playalong.app import history, leaving
    from playalong.app.user_folders import UserFolders

    if not given.erase:
        refuse(given, "--yes", "goes with --erase, which asks before it erases")
    if given.erase or given.export is not None or given.broken_off is not None:
        refuse(given, "pattern --limit", "goes with a list of runs")
    home = UserFolders.of_user()
    home.simulated = given.simulated
    memory, last = home.memory, home.settings().player  # what was there before moves in
    if given.limit < 1:
        raise UserError(f"{given.limit} runs cannot be listed: choose 1 or more.")
    if given.broken_off is not None:
        _broken_off(given.broken_off, memory, home.data / "takes", given.who)
        return
    database = history.opened(memory)
    try:
        player = history.player_of(database, given.who, last)
        if given.export is not None:
            count = leaving.export(database, player, given.export)
            print_lines(f"{count} files are in {given.export}")
        elif given.erase:
            _erase(home, database, player, given.yes)
        else:
            found = history.history(database, player, given.pattern, given.limit)
            _print(given, found)
    finally:
        database.close()
    print_notices([*home.notices, *memory.told])


def _print(given: Options, found: "History") -> None:
    if given.json:
        print_lines(*json.dumps(found.as_plain(), indent=1).splitlines())
        return
    if given.csv:
        print_lines(*found.as_csv().splitlines())
        return
    if not found.rows:
        print_lines(f"{found.player} has no runs here yet.")
        return
    print_lines(f"{'when':<17} {'pattern':<24} {'bars':>4} {'bpm':>5} {'score':>5} {'spread':>7}")
    for row in found.rows:
        score = "" if row.score is None else f"{row.score:.0f}"
        spread = "" if row.spread_ms is None else f"{row.spread_ms:.0f} ms"
        tempo = "" if row.tempo_bpm is None else f"{row.tempo_bpm:g}"
        print_lines(
            f"{row.began:%Y-%m-%d %H:%M}  {row.pattern or row.kind:<24} {row.bars or '':>4} "
            f"{tempo:>5} {score:>5} {spread:>7}"
        )
    best, days = found.best, found.days()
    if best is not None:
        print_lines(f"Best: {best.score:.0f}, {best.title or best.pattern}, {best.began:%Y-%m-%d}.")
    minutes = sum(days.values()) / 60.0
    print_lines(f"{len(days)} {'day' if len(days) == 1 else 'days'}, {minutes:.0f} min of playing.")


def _broken_off(what: str, memory: "Memory", folder: Path, who: str | None) -> None:
    from playalong.app import history

    found = memory.broken_off(who)
    if not found:
        print_lines("No run was broken off.")
    for one in found:
        row = one.row
        told = f"{row.title or row.kind}, {row.began:%Y-%m-%d %H:%M}, {row.player}"
        if what == "list":
            print_lines(f"{told}: {len(one.messages)} messages are kept.")
        elif what == "keep":
            score = history.take_up(memory, one, folder)
            graded = "without a grade" if score is None else f"{score:.0f} of 100"
            print_lines(f"{told}: kept, {graded}.")
        else:
            history.throw_away(memory, one)
            print_lines(f"{told}: thrown away.")


def _erase(home: "UserFolders", database: "Database", player: "PlayerRow", yes: bool) -> None:
    from playalong.app import leaving

    found = leaving.traces_of(home, database, player)
    print_lines(
        f"Of {player.name} there is: {found.runs} runs, {found.lessons} lessons, "
        f"{found.profiles} profiles, {len(found.files)} files."
    )
    for path in found.files:
        print_lines(f"  {path}")
    if not yes:
        try:
            answer = input("Erase all of it? Type the name of the player: ")
        except EOFError:
            answer = ""
        if answer.strip() != player.name:
            raise UserError("Nothing was erased: the name was not typed.")
    left = leaving.erase(database, player, found)
    print_lines("It is erased." if not left else "It is erased, but these files stayed:")
    for path in left:
        print_lines(f"  {path}")
