"""playalong remark: a teacher's word on a result."""

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Given, Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.assessment.verifying import Verified
    from playalong.practice.assessment.remarks import Remark

ABOUT = "add a teacher's word to a result: marks by eye, comments, a mark of your own"
EXAMPLES = (
    ("what there is to judge by eye, and what is said", "playalong remark result.zip"),
    ("the same in the window", "playalong remark result.zip --page"),
    ("a mark by eye, on the whole", 'playalong remark result.zip --eye posture="upright"'),
    (
        "a comment on the second item",
        'playalong remark result.zip --item 2 --comment "Listen to the ghost notes."',
    ),
    (
        "your mark in place of the computed one",
        'playalong remark result.zip --item 2 --mark reached --because "the stand slipped"',
    ),
)


class Options(Given, Protocol):
    """The result, and what is said of it."""

    result: Path
    page: bool
    item: int | None
    eye: list[str] | None
    comment: list[str] | None
    mark: str | None
    because: str | None


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument("result", type=Path, metavar="RESULT", help="a result (.zip)")
    parser.add_argument(
        "--page", action="store_true", help="in the window: a row for all that can be said"
    )
    parser.add_argument(
        "--item",
        type=int,
        metavar="N",
        help="say it of this item, 1 is the first (default of the whole)",
    )
    parser.add_argument(
        "--eye",
        action="append",
        metavar="WHAT=MARK",
        help='a mark by eye, as in grip="relaxed"; may be repeated (default none)',
    )
    parser.add_argument(
        "--comment",
        action="append",
        metavar="WORDS",
        help="a comment; may be repeated (default none)",
    )
    parser.add_argument(
        "--mark",
        metavar="MARK",
        help="your mark for the item in place of the computed one, which stays beside it "
        "(default none)",
    )
    parser.add_argument(
        "--because", metavar="WORDS", help="why; goes with --mark (default no reason)"
    )


def run(given: Options) -> None:
    """Keep what is said, and print all that is."""
    if given.page:
        refuse(given, "--item --eye --comment --mark --because", "is asked for on the page")
        _show(given.result)
        return
    from playalong.app.assessment.verifying import verify
    from playalong.records.assessments.remark_files import read_remark, write_remark
    from playalong.records.assessments.results import digest

    if given.mark is None:
        refuse(given, "--because", "goes with --mark, a mark of your own")
    elif not (given.because or "").strip():
        raise UserError("A mark of your own wants a reason: add --because.")
    elif given.item is None:
        raise UserError("A mark is of an item: add --item.")
    if not (given.eye or given.comment or given.mark):
        refuse(given, "--item", "goes with --eye, --comment or --mark: what is said of the item")
    found = verify(given.result)
    items = len(found.assessment.items)
    if given.item is not None and not 1 <= given.item <= items:
        raise UserError(f"There is no item {given.item}: choose 1 to {items}.")
    remark, other = read_remark(given.result, items)
    if other:
        raise UserError(f"{other} Move it away first.")
    from dataclasses import replace

    said = _with(given, remark)
    if said != remark:
        said = replace(said, result=digest(given.result.read_bytes()))
        path = write_remark(given.result, said)
        print_lines(f"It is kept: {path}")
    _print(found, said)


def _show(result: Path) -> None:
    from playalong.app.assessment.remarking import remark_in_window
    from playalong.app.open_devices import Look, OpenDevices
    from playalong.app.run.clock import RealClock
    from playalong.commands.first_page import has_person, in_one_window
    from playalong.commands.options.folder import user_folders

    if has_person():
        home = user_folders()
        in_one_window(None, home, room=lambda home: remark_in_window(home.context, result))
        return
    with OpenDevices(Look(), user_folders(), RealClock(), notices=()) as context:
        if context.window.offscreen:
            raise UserError(
                "There is no screen for the page: leave out --page, and say it with --eye, "
                "--comment or --mark."
            )
        remark_in_window(context, result)


def _with(given: Options, remark: "Remark") -> "Remark":
    item = None if given.item is None else given.item - 1
    for eye in given.eye or ():
        what, is_there, mark = eye.partition("=")
        if not is_there or not what.strip() or not mark.strip():
            raise UserError(f'--eye {eye}: write what and your mark, as in posture="upright".')
        remark = remark.with_eye(what.strip(), mark.strip(), item)
    for words in given.comment or ():
        if words.strip():
            remark = remark.with_comment(words.strip(), item)
    if given.mark is not None and item is not None:
        remark = remark.with_mark(given.mark.strip(), (given.because or "").strip(), item)
    return remark


def _print(found: "Verified", remark: "Remark") -> None:
    assessment = found.assessment
    print_lines(f"{assessment.title}, {found.player}")
    for what in dict.fromkeys((*assessment.by_eye, *remark.by_eye)):
        print_lines(f"  {what}: {remark.by_eye.get(what, 'not judged yet')}")
    print_lines(*(f'  "{words}"' for words in remark.comments))
    for number, item in enumerate(assessment.items):
        own, marks = remark.of(number), found.items[number]
        print_lines(f"{number + 1}. {item.title}: {marks.mark or 'nothing is asked'}")
        if own.mark:
            print_lines(f"   your mark: {own.mark}, because {own.because}")
        for what in dict.fromkeys((*item.by_eye, *own.by_eye)):
            print_lines(f"   {what}: {own.by_eye.get(what, 'not judged yet')}")
        print_lines(*(f'   "{words}"' for words in own.comments))
