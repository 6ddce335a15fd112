"""playalong check: whether pattern files and assessment files are written right."""

from pathlib import Path
from typing import Protocol

from playalong.commands.parser import Given, Parser
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines
from playalong.support.text import counted
from playalong.support.toml.reader import ProblemsError

ABOUT = "check files of patterns and assessments, and say what is wrong where"
EXAMPLES = (
    ("a pattern that you are writing", "playalong check my-groove.toml"),
    ("an assessment for your class", "playalong check autumn-term.toml"),
    ("all of a folder", "playalong check patterns/*.toml"),
)


class Options(Given, Protocol):
    """The files."""

    files: list[Path]


def add_arguments(parser: Parser) -> None:
    """Add the files."""
    parser.add_argument(
        "files",
        nargs="+",
        type=Path,
        metavar="FILE",
        help="a pattern file or an assessment file (.toml)",
    )


def run(given: Options) -> None:
    """Check them all; UserError with all that is wrong, by line and column."""
    from playalong.practice.assessment.reader import is_assessment
    from playalong.records.pattern_files import read_text

    wrong: list[str] = []
    for path in given.files:
        text = read_text(path)
        try:
            told = _assessment(text, path) if is_assessment(text) else _pattern(text, path)
        except ProblemsError as error:
            wrong += error.lines
            continue
        print_lines(f"{path}: {told}")
    if wrong:
        raise UserError(*wrong)


def _pattern(text: str, path: Path) -> str:
    from playalong.pattern.reader import read

    pattern = read(text, path.name)
    bars = counted(len(pattern.bars), "bar")
    return f'"{pattern.title}" is right: {bars} of {pattern.meter.written}.'


def _assessment(text: str, path: Path) -> str:
    from playalong.practice.assessment.phrases import overview
    from playalong.records.assessments.files import read_assessment

    found = read_assessment(text, path)
    return f'"{found.title}" is right: {overview(found)}.'
