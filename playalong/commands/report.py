"""playalong report: one HTML file on a result, a run, or a player's own weeks."""

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.folder import user_folders
from playalong.commands.options.out import add_force, refuse_other_kind, refuse_over
from playalong.commands.parser import Given, Parser, refuse
from playalong.support.errors import UserError
from playalong.support.reading import is_file
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.report.html import Report

ABOUT = "write a report as one HTML file, for the phone and for paper"
EXAMPLES = (
    ("on a result", "playalong report autumn-term-7b-12.zip"),
    ("on one run", "playalong report take.mid --out report.html"),
    ("on a run of the history, by its number", "playalong report 12"),
    ("on a player's own weeks of practice", "playalong report --who Ines"),
)


class Options(Given, Protocol):
    """On what, and where it goes."""

    what: Path | None
    who: str | None
    weeks: int
    without_name: bool
    out: Path | None
    force: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument(
        "what",
        nargs="?",
        type=Path,
        metavar="RESULT|RUN",
        help="a result (.zip), a take (.mid), or the number of a run in the history "
        "(default the weeks of --who)",
    )
    parser.add_argument(
        "--who", metavar="NAME", help="the practice weeks of this player (default the last one)"
    )
    parser.add_argument(
        "--weeks",
        type=int,
        default=8,
        metavar="N",
        help="how many weeks back, 1 to 520, without RESULT|RUN (default %(default)s)",
    )
    parser.add_argument("--without-name", action="store_true", help="leave the player's name out")
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE.html",
        help="where it goes (default beside what it is on, or in this folder)",
    )
    add_force(parser)


def run(given: Options) -> None:
    """Write it; say where it is."""
    from playalong.report.html import report_page
    from playalong.support.files import write_file

    if given.what is not None and given.who is not None:
        raise UserError("A report is on a result, a run or the weeks of --who: leave out one.")
    if given.what is not None:
        refuse(given, "--weeks", "goes with the weeks of --who")
    if given.out is not None:
        refuse_other_kind(given.out, ".html", also=(".htm",))
    if not 1 <= given.weeks <= 520:
        raise UserError(f"{given.weeks} weeks cannot be reported: choose 1 to 520.")
    report, beside = _report(given)
    out = given.out or beside
    refuse_over(out, given.force)
    write_file(out, report_page(report))
    print_lines(f"The report is written: {out}")
    if report.warnings:
        raise UserError.of(report.warnings)


def _report(given: Options) -> tuple["Report", Path]:
    from dataclasses import replace

    from playalong.app.assessment.reporting import result_report, run_report, take_report
    from playalong.app.assessment.weeks import weeks_report
    from playalong.records.takes import read

    if given.what is None:
        report, name = weeks_report(user_folders(), given.who, given.weeks)
        beside = Path("weeks.html" if given.without_name else f"{name}-weeks.html")
    elif given.what.suffix.lower() in (".mid", ".midi"):
        report = take_report(read(given.what), str(given.what))
        beside = given.what.with_suffix(".html")
    elif given.what.name.isdecimal() and not is_file(given.what):
        report = run_report(user_folders().memory, int(given.what.name))
        beside = Path(f"run-{given.what.name}.html")
    else:
        report, beside = result_report(given.what), given.what.with_suffix(".html")
    return (replace(report, player="") if given.without_name else report), beside
