"""playalong sheet: patterns as sheets to print."""

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.out import add_force, refuse_other_kind, refuse_over
from playalong.commands.parser import Given, Parser
from playalong.support.terminal import print_lines
from playalong.support.text import counted

if TYPE_CHECKING:
    from playalong.report.paper.layout import Page

ABOUT = "print patterns: staff notation with the count, chunks, variations, and room for a pen"
EXAMPLES = (
    ("late-bus-home.pdf in this folder", "playalong sheet late-bus-home"),
    ("a picture for a message", "playalong sheet late-bus-home --out groove.png"),
    ("several in one file", "playalong sheet wide-stairs odd-socks-drawer --out lesson.pdf"),
    (
        "on the program's own grid, on Letter",
        "playalong sheet my-groove.toml --grid --paper letter",
    ),
)

_PAPERS = ("a4", "letter")


class Options(Given, Protocol):
    """Which patterns, how they are set, and where the sheet goes."""

    patterns: list[str]
    out: Path | None
    paper: str
    grid: bool
    left_handed: bool
    force: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument(
        "patterns",
        nargs="+",
        metavar="PATTERN",
        help="the name of a pattern (playalong patterns lists them), or a pattern file (.toml)",
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="where it goes; its ending says as what: .pdf, .svg, .png (default the pattern's name "
        "and .pdf, in this folder); pages of pictures are numbered",
    )
    parser.add_argument("--paper", choices=_PAPERS, default="a4", help="the paper (default a4)")
    parser.add_argument(
        "--grid", action="store_true", help="boxes on a grid, and not notes in staves"
    )
    parser.add_argument(
        "--left-handed", action="store_true", help="with the hands mirrored, for the left-handed"
    )
    add_force(parser)


def run(given: Options) -> None:
    """Write the sheet; say where it is."""
    from playalong.app.own_patterns import printed
    from playalong.records.pattern_files import load_pattern
    from playalong.report.paper.layout import Paper

    patterns = [load_pattern(name) for name in given.patterns]
    out = given.out or printed.usual_out(patterns)
    refuse_other_kind(out, *printed.KINDS)
    printing = printed.Printing(
        Paper[given.paper.upper()], on_grid=given.grid, left_handed=given.left_handed
    )
    pages: list[Page] = [page for pattern in patterns for page in printing.pages(pattern)]
    for path in printed.names_of(out, len(pages)):
        refuse_over(path, given.force)
    title = ", ".join(pattern.title for pattern in patterns)
    written = printed.as_files(pages, out, title)
    printed.write_all(written)
    print_lines(
        f"{counted(len(pages), 'page')} written: {', '.join(str(path) for path, _ in written)}"
    )
    if printing.on_grid and not given.grid:
        print_lines(f"  on the program's own grid: {printed.WHAT_FOR_STAVES}")
