"""playalong check: whether patterns, assessments and routines of the warm-up are written right."""

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from playalong.commands.parser import Given, Parser
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines
from playalong.support.text import counted

ABOUT = "check files of patterns and assessments, and say what is wrong where"
EXAMPLES = (
    ("a pattern that you are writing", "playalong check my-groove.toml"),
    ("an assessment for your class", "playalong check autumn-term.toml"),
    ("all of a folder", "playalong check patterns/*.toml"),
    ("a pattern in which brackets are optional strokes", "playalong check --mend old-groove.toml"),
)


class Options(Given, Protocol):
    """The files, and whether to rewrite those of the old kind."""

    files: list[Path]
    mend: bool


def add_arguments(parser: Parser) -> None:
    """Add the files."""
    parser.add_argument(
        "files",
        nargs="+",
        type=Path,
        metavar="FILE",
        help="a pattern, an assessment or a routine of the warm-up (.toml)",
    )

    parser.add_argument(
        "--mend",
        action="store_true",
        help="rewrite patterns of the old kind, in which brackets made a stroke optional (g? now); "
        "what the file was is kept beside it",
    )


def run(given: Options) -> None:
    """Check them all; UserError with all that is wrong, by line and column."""
    wrong: list[str] = []
    for path in given.files:
        try:
            if given.mend:
                _mend(path)
            print_lines(f"{path}: {_describe(path)}")
        except UserError as error:
            wrong += error.lines
    if wrong:
        raise UserError(*wrong)


def _describe(path: Path) -> str:
    """What a file is, where it is right."""
    from playalong.practice.assessment.reader import is_assessment
    from playalong.practice.warm_up.routine_file import is_routine
    from playalong.records.pattern_files import read_text

    text = read_text(path)
    if is_assessment(text):
        return _assessment(text, path)
    return _routine(text, path) if is_routine(text) else _pattern(text, path)


def _pattern(text: str, path: Path) -> str:
    from playalong.pattern.old_brackets import is_old, lines_with_brackets
    from playalong.pattern.reader import read

    pattern = read(text, path.name)
    _check_next(pattern.practice.next if pattern.practice else (), path)
    bars = counted(len(pattern.bars), "bar")
    right = f'"{pattern.title}" is right: {bars} of {pattern.meter.written}.'
    if not is_old(text):
        return right
    first = lines_with_brackets(text)[0]
    return (
        f'{right} Line {first}: "(x)" reads as a ghost note; if an optional stroke is meant, write '
        '"x?", or let playalong check --mend rewrite the file.'
    )


def _check_next(names: Sequence[str], path: Path) -> None:
    """UserError for a pattern that is to come next and does not come with the program."""
    from playalong.pattern.library.catalogue import UnknownPattern
    from playalong.records.pattern_files import library

    wrong = []
    for name in names:
        try:
            library().get(name)
        except UnknownPattern as error:
            wrong.append(f'{path}: "next": {str(error)[:1].lower()}{str(error)[1:]}')
    if wrong:
        raise UserError(*wrong)


def _mend(path: Path) -> None:
    """Rewrite a file of the old kind, and say which lines; of brackets that may mean either, say
    only where they are.
    """
    from playalong.pattern.old_brackets import is_old, lines_with_brackets, rewritten
    from playalong.records.pattern_files import read_text
    from playalong.support.files import write_file, write_new_file

    text = read_text(path)
    lines = lines_with_brackets(text)
    if not lines:
        print_lines(f"{path}: nothing to mend.")
        return
    named = f"{'line' if len(lines) == 1 else 'lines'} {', '.join(map(str, lines))}"
    if not is_old(text):
        print_lines(
            f'{path}: nothing is mended. "(x)" in {named} is a ghost note; '
            'where an optional stroke was meant, write "x?".'
        )
        return
    before = write_new_file(path.parent, f"{path.name}.before", text)
    write_file(path, rewritten(text))
    print_lines(f"{path}: {named} mended; the file as it was is {before}.")


def _assessment(text: str, path: Path) -> str:
    from playalong.practice.assessment.phrases import overview
    from playalong.records.assessments.files import read_assessment

    found = read_assessment(text, path)
    return f'"{found.title}" is right: {overview(found)}.'


def _routine(text: str, path: Path) -> str:
    from playalong.practice.warm_up.routine_file import read

    found = read(text, path.name)
    return f'"{found.title}" is right: a warm-up of {counted(len(found.exercises), "exercise")}.'
