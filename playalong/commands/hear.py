"""playalong hear: a pattern as it should sound, or a take beside it."""

from pathlib import Path
from typing import Protocol

from playalong.commands.first_page import has_person, in_one_window
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
from playalong.commands.options.folder import user_folders
from playalong.commands.options.look import WINDOW, LookOptions, add_look, look_of
from playalong.commands.options.notices import print_notices
from playalong.commands.options.out import OutOption, add_out, check_out
from playalong.commands.options.pattern import (
    BarsOptions,
    PatternOption,
    add_bars,
    add_pattern,
    pattern_of,
)
from playalong.commands.options.recording import (
    RecordingOptions,
    add_recording,
    along_with,
    refuse_unused,
)
from playalong.commands.options.rules import OF_TAKE, LevelOption, add_level, level_of
from playalong.commands.parser import Parser, refuse
from playalong.support.terminal import print_lines

ABOUT = "hear a pattern, ghost notes soft, at any tempo; or a take beside it"
EXAMPLES = (
    ("slowly, with the variation push", "playalong hear late-bus-home --tempo 60 --variation push"),
    (
        "its second beat alone, eight times",
        "playalong hear late-bus-home --chunk 'beat 2' --bars 8",
    ),
    (
        "your own take at half speed, the pattern in the right ear",
        "playalong hear late-bus-home --take mine.mid --half",
    ),
    ("into a file, for listening elsewhere", "playalong hear late-bus-home --out groove.wav"),
)

#: What a take has of its own.
_PLAYED = f"--tempo --bars --variation --count-in {CLICK} --chunk --with"


class Options(
    PatternOption,
    BarsOptions,
    TempoOptions,
    ClickOptions,
    RecordingOptions,
    LookOptions,
    LevelOption,
    OutOption,
    Protocol,
):
    """All that can be heard."""

    chunk: str | None
    take: Path | None
    which: str
    half: bool
    no_click: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    add_pattern(parser)
    parser.add_argument(
        "--chunk", metavar="NAME", help="only this part of the pattern (default all of it)"
    )
    parser.add_argument("--no-click", action="store_true", help="the drums alone")
    add_out(parser, "write it to this file, and open no window (default it is heard)")
    group = parser.add_argument_group("a take of yours")
    group.add_argument(
        "--take", type=Path, metavar="TAKE.mid", help="hear this take (default the pattern alone)"
    )
    group.add_argument(
        "--which",
        choices=("yours", "pattern", "both"),
        default="both",
        help="what of a take is heard: yours is on the left, the pattern on the right "
        "(default %(default)s)",
    )
    group.add_argument("--half", action="store_true", help="at half speed")
    add_level(group, OF_TAKE)
    add_bars(parser, usual="whole rounds of the pattern, at least 4 bars; 1 of a chunk")
    add_tempo(parser)
    add_click(parser)
    add_recording(parser)
    add_look(parser)


def run(given: Options) -> None:
    """Let it be heard, or write it to a file."""
    from playalong.app.recording.loading import keep_off

    if given.take is None:
        refuse(given, "--half --which --level", "goes with --take, a take that is heard")
    else:
        refuse(given, _PLAYED, "does not go with --take: a take is heard as it was played")
    if given.out is not None:
        refuse(
            given,
            f"{WINDOW} --level",
            "does not go with --out: what is written is neither heard nor seen",
        )
    if given.no_click:
        refuse(given, f"{CLICK} --count-in --click-to --click-db", "says nothing with --no-click")
    refuse_unused(given)
    refuse_unused_count(given, given.count_in)
    for heard in filter(None, (given.take, given.along, Path(given.pattern))):
        keep_off(heard, given.out)
    check_out(given)
    if given.take is None:
        _hear_pattern(given)
    else:
        _hear_take(given, given.take)
    if given.out is not None:
        print_lines(f"It is written: {given.out}")


def _hear_pattern(given: Options) -> None:
    from playalong.app.play.hearing import hear
    from playalong.app.play.tasks import only_chunk, task_of
    from playalong.app.recording.entry import in_rounds
    from playalong.grading.verdicts import Rules

    home = user_folders()
    task = task_of(
        pattern_of(given),
        Rules(),  # nothing is judged
        tempo_bpm=given.tempo,
        bars=given.bars,
        variations=given.variation or (),
        count_in=0 if given.no_click else given.count_in,
        clicking=clicking_of(given),
    )
    task = in_rounds(along_with(given, task, home))
    if given.chunk:
        task = only_chunk(task, given.chunk, given.bars if task.along is None else task.bars)
    refuse_late_gap(task)
    click = not given.no_click
    if given.out is None and has_person():
        in_one_window(given, home, room=lambda home: home.hear(task, click))
        return
    hear(task, look_of(given), click, home=home, path=given.out)


def _hear_take(given: Options, take: Path) -> None:
    from playalong.app.play.hearing import HeardTake

    home, click = user_folders(), not given.no_click
    speed = 0.5 if given.half else 1.0
    heard = HeardTake(pattern_of(given), take, click=click, level=level_of(given))
    if given.out is not None:
        heard.write(given.out, given.which, speed=speed, look=look_of(given))
    elif has_person():
        in_one_window(
            given, home, room=lambda home: heard.play(home.context, given.which, speed=speed)
        )
    else:
        heard.play_alone(look_of(given), home, given.which, speed=speed)
    print_notices(heard.notices)
