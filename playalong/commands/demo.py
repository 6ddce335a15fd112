"""playalong demo: a run by a simulated player."""

from math import inf
from typing import Protocol

from playalong.commands.options.click import (
    CLICK,
    ClickOptions,
    TempoOptions,
    add_click,
    add_tempo,
    clicking_of,
    refuse_late_gap,
    refuse_unused_count,
)
from playalong.commands.options.folder import FolderOption, add_folder, user_folders
from playalong.commands.options.look import (
    SOUND,
    LookOptions,
    SoundPadsOption,
    add_look,
    look_of,
)
from playalong.commands.options.pattern import (
    BarsOptions,
    PatternOption,
    add_bars,
    add_pattern,
    pattern_of,
)
from playalong.commands.options.rules import NO_LEVEL, RulesOptions, add_rules, rules_of
from playalong.commands.options.simulated import (
    USUAL_SKILL,
    SimulatedOptions,
    add_simulated,
    player_of,
)
from playalong.commands.outcome import print_run
from playalong.commands.parser import Parser, refuse, written_as
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

ABOUT = "watch a simulated player play a pattern"
EXAMPLES = (
    ("one groove, as it looks and sounds", "playalong demo"),
    (
        "another, by a beginner",
        "playalong demo boots-by-the-door --player beginner",
    ),
    ("in a moment, into a folder: take, grade and pictures", "playalong demo --fast --out trial"),
)

#: How long the grade is shown.
_STAY_S = 12.0

#: With this seed all that a sheet can say is in one picture: a kick that comes late every time,
#: a ghost note that is too loud, and a stroke that was missed.
_SEED = 42


class Options(
    PatternOption,
    BarsOptions,
    RulesOptions,
    TempoOptions,
    ClickOptions,
    SimulatedOptions,
    FolderOption,
    LookOptions,
    SoundPadsOption,
    Protocol,
):
    """All that a demonstration can be asked for; ``stay`` in seconds."""

    player: str
    through_port: bool
    stay: float


def add_arguments(parser: Parser) -> None:
    """Add them."""
    add_pattern(parser, default="late-bus-home")
    add_folder(parser, "take, grade and pictures are")
    parser.add_argument(
        "--through-port",
        action="store_true",
        help="send what is played through a MIDI port of the system's, as a kit would",
    )
    parser.add_argument(
        "--stay",
        type=written_as(_seconds, "no time: write seconds, 0 or more"),
        default=_STAY_S,
        metavar="SECONDS",
        help=f"how long the grade is shown, in seconds (default {_STAY_S:g})",
    )
    add_simulated(parser, default=USUAL_SKILL, seed=_SEED)
    add_bars(parser, usual="whole rounds of the pattern, at least 8 bars")
    add_tempo(parser)
    add_click(parser)
    add_rules(parser, NO_LEVEL)
    add_look(parser, has_pads=True)


def run(given: Options) -> None:
    """Let somebody simulated play; say what is left of it."""
    from playalong.app.play.entry import demo
    from playalong.app.play.tasks import SHOWN_BARS, task_of

    if given.fast and given.through_port:
        raise UserError("A real port knows no simulated clock: leave out --fast or --through-port.")
    if given.fast:
        refuse(given, f"--stay --sound-pads {CLICK} {SOUND}", "says nothing with --fast")
    refuse_unused_count(given, given.count_in)
    task = task_of(
        pattern_of(given),
        rules_of(given),
        tempo_bpm=given.tempo,
        bars=given.bars,
        variations=given.variation or (),
        count_in=given.count_in,
        clicking=clicking_of(given),
        at_least=SHOWN_BARS,
    )
    refuse_late_gap(task)
    player = player_of(given, given.through_port)
    look = look_of(given, given.sound_pads)
    saved, files = demo(
        task, look, player, home=user_folders(), folder=given.out, stay_s=given.stay
    )
    print_run(saved)
    for file in files:
        print_lines(f"Also there: {file}")
    if saved.trouble:
        raise UserError.of(saved.trouble)


def _seconds(text: str) -> float:
    seconds = float(text)
    if not 0.0 <= seconds < inf:
        raise ValueError
    return seconds
