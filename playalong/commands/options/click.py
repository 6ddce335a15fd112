"""The tempo, the count-in, and where it clicks."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Parser, written_as
from playalong.support.errors import UserError

if TYPE_CHECKING:
    from playalong.sound.synth.click import Clicking


class TempoOptions(Protocol):
    """The tempo in beats a minute, and the bars of count-in."""

    tempo: float | None
    count_in: int


class ClickOptions(Protocol):
    """Where it clicks, and in which bars."""

    click: str
    eighths: bool
    gap: tuple[int, int, int] | None


def add_tempo(parser: Parser) -> None:
    """Add tempo and count-in."""
    group = parser.add_argument_group("tempo")
    group.add_argument(
        "--tempo",
        type=float,
        metavar="BPM",
        help="beats a minute, 20 to 400 (default the pattern's own)",
    )
    group.add_argument(
        "--count-in",
        type=int,
        default=1,
        metavar="BARS",
        choices=(0, 1, 2),
        help="bars that are counted in, 0 to 2 (default %(default)s)",
    )


def add_click(parser: Parser) -> None:
    """Add where it clicks."""
    group = parser.add_argument_group("click")
    group.add_argument(
        "--click",
        choices=("beats", "eighths", "off-beats"),
        default="beats",
        help="where it is; eighths are on the beats and between them (default %(default)s)",
    )
    group.add_argument("--eighths", action="store_true", help="the same as --click eighths")
    group.add_argument(
        "--gap",
        type=written_as(_gap, "no gap: write it like 2+2 or 2+1+1"),
        metavar="BARS+SILENT[+MORE]",
        help="so many bars with the click, then so many without, each time so many more, "
        "as in 2+2 or 2+1+1 (default no gap)",
    )


def clicking_of(given: ClickOptions) -> "Clicking":
    """Where it clicks; UserError for a gap that cannot be."""
    from playalong.sound.synth.click import Clicking, Gap, Places

    places = {"beats": Places.BEATS, "eighths": Places.EIGHTHS, "off-beats": Places.OFF_BEATS}
    asked = "eighths" if given.eighths else given.click
    try:
        return Clicking(places[asked], gap=None if given.gap is None else Gap(*given.gap))
    except ValueError as error:
        raise UserError(f"--gap: {error}.") from None


def _gap(text: str) -> tuple[int, int, int]:
    sounding, silent, *more = (int(part) for part in text.split("+"))
    (widening,) = more or [0]
    return sounding, silent, widening
