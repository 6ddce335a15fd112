"""playalong warmup: ten minutes that leave the work in."""

from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.first_page import has_person, in_one_window
from playalong.commands.options.click import CountOption, add_count, refuse_unused_count
from playalong.commands.options.folder import FolderOption, add_folder, user_folders
from playalong.commands.options.kit import KitOptions, add_kit, playing
from playalong.commands.options.look import (
    LOOK,
    LookOptions,
    SoundPadsOption,
    add_look,
    look_of,
)
from playalong.commands.options.rules import (
    OF_PLAYER,
    RULES,
    RulesOptions,
    add_rules,
    rules_of,
    rules_of_player,
)
from playalong.commands.options.simulated import SEED, USUAL_SKILL
from playalong.commands.parser import Parser, refuse, written_as
from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines
from playalong.support.text import quoted

if TYPE_CHECKING:
    from playalong.app.warm_up.entry import Wish
    from playalong.app.warm_up.warm_up_session import WarmUpResult

ABOUT = "warm up: a few exercises, and a curve of temperature"
EXAMPLES = (
    ("five minutes", "playalong warmup"),
    (
        "ten minutes, with the pattern that you are learning at the end",
        "playalong warmup --minutes 10 --then late-bus-home",
    ),
    ("on a practice pad", "playalong warmup --on pad"),
    ("watch somebody simulated", "playalong warmup --player intermediate"),
)

_PLAYING = (
    "--count --port --who --player --fast --then --file --on --minutes --seed --out --sound-pads "
    f"{RULES} {LOOK}"
)


class Options(
    RulesOptions, KitOptions, FolderOption, LookOptions, CountOption, SoundPadsOption, Protocol
):
    """All that a warm-up can be asked for."""

    minutes: float | None
    seed: int | None
    list: bool
    on: str | None
    then: str | None
    file: Path | None
    player: str | None
    fast: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    from playalong.app.warm_up.saved import SETS
    from playalong.practice.warm_up.routine import LONGEST, SHORTEST, USUAL
    from playalong.simulation.skills import SKILLS

    parser.add_argument("--list", action="store_true", help="list the exercises, and play nothing")
    parser.add_argument(
        "--minutes",
        type=written_as(_minutes, f"no such length: write minutes, {SHORTEST:g} to {LONGEST:g}"),
        metavar="N",
        help=f"how long, in minutes, {SHORTEST:g} to {LONGEST:g} "
        f"(default as the last time, {USUAL:g} at first)",
    )
    parser.add_argument(
        "--seed",
        type=SEED,
        metavar="N",
        help="a whole number, 0 or more: the same chooses the same (default another each day)",
    )
    parser.add_argument(
        "--on",
        choices=tuple(SETS),
        help="what you play on; what cannot be played there is left out (default as the last time, "
        "a kit at first)",
    )
    parser.add_argument(
        "--then",
        metavar="PATTERN",
        help="the pattern that you are learning: music, at the tempo that you are warm for "
        "(default none)",
    )
    parser.add_argument(
        "--file",
        type=Path,
        metavar="FILE",
        help="a routine of your own, a TOML file (default none)",
    )
    add_folder(parser, "the takes are")
    add_count(parser)
    add_rules(parser, OF_PLAYER)
    add_kit(parser)
    group = parser.add_argument_group("simulated player")
    group.add_argument(
        "--player",
        choices=tuple(SKILLS),
        help="how well somebody simulated plays (default nobody simulated plays)",
    )
    group.add_argument(
        "--fast",
        action="store_true",
        help="on a simulated clock, without waiting, sound or a window",
    )
    add_look(parser, has_pads=True)


def run(given: Options) -> None:
    """Warm up, or list the exercises."""
    if given.list:
        refuse(given, _PLAYING, "says nothing with --list, which plays nothing")
        _print_exercises()
        return
    try:
        result = _warm_up(given)
    except KeyboardInterrupt:
        print_lines("The warm-up was broken off: what was played until then is kept.")
        raise
    print_lines(*result.lines, CAUTION)
    if result.trouble:
        raise UserError.of(result.trouble)


def _print_exercises() -> None:
    from playalong.practice.warm_up.exercises import EXERCISES
    from playalong.practice.warm_up.phrases import STICKING, warms

    width = max(len(one.name) for one in EXERCISES)
    for one in EXERCISES:
        tempi = f"{one.slowest_bpm:g} to {one.fastest_bpm:g} bpm"
        print_lines(f"{one.name:<{width}}  {one.trains}. Warmed by {warms(one)}; {tempi}")
    print_lines(STICKING)


def _warm_up(given: Options) -> "WarmUpResult":
    from playalong.app.play.entry import Player
    from playalong.app.warm_up.entry import warm_up
    from playalong.simulation.skills import SKILLS

    refuse_unused_count(given)
    wish, home = _wish(given), user_folders()
    look = look_of(given, given.sound_pads)
    if given.player or given.fast:
        refuse(given, "--port --who --sound-pads", "says nothing of a simulated player")
        if given.fast:
            refuse(given, f"--count {LOOK}", "says nothing with --fast")
        skill, seed = SKILLS[given.player or USUAL_SKILL], 1 if given.seed is None else given.seed
        player = Player(skill=skill, seed=seed, fast=given.fast)
        return warm_up(
            wish, rules_of(given), look, by=player, profile=None, home=home, folder=given.out
        )
    with playing(given, home, has_person=has_person()) as (port, profile):
        rules = rules_of_player(given, profile, home)
        if port is None or has_person():
            return in_one_window(
                given, home, (port, profile), room=lambda home: home.warm_up(wish, rules)
            )
        return warm_up(wish, rules, look, by=port, profile=profile, home=home, folder=given.out)


def _wish(given: Options) -> "Wish":
    from playalong.app.warm_up.entry import Wish
    from playalong.app.warm_up.saved import SAID, can_play
    from playalong.practice.warm_up.routine_file import read
    from playalong.records.pattern_files import load_pattern, read_text

    file = None
    if given.file is not None:
        refuse(given, "--minutes", "says nothing beside --file, which says what is played")
        file = read(read_text(given.file), given.file.name)
        if not file.has_music:
            refuse(given, "--then", "says nothing beside --file: that routine asks for no music")
    lesson = None if given.then is None else load_pattern(given.then)
    if lesson is not None and given.on is not None and not can_play(given.on, lesson):
        raise UserError(
            f"{quoted(lesson.title)} cannot be played {SAID[given.on]}: leave out --then or --on."
        )
    return Wish(
        minutes=given.minutes,
        seed=given.seed,
        on=given.on,
        file=file,
        lesson=lesson,
    )


def _minutes(text: str) -> float:
    from playalong.practice.warm_up.routine import LONGEST, SHORTEST

    minutes = float(text)
    if not SHORTEST <= minutes <= LONGEST or minutes == inf:
        raise ValueError
    return minutes
