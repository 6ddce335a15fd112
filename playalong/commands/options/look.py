"""How the window looks, and how it sounds."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Parser

if TYPE_CHECKING:
    from playalong.app.open_devices import Look

#: The options of a sound device, and all that a command has no use for without a window.
SOUND = "--sound --buffer-ms --click-to"
LOOK = f"{SOUND} --dark --large"


class LookOptions(Protocol):
    """Sound device, buffer in milliseconds, the output of the click, and the looks."""

    sound: str | None
    buffer_ms: float
    click_to: str | None
    dark: bool
    large: bool


class SoundPadsOption(Protocol):
    """Whether the pads sound through the program."""

    sound_pads: bool


def add_look(parser: Parser) -> None:
    """Add sound and window."""
    from playalong.sound.device.devices import BUFFER_MS, LONGEST_MS, SHORTEST_MS

    group = parser.add_argument_group("sound and window")
    group.add_argument(
        "--sound",
        metavar="PART",
        help="part of the name of the sound device, which playalong sounds lists "
        "(default the last one, or the system's own)",
    )
    group.add_argument(
        "--buffer-ms",
        type=float,
        default=BUFFER_MS,
        metavar="MS",
        help=f"how much sound is asked for at once, {SHORTEST_MS:g} to {LONGEST_MS:g} ms: less is "
        f"sooner, more is safer (default {BUFFER_MS:g})",
    )
    group.add_argument(
        "--click-to",
        metavar="PART",
        help="part of the name of the kit's MIDI output: its module then sounds the click "
        "(default the computer does)",
    )
    group.add_argument("--dark", action="store_true", help="a dark sheet")
    group.add_argument("--large", action="store_true", help="larger writing")


def add_sound_pads(parser: Parser) -> None:
    """Add that the pads sound here."""
    parser.add_argument(
        "--sound-pads",
        action="store_true",
        help="let the pads sound through the program, for a kit without a module",
    )


def look_of(given: LookOptions, sound_pads: bool = False) -> "Look":
    """How it looks and sounds."""
    from playalong.app.open_devices import Look

    return Look(given.dark, given.large, given.sound, given.buffer_ms, given.click_to, sound_pads)
