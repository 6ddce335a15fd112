"""playalong practice: a pattern learned from its beats to free playing."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.first_page import has_person, in_one_window
from playalong.commands.options.click import (
    CLICK,
    ClickOptions,
    add_click,
    clicking_of,
    refuse_unused_count,
)
from playalong.commands.options.folder import FolderOption, add_folder, user_folders
from playalong.commands.options.kit import KitOptions, add_kit, playing
from playalong.commands.options.look import (
    LOOK,
    LookOptions,
    SoundPadsOption,
    add_look,
    look_of,
)
from playalong.commands.options.pattern import PatternOption, add_pattern, pattern_of
from playalong.commands.options.rules import (
    OF_PLAYER,
    RulesOptions,
    add_rules,
    rules_of,
    rules_of_player,
)
from playalong.commands.options.simulated import (
    SimulatedOptions,
    add_simulated,
    is_simulated,
    player_of,
)
from playalong.commands.parser import Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.lesson.lesson_session import LessonSummary
    from playalong.pattern.model import Pattern

ABOUT = "learn a pattern, from its beats to free playing"
EXAMPLES = (
    ("go on where you left off", "playalong practice late-bus-home"),
    ("what there is to learn, and how far you are", "playalong practice late-bus-home --plan"),
    (
        "watch a simulated player learn it",
        "playalong practice late-bus-home --player beginner",
    ),
)

_PLAYING = f"--port --seed --fast {CLICK} --sound-pads --capture-ms --strokes --left-handed {LOOK}"


class Options(
    PatternOption,
    ClickOptions,
    RulesOptions,
    KitOptions,
    SimulatedOptions,
    FolderOption,
    LookOptions,
    SoundPadsOption,
    Protocol,
):
    """All that a lesson can be asked for."""

    plan: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    add_pattern(parser)
    parser.add_argument(
        "--plan", action="store_true", help="print the plan and how it stands, and play nothing"
    )
    add_folder(parser, "the lesson and its takes are")
    add_click(parser)
    add_rules(parser, OF_PLAYER)
    add_kit(parser)
    add_simulated(parser)
    add_look(parser, has_pads=True)


def run(given: Options) -> None:
    """Practise, or print the plan."""
    if given.plan:
        refuse(given, _PLAYING, "says nothing with --plan, which plays nothing")
        if given.player is not None:
            refuse(given, "--who", "says nothing of a simulated player")
        _print_plan(given)
        return
    summary = _practise(given)
    if summary.is_interrupted:
        print_lines("The lesson was broken off between two runs: what was learned is kept.")
    learned = f"{summary.learned} of {summary.steps} steps are learned"
    print_lines(f"{learned}, after {summary.repetitions} runs today.")
    if summary.broken_off is not None:
        print_lines(f"The run was broken off: what was played is kept: {summary.broken_off}")
    if summary.next:
        print_lines(f"Next: {summary.next}")
    if summary.trouble:
        raise UserError.of(summary.trouble)


def _print_plan(given: Options) -> None:
    from playalong.app.play.entry import plan_lines
    from playalong.app.stored_runs import NOBODY

    home, simulated = user_folders(), given.player is not None
    who = given.player or given.who or home.settings().player or NOBODY
    rules = rules_of(given, None if simulated else home.level(who))
    folder = given.out or home.data
    print_lines(*plan_lines(_pattern(given), rules, folder, player=who, is_simulated=simulated))


def _pattern(given: Options) -> "Pattern":
    """The pattern that is learned."""
    pattern = pattern_of(given)
    asked = pattern.practice
    if asked is not None and asked.tolerance_ms is not None:
        refuse(given, "--tolerance-ms", f"is {asked.tolerance_ms:g} in this pattern's own file")
    return pattern


def _practise(given: Options) -> "LessonSummary":
    from playalong.app.play.entry import practise

    simulated = is_simulated(given)
    if simulated:
        refuse(given, "--sound-pads", "says nothing of a simulated player")
    if given.fast:
        refuse(given, f"{CLICK} {LOOK}", "says nothing with --fast")
    refuse_unused_count(given)
    pattern, home, clicking = _pattern(given), user_folders(), clicking_of(given)
    look = look_of(given, given.sound_pads)
    if simulated:
        player, rules = player_of(given), rules_of(given)
        return practise(
            pattern,
            rules,
            look,
            by=player,
            profile=None,
            home=home,
            folder=given.out,
            clicking=clicking,
        )
    with playing(given, home, has_person=has_person()) as (port, profile):
        rules = rules_of_player(given, profile, home)
        if port is None or has_person():
            return in_one_window(
                given,
                home,
                (port, profile),
                room=lambda home: home.practise(pattern, rules, clicking),
            )
        return practise(
            pattern,
            rules,
            look,
            by=port,
            profile=profile,
            home=home,
            folder=given.out,
            clicking=clicking,
        )
