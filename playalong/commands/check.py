"""playalong check: whether pattern files are written right."""

from pathlib import Path
from typing import Protocol

from playalong.commands.parser import Given, Parser
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

ABOUT = "check pattern files, and say what is wrong where"
EXAMPLES = (
    ("a pattern that you are writing", "playalong check my-groove.toml"),
    ("all of a folder", "playalong check patterns/*.toml"),
)


class Options(Given, Protocol):
    """The files."""

    files: list[Path]


def add_arguments(parser: Parser) -> None:
    """Add the files."""
    parser.add_argument(
        "files", nargs="+", type=Path, metavar="FILE", help="a pattern file (.toml)"
    )


def run(given: Options) -> None:
    """Check them all; UserError with all that is wrong, by line and column."""
    from playalong.pattern.reader import PatternError, read
    from playalong.records.pattern_files import read_text

    wrong: list[str] = []
    for path in given.files:
        try:
            pattern = read(read_text(path), path.name)
        except PatternError as error:
            wrong += error.lines
            continue
        bars = "1 bar" if len(pattern.bars) == 1 else f"{len(pattern.bars)} bars"
        print_lines(f'{path}: "{pattern.title}" is right: {bars} of {pattern.meter.written}.')
    if wrong:
        raise UserError(*wrong)
