"""How the window looks, and how it sounds."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.click import COUNTS
from playalong.commands.parser import Parser, written_as

if TYPE_CHECKING:
    from playalong.app.open_devices import Look

#: The options of a sound device, and all that a command has no use for without a window.
SOUND = "--sound --buffer-ms --click-to --click-db --drums-db"
LOOK = f"{SOUND} --dark --large"

#: The same without what a file that is written has as well.
WINDOW = "--sound --buffer-ms --click-to --dark --large"


class LookOptions(Protocol):
    """Sound device, buffer in milliseconds, the output of the click, and the looks."""

    sound: str | None
    buffer_ms: float | None
    click_to: str | None
    click_db: float | None
    drums_db: float | None
    dark: bool
    large: bool


class SoundPadsOption(Protocol):
    """Whether the pads sound through the program."""

    sound_pads: bool


def add_look(parser: Parser, has_pads: bool = False) -> None:
    """Add sound and window; where a kit is played (``has_pads``), that its pads may sound here."""
    from playalong.sound.device.devices import BUFFER_MS, LONGEST_MS, PADS_BUFFER_MS, SHORTEST_MS
    from playalong.sound.mix import HIGHEST_DB, LOWEST_DB

    group = parser.add_argument_group("sound and window")
    group.add_argument(
        "--sound",
        metavar="PART",
        help="part of the name of the sound device, which playalong sounds lists "
        "(default the last one, or the system's own)",
    )
    if has_pads:
        group.add_argument(
            "--sound-pads",
            action="store_true",
            help="let the pads sound through the program, for a kit without a module",
        )
    usual = (
        f"{BUFFER_MS:g}, and {PADS_BUFFER_MS:g} with --sound-pads" if has_pads else f"{BUFFER_MS:g}"
    )
    group.add_argument(
        "--buffer-ms",
        type=float,
        metavar="MS",
        help=f"how much sound is asked for at once, {SHORTEST_MS:g} to {LONGEST_MS:g} ms: less is "
        f"sooner, more is safer (default {usual})",
    )
    group.add_argument(
        "--click-to",
        metavar="PART",
        help="part of the name of the kit's MIDI output: its module then sounds the click "
        "(default the computer does)",
    )
    for part, what in (("click", "the click"), ("drums", "the drums that the program plays")):
        group.add_argument(
            f"--{part}-db",
            type=written_as(_db, f"no level: write dB, {LOWEST_DB:g} to {HIGHEST_DB:g}"),
            metavar="DB",
            help=f"the level of {what}, {LOWEST_DB:g} to {HIGHEST_DB:g} dB against what it was "
            "made at (default as it was left)",
        )
    group.add_argument("--dark", action="store_true", help="a dark sheet")
    group.add_argument("--large", action="store_true", help="larger writing")


def look_of(given: LookOptions, sound_pads: bool = False, hears_drums: bool = False) -> "Look":
    """How it looks and sounds; ``hears_drums``: the program plays the drums."""
    from playalong.app.open_devices import Look
    from playalong.sound.synth.click import Counting

    count: str | None = getattr(given, "count", None)
    return Look(
        dark=given.dark,
        large=given.large,
        device=given.sound,
        buffer_ms=given.buffer_ms,
        kit_click=given.click_to,
        echo=sound_pads,
        click_db=given.click_db,
        drums_db=given.drums_db,
        counting=dict(zip(COUNTS, Counting, strict=True)).get(count or ""),
    )


def _db(text: str) -> float:
    from playalong.sound.mix import HIGHEST_DB, LOWEST_DB

    level_db = float(text)
    if not LOWEST_DB <= level_db <= HIGHEST_DB:
        raise ValueError
    return level_db
