"""playalong class: the results of a class, verified, as a table."""

import time
from pathlib import Path
from typing import Protocol

from playalong.commands.options.out import add_force, refuse_other_kind, refuse_over
from playalong.commands.parser import Given, Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import print_errors, print_lines, progress

ABOUT = "verify all results of a folder, and show the class as a table"
EXAMPLES = (
    ("in the terminal", "playalong class results/"),
    ("as a page, with who is missing", "playalong class results/ --names 7b.txt --html 7b.html"),
    ("for a spreadsheet, without names", "playalong class results/ --csv 7b.csv --without-names"),
)


class Options(Given, Protocol):
    """The folder, and what is made of it."""

    folder: Path
    names: Path | None
    html: Path | None
    csv: Path | None
    force: bool
    without_names: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="where the results (.zip) are")
    parser.add_argument(
        "--names",
        type=Path,
        metavar="FILE",
        help="a plain list of names or codes, a line each: who has no result is told "
        "(default no list)",
    )
    parser.add_argument(
        "--html", type=Path, metavar="FILE.html", help="write the class as a page (default none)"
    )
    parser.add_argument(
        "--csv", type=Path, metavar="FILE.csv", help="write it for a spreadsheet (default none)"
    )
    add_force(parser)
    parser.add_argument(
        "--without-names", action="store_true", help="number the players, and leave names out"
    )


def run(given: Options) -> None:
    """Verify, and print the table; UserError with results that are broken or do not fit."""
    from playalong.app.assessment.classes import (
        ClassResult,
        as_csv,
        groups,
        names_in,
        read_all,
        results_in,
        without_names,
    )
    from playalong.support.files import write_file

    if given.csv is None and given.html is None:
        refuse(given, "--force", "goes with --html or --csv, a file that is written")
    for out, kinds in ((given.csv, (".csv",)), (given.html, (".html", ".htm"))):
        if out is not None:
            refuse_other_kind(out, kinds[0], also=kinds)
            refuse_over(out, given.force)
    begin_s = time.monotonic()
    names = names_in(given.names) if given.names else []
    paths = results_in(given.folder)
    results: list[ClassResult] = []
    trouble: list[str] = []
    with progress(len(paths), "results") as step:
        for read in read_all(paths):
            if read.result is None:
                trouble.append(read.trouble)
            else:
                results.append(read.result)
                trouble += [f"{read.path}: {line}" for line in read.result.wrong[:3]]
            step()
    if not results:
        raise UserError.of(trouble)
    if given.without_names:
        results, names = without_names(results, names)
        trouble = [f"{len(trouble)} things do not fit: see them without --without-names."][
            : len(trouble)
        ]
    found = groups(results)
    shown = [] if given.without_names else names
    for group in found:
        from playalong.app.assessment.class_pages import terminal_lines

        print_lines(*terminal_lines(group, shown), "")
    if given.csv is not None:
        lines = [line for group in found for line in (*as_csv(group), "")]
        write_file(given.csv, "\n".join(lines))
        print_lines(f"The table is written: {given.csv}")
    if given.html is not None:
        from playalong.app.assessment.class_pages import class_pages
        from playalong.report.html import class_page

        page = class_pages(found, names, trouble, shows_names=not given.without_names)
        write_file(given.html, class_page(page))
        print_lines(f"The page is written: {given.html}")
    print_errors(f"{len(paths)} results in {time.monotonic() - begin_s:.1f} s")
    if trouble:
        raise UserError.of(trouble)
