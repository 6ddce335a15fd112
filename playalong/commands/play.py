"""playalong play: a run on the kit, every hit judged as it comes."""

from typing import Protocol

from playalong.commands.first_page import has_person, in_one_window
from playalong.commands.options.click import (
    ClickOptions,
    TempoOptions,
    add_click,
    add_tempo,
    clicking_of,
    refuse_late_gap,
    refuse_unused_count,
)
from playalong.commands.options.folder import FolderOption, add_folder, user_folders
from playalong.commands.options.kit import KitOptions, add_kit, playing
from playalong.commands.options.look import (
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
from playalong.commands.options.recording import (
    PassesOptions,
    RecordingOptions,
    add_passes,
    add_recording,
    along_with,
    refuse_unused,
    refuse_unused_passes,
)
from playalong.commands.options.rules import OF_PLAYER, RulesOptions, add_rules, rules_of_player
from playalong.commands.outcome import print_run
from playalong.commands.parser import Parser
from playalong.support.errors import UserError

ABOUT = "play a pattern on the kit, and see every hit judged"
EXAMPLES = (
    ("slowly, eight bars", "playalong play late-bus-home --tempo 70 --bars 8"),
    (
        "two bars with the click, two without, on the kit whose port has Drum in its name",
        "playalong play late-bus-home --gap 2+2 --port Drum",
    ),
    (
        "bars 5 to 8 of a recording again and again, at 80 % and faster after 3 clean passes",
        "playalong play late-bus-home --with evening.flac --loop 5-8 --speed 80 --faster-after 3",
    ),
)


class Options(
    PatternOption,
    BarsOptions,
    RulesOptions,
    TempoOptions,
    ClickOptions,
    RecordingOptions,
    PassesOptions,
    KitOptions,
    FolderOption,
    LookOptions,
    SoundPadsOption,
    Protocol,
):
    """All that a run can be asked for."""


def add_arguments(parser: Parser) -> None:
    """Add them."""
    add_pattern(parser)
    add_folder(parser, "the take is")
    add_bars(parser, usual="whole rounds of the pattern, at least 4 bars")
    add_tempo(parser)
    add_click(parser)
    add_rules(parser, OF_PLAYER)
    add_kit(parser)
    add_recording(parser)
    add_passes(parser)
    add_look(parser, has_pads=True)


def run(given: Options) -> None:
    """Play, again as often as the player asks; say what each run left."""
    from playalong.app.play.entry import play
    from playalong.app.play.tasks import task_of

    refuse_unused(given)
    refuse_unused_count(given, given.count_in)
    refuse_unused_passes(given, given.loop, given.count_in)
    pattern, home, clicking = pattern_of(given), user_folders(), clicking_of(given)
    trouble: tuple[str, ...] = ()
    with playing(given, home, has_person=has_person()) as (port, profile):
        task = task_of(
            pattern,
            rules_of_player(given, profile, home),
            tempo_bpm=given.tempo,
            bars=given.bars,
            variations=given.variation or (),
            count_in=given.count_in,
            clicking=clicking,
        )
        task = along_with(
            given, task, home, counted=given.count_passes, faster_after=given.faster_after
        )
        refuse_late_gap(task)
        look = look_of(given, given.sound_pads)
        if port is None or has_person():
            in_one_window(given, home, (port, profile), room=lambda home: home.play(task))
            return
        for saved in play(task, look, port, profile=profile, home=home, folder=given.out):
            print_run(saved)
            trouble = saved.trouble
    if trouble:
        raise UserError.of(trouble)
