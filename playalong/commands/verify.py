"""playalong verify: results graded anew from their raw hits."""

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Given, Parser
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.assessment.verifying import Verified

ABOUT = "grade results anew from their raw hits, and say whether every figure is theirs"
EXAMPLES = (
    ("a result that was handed in", "playalong verify autumn-term-7b-12.zip"),
    ("all of a folder", "playalong verify results/*.zip"),
)


class Options(Given, Protocol):
    """The results."""

    results: list[Path]


def add_arguments(parser: Parser) -> None:
    """Add the results."""
    parser.add_argument(
        "results",
        nargs="+",
        type=Path,
        metavar="RESULT",
        help="a result (.zip), as playalong assess leaves it",
    )


def run(given: Options) -> None:
    """Verify them all; UserError with what does not fit."""
    from playalong.app.assessment.verifying import verify

    wrong: list[str] = []
    for path in given.results:
        try:
            found = verify(path)
            _print(found)
            wrong += [f"{path}: {line}" for line in found.wrong]
        except UserError as error:
            wrong += error.lines
    if wrong:
        raise UserError(*wrong)


def _print(found: "Verified") -> None:
    title, who = found.assessment.title, found.player
    print_lines(f'{found.path}: "{title}", {who}, {found.plain["ended"]}')
    for check in found.runs:
        score = check.reported.get("score", {}).get("total")
        score_text = "not graded" if score is None else f"{score:.1f} of 100"
        if check.graded is None:
            print_lines(f"  {check.name}: {score_text}; its take cannot be graded")
        elif not check.differences:
            print_lines(
                f"  {check.name}: {score_text}; all {check.figures} figures are of these hits"
            )
        elif check.version:
            print_lines(
                f"  {check.name}: {score_text} by version {check.version}, "
                f"{check.now['score']['total']:.1f} by this one; "
                f"{len(check.differences)} of {check.figures} figures differ"
            )
        else:
            print_lines(
                f"  {check.name}: {score_text}; {len(check.differences)} figures are not theirs"
            )
    if found.version:
        print_lines(
            f"  Graded by version {found.version} of the program: where this one hears it "
            "otherwise, both figures are told."
        )
    if found.fits:
        print_lines("  It fits: the figures belong to these hits. Who played, no file can say.")
