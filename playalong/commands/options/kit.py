"""The kit that is played, and who plays it."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.notices import broken_off_runs, print_notices
from playalong.commands.parser import Given, Parser
from playalong.support.cautions import CAUTION
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.user_folders import UserFolders
    from playalong.midi.port import Port
    from playalong.profile.profile import Profile


class KitOptions(Given, Protocol):
    """Part of the kit's MIDI port's name, and the player's name."""

    port: str | None
    who: str | None


def add_kit(parser: Parser) -> None:
    """Add which kit, and who plays."""
    group = parser.add_argument_group("kit and player")
    group.add_argument(
        "--port",
        metavar="PART",
        help="part of the name of the kit's MIDI port, which playalong ports lists "
        "(default the last one, or the only one)",
    )
    group.add_argument(
        "--who",
        metavar="NAME",
        help="who plays: each player of a kit has a profile of their own (default the last one)",
    )


@contextmanager
def listening(
    given: KitOptions, home: "UserFolders", remembers: bool = True
) -> Iterator[tuple["Port", "Profile"]]:
    """The kit's port and the profile of kit and player; says which they are."""
    from playalong.app.kit_port import open_kit

    with open_kit(home, given.port, given.who, remembers=remembers) as (port, profile):
        print_lines(f'Listening to "{port.name}", played by {profile.player}. {CAUTION}')
        print_notices([*home.notices, *broken_off_runs(home)])
        yield port, profile


@contextmanager
def playing(
    given: KitOptions, home: "UserFolders", *, has_person: bool
) -> Iterator[tuple["Port | None", "Profile"]]:
    """As ``listening``; with a person at the window no kit need be plugged in.

    The port is then None: the computer's keys are pads.
    """
    from playalong.midi_io.ports import port_names

    if given.port is None and has_person and not port_names():
        from playalong.app.home.key_port import WORDS, KeyPort

        profile = home.profile(KeyPort.name, given.who)
        home.remember(player=profile.player)
        print_lines(f"{WORDS}. {CAUTION}")
        print_notices([*home.notices, *broken_off_runs(home)])
        yield None, profile
        return
    with listening(given, home) as kit:
        yield kit
