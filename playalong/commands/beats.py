"""playalong beats: where the beats of a recording are."""

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.first_page import has_person, in_one_window
from playalong.commands.options.folder import user_folders
from playalong.commands.options.look import LOOK, LookOptions, add_look, look_of
from playalong.commands.options.notices import print_notices
from playalong.commands.options.out import OutOption, add_out, check_out
from playalong.commands.parser import Parser, refuse
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.home.home_session import HomeSession
    from playalong.app.user_folders import UserFolders
    from playalong.pattern.beat_map import BeatMap

ABOUT = "tell where the beats of a recording of yours are"
EXAMPLES = (
    ("by tapping along, on a pad or the space bar", "playalong beats evening.flac"),
    (
        "typed in, where the tempo is even",
        "playalong beats evening.flac --tempo 96 --first-beat 1.27",
    ),
    (
        "found, and written with a click over it to be checked by ear",
        "playalong beats evening.flac --find --out clicked.wav",
    ),
    ("found, at about that tempo", "playalong beats evening.flac --find --tempo 178"),
)


class Options(OutOption, LookOptions, Protocol):
    """The recording, and how its beats are told."""

    recording: Path
    tempo: float | None
    first_beat: float | None
    per_bar: int | None
    find: bool
    port: str | None


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument(
        "recording", type=Path, metavar="FILE", help="the recording: wav, flac, mp3 or ogg"
    )
    parser.add_argument(
        "--tempo",
        type=float,
        metavar="BPM",
        help="beats a minute, 20 to 400, where they are even; with --find about how fast it is "
        "(default the beats are tapped)",
    )
    parser.add_argument(
        "--first-beat",
        type=float,
        metavar="SECONDS",
        help="where the 1 of bar 1 is, in seconds, with --tempo (default 0)",
    )
    parser.add_argument(
        "--per-bar",
        type=int,
        metavar="N",
        help="beats to a bar, 1 to 16 (default 4, or as they were told before)",
    )
    parser.add_argument(
        "--find",
        action="store_true",
        help="let the beats be found, by the extra [beats] of the installation",
    )
    add_out(parser, "write the recording with a click over it (default nothing is written)")
    parser.add_argument(
        "--port",
        metavar="PART",
        help="part of the name of the MIDI port of a kit to tap on (default the only one, if any)",
    )
    add_look(parser)


def run(given: Options) -> None:
    """Have the beats told, and keep them."""
    from playalong.app.recording.entry import beats
    from playalong.app.recording.loading import keep_off

    keep_off(given.recording, given.out)
    check_out(given)
    if _is_untapped(given):
        refuse(given, f"--port {LOOK}", "says nothing where the beats are not tapped")
    home = user_folders()
    if has_person() and not _is_untapped(given):
        beat_map = _tapped(given, home)
    else:
        beat_map = beats(
            given.recording,
            look_of(given),
            home,
            tempo_bpm=given.tempo,
            first_beat_s=given.first_beat,
            per_bar=given.per_bar,
            find=given.find,
            port_part=given.port,
            out=given.out,
        )
    if beat_map is None:
        raise UserError("No beats were kept.")
    print_notices(home.notices)
    bars = "1 bar" if beat_map.bars == 1 else f"{beat_map.bars or 'no whole'} bars"
    print_lines(
        f"{len(beat_map)} beats in {bars} of {beat_map.per_bar}: "
        f"{beat_map.tempo_bpm(0):.1f} bpm in bar 1, "
        f"{beat_map.tempo_bpm(max(0, beat_map.bars - 1)):.1f} in the last."
    )
    if given.find:
        found_bpm = beat_map.tempo_bpm(0)
        print_lines(
            f"If that is twice or half of how you count it: --find --tempo {found_bpm / 2:.0f} or "
            f"--find --tempo {found_bpm * 2:.0f}, or halve and double on the page."
        )
        print_lines("Hear whether bar 1 begins where it should: playalong beats and its name.")
    if given.out is not None:
        print_lines(f"It is written: {given.out}")


def _is_untapped(given: Options) -> bool:
    """Whether nothing is to be tapped: the beats are typed in or found, or written."""
    typed = (given.tempo, given.first_beat) != (None, None)
    return typed or given.find or given.out is not None


def _tapped(given: Options, home: "UserFolders") -> "BeatMap | None":
    """The beats as they are tapped in the window."""
    from playalong.app.kit_port import open_kit

    def room(session: "HomeSession") -> "BeatMap | None":
        return session.tell_beats(given.recording, given.per_bar)

    if given.port is None:
        return in_one_window(given, home, room=room)
    with open_kit(home, given.port, None) as kit:
        return in_one_window(given, home, kit, room=room)
