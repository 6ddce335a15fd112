"""playalong assess: an assessment is taken, against the clock or as homework."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.first_page import has_person, in_one_window
from playalong.commands.options.folder import FolderOption, add_folder, user_folders
from playalong.commands.options.kit import KitOptions, add_kit, playing
from playalong.commands.options.look import (
    LOOK,
    LookOptions,
    SoundPadsOption,
    add_look,
    look_of,
)
from playalong.commands.options.simulated import SimulatedOptions, add_simulated, player_of
from playalong.commands.parser import Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.assessment.entry import Taken
    from playalong.records.assessments.files import AssessmentFile

ABOUT = "take an assessment, or play homework"
EXAMPLES = (
    ("one that comes with the program", "playalong assess first-lessons --who Ines"),
    ("a teacher's own", "playalong assess autumn-term.toml --who 7b-12"),
    ("which there are, and how each is played", "playalong assess --list"),
    (
        "in a moment, by a simulated player",
        "playalong assess groove-and-ghost-notes --player intermediate --fast",
    ),
)

_TAKING = f"file --out --port --who --player --seed --fast --sound-pads {LOOK}"


class Options(KitOptions, SimulatedOptions, FolderOption, LookOptions, SoundPadsOption, Protocol):
    """The assessment, and who takes it on which kit."""

    file: str | None
    list: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument(
        "file",
        nargs="?",
        metavar="FILE",
        help="an assessment file (.toml), or the name of one that comes with the program "
        "(default none: --list tells them)",
    )
    parser.add_argument(
        "--list", action="store_true", help="list the assessments that come with the program"
    )
    add_folder(parser, "the result is")
    add_kit(parser)
    add_simulated(parser)
    add_look(parser, has_pads=True)


def run(given: Options) -> None:
    """Take it; say what each item came to, and where the result is."""
    from playalong.records.assessments.files import load_assessment, shipped

    if given.list:
        refuse(given, _TAKING, "says nothing with --list, which plays nothing")
    if given.list or given.file is None:
        for name, path in shipped().items():
            _print(name, load_assessment(str(path)))
        if not given.list:
            raise UserError("Name an assessment: a file, or one of these.")
        return
    taken = _take(given, load_assessment(given.file))
    print_lines(*taken.lines)
    if taken.path is not None:
        print_lines(f"The result is kept: {taken.path}")
    else:
        print_lines("There is no result yet: the same command goes on with it.")
    if taken.trouble:
        raise UserError.of(taken.trouble)


def _take(given: Options, file: "AssessmentFile") -> "Taken":
    from playalong.app.assessment.entry import take
    from playalong.profile.profile import Profile

    home, folder = user_folders(), given.out
    look = look_of(given, given.sound_pads)
    if given.player or given.fast:
        refuse(given, "--port --sound-pads", "says nothing of a simulated player")
        if given.fast:
            refuse(given, LOOK, "says nothing with --fast")
        player = player_of(given)
        who = given.who or player.simulated.skill
        nobody = Profile(kit="", player="")
        return take(file, look, player, who=who, profile=nobody, home=home, folder=folder)
    refuse(given, "--seed", "goes with --player, a simulated player")
    with playing(given, home, has_person=has_person()) as (port, profile):
        if port is None or has_person():
            return in_one_window(given, home, (port, profile), room=lambda home: home.take(file))
        return take(file, look, port, who=profile.player, profile=profile, home=home, folder=folder)


def _print(name: str, file: "AssessmentFile") -> None:
    from playalong.practice.assessment.phrases import how, overview

    assessment = file.assessment
    print_lines(f"{name:<24} {assessment.title}: {overview(assessment)}")
    for item in assessment.items:
        print_lines(f"    {item.title}: {how(assessment, item)}")
