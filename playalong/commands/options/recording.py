"""A recording of the user's own that is played along with."""

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.notices import print_notices
from playalong.commands.parser import Given, Parser, refuse, written_as

if TYPE_CHECKING:
    from playalong.app.run.task import Task
    from playalong.app.user_folders import UserFolders


class PassesOptions(Given, Protocol):
    """Bars again and again."""

    count_passes: bool
    faster_after: int | None


class RecordingOptions(Given, Protocol):
    """The recording, which bars of it, how fast in per cent, and how loud in decibel."""

    along: Path | None
    loop: tuple[int, int] | None
    speed: float
    recording_db: float
    tempo: float | None
    bars: int | None


def add_recording(parser: Parser) -> None:
    """Add a recording to play along with."""
    group = parser.add_argument_group("with a recording of your own")
    group.add_argument(
        "--with",
        dest="along",
        type=Path,
        metavar="RECORDING",
        help="play along with this file (wav, flac, mp3 or ogg), whose beats playalong beats has "
        "been told (default none)",
    )
    group.add_argument(
        "--loop",
        type=written_as(_loop, "no bars: write them like 5-8"),
        metavar="FIRST-LAST",
        help="only these bars of it, over and over, as in 5-8 (default all, once)",
    )
    group.add_argument(
        "--speed",
        type=float,
        default=100.0,
        metavar="PERCENT",
        help="how fast it is heard, in whole per cent, 50 to 110; its pitch stays (default 100)",
    )
    group.add_argument(
        "--recording-db",
        type=float,
        default=-6.0,
        metavar="DB",
        help="its level, -36 to 0 dB (default -6)",
    )


def add_passes(parser: Parser) -> None:
    """Add how bars are played again and again."""
    group = parser.add_argument_group("bars of a recording again and again, with --loop")
    group.add_argument(
        "--count-passes",
        action="store_true",
        help="count in before each pass (default: one follows the other)",
    )
    group.add_argument(
        "--faster-after",
        type=int,
        metavar="N",
        help="5 per cent faster by itself after so many clean passes in a row, 1 to 8 "
        "(default never)",
    )


def refuse_unused(given: RecordingOptions) -> None:
    """UserError for an option that says nothing with a recording, or without one."""
    if given.along is None:
        why = "goes with --with, a recording that is played along with"
        refuse(given, "--loop --speed --recording-db", why)
    else:
        why = "does not go with --with: a recording has its own tempo, which --speed changes"
        refuse(given, "--tempo", why)


def refuse_unused_passes(given: PassesOptions, loop: tuple[int, int] | None, count_in: int) -> None:
    """UserError for an option that says nothing where no bars are played again and again, or are
    not counted in.
    """
    if loop is None:
        refuse(
            given, "--count-passes --faster-after", "goes with --loop: bars played over and over"
        )
    if not count_in:
        refuse(given, "--count-passes", "does not go with --count-in 0: nothing is counted in")


def along_with(
    given: RecordingOptions,
    task: "Task",
    home: "UserFolders",
    *,
    counted: bool = False,
    faster_after: int | None = None,
) -> "Task":
    """``task`` along with the recording, if there is one; what there is to say of it is printed."""
    if given.along is None:
        return task
    from playalong.app.recording.entry import with_recording

    found = with_recording(
        task,
        home,
        given.along,
        loop=given.loop,
        bars=given.bars,
        percent=given.speed,
        level_db=given.recording_db,
        counted=counted,
        faster_after=faster_after,
    )
    print_notices(home.notices)
    return found


def _loop(text: str) -> tuple[int, int]:
    first, last = (int(part) for part in text.split("-"))
    return first, last
