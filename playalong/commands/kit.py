"""playalong kit: a kit learned, looked at, or listened to."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.first_page import has_person, in_one_window
from playalong.commands.options.folder import FolderOption, add_folder, user_folders
from playalong.commands.options.kit import KitOptions, add_kit, listening, playing
from playalong.commands.options.look import LOOK, LookOptions, add_look, look_of
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
    from playalong.app.user_folders import UserFolders
    from playalong.midi.port import Port
    from playalong.profile.profile import Profile

ABOUT = "learn a kit: its pads, their loudness, double triggers, latency"
EXAMPLES = (
    ("all of it, page by page", "playalong kit"),
    ("the latency alone, for one of two players", "playalong kit latency --who Ana"),
    ("every message of the kit as it comes, until Ctrl+C", "playalong kit --watch"),
    ("a latency that was measured elsewhere", "playalong kit --latency-ms 8.5"),
    ("the profile as a file to edit", "playalong kit --save mine.toml"),
    ("and taken again", "playalong kit --profile mine.toml"),
)


_BROKEN_OFF = "The kit's pages were broken off: what was learned by then is kept, pad by pad."


class Options(KitOptions, SimulatedOptions, FolderOption, LookOptions, Protocol):
    """All that can be done with a kit."""

    page: str | None
    watch: bool
    show: bool
    latency_ms: float | None
    profile: Path | None
    save: Path | None


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument(
        "page",
        nargs="?",
        choices=("pads", "loudness", "triggers", "latency", "pad-commands", "messages"),
        help="go to this page at once (default the overview)",
    )
    parser.add_argument(
        "--watch", action="store_true", help="print every message as it comes; no window"
    )
    parser.add_argument(
        "--show", action="store_true", help="print what is known of the kit; no window"
    )
    parser.add_argument(
        "--latency-ms",
        type=float,
        metavar="MS",
        help="keep this latency, in ms, which was measured elsewhere; no window "
        "(default it is measured on its page)",
    )
    parser.add_argument(
        "--profile",
        type=Path,
        metavar="FILE",
        help="take the profile in FILE, as you edited it, for the kit and the player that it "
        "names; no window (default what was learned)",
    )
    parser.add_argument(
        "--save",
        type=Path,
        metavar="FILE",
        help="write the profile of the last kit into FILE, to be edited; no window (default none)",
    )
    add_folder(parser, "what is learned is")
    add_kit(parser)
    add_simulated(parser)
    add_look(parser)


def run(given: Options) -> None:
    """Learn the kit, or do what needs no window; print what is known of it."""
    from playalong.app.user_folders import UserFolders

    home = user_folders() if given.out is None else UserFolders(config=given.out, data=given.out)
    if given.profile is not None or given.save is not None:
        _as_file(given, home)
        return
    try:
        if is_simulated(given):
            _learn_simulated(given, home)
        else:
            _learn(given, home)
    except KeyboardInterrupt:
        if not given.watch:
            print_lines(_BROKEN_OFF)
        raise


def _learn_simulated(given: Options, home: "UserFolders") -> None:
    from playalong.app.kit_setup.entry import set_up
    from playalong.app.kit_setup.kit_session import shown

    refuse(given, "--watch --show --latency-ms", "says nothing of a simulated player")
    if given.fast:
        refuse(given, LOOK, "says nothing with --fast")
    profile = set_up(player_of(given), look_of(given), None, home=home, page=given.page)
    print_lines(*shown(profile, home.notices))
    _copy(given, replace(home, simulated=True), profile)


def _learn(given: Options, home: "UserFolders") -> None:
    import time

    from playalong.app.kit_setup.kit_session import shown, typed_latency, watch

    needs_window = not (given.watch or given.show or given.latency_ms is not None)
    if not needs_window:
        refuse(given, f"page {LOOK}", "does not go with --watch, --show or --latency-ms")
    if given.watch:
        refuse(given, "--show", "does not go with --watch, which goes on until Ctrl+C")
    if needs_window:
        with playing(given, home, has_person=has_person()) as (port, profile):
            profile = _in_window(given, home, port, profile=profile)
            print_lines(*shown(profile, home.notices))
            _copy(given, home, profile)
        return
    with listening(given, home, remembers=not given.show) as (port, profile):
        if given.latency_ms is not None:
            profile = typed_latency(profile, given.latency_ms)
            if not home.keep(profile):
                raise UserError.of(["The latency is not kept.", *home.notices])
        if given.watch:
            for line in watch(port, profile, time.perf_counter):
                print_lines(line)
        print_lines(*shown(profile, home.notices))
        _copy(given, home, profile)


def _in_window(
    given: Options, home: "UserFolders", port: "Port | None", *, profile: "Profile"
) -> "Profile":
    """The kit's pages, from which Back leads to the first page; the profile as it is left."""
    from playalong.app.kit_setup.entry import set_up

    if port is None:
        return in_one_window(
            given, home, (None, profile), room=lambda home: home.set_up_kit(given.page)
        )
    if not has_person():
        return set_up(port, look_of(given), profile, home=home, page=given.page)
    return in_one_window(given, home, (port, profile), room=lambda home: home.learn_kit(given.page))


def _as_file(given: Options, home: "UserFolders") -> None:
    """A profile taken from a file, or written into one."""
    from playalong.app.kit_setup.kit_session import shown
    from playalong.app.kit_setup.profile_file import save_profile, take_profile

    why = "does not go with --profile or --save"
    refuse(given, f"page --watch --show --latency-ms --port --player --seed --fast {LOOK}", why)
    if given.profile is not None:
        refuse(given, "--save --who", "does not go with --profile: the file names its player")
        profile = take_profile(home, given.profile)
        print_lines(*shown(profile, home.notices))
    elif given.save is not None:
        save_profile(home, given.who, given.save)
        print_lines(f"The profile is in {given.save}: edit it, and take it with --profile.")


def _copy(given: Options, home: "UserFolders", profile: "Profile") -> None:
    """A copy of the profile as a file in the folder that was asked for."""
    from playalong.records.profiles import file_name
    from playalong.support.files import write_new_file

    text = home.profile_text(profile.kit, profile.player)
    if given.out is not None and text is not None:
        path = write_new_file(given.out, file_name(profile), text)
        print_lines(f"The profile is in {path}")
