"""The tempo, the count-in, and where it clicks."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Given, Group, Parser, refuse, written_as
from playalong.support.errors import UserError
from playalong.support.text import counted

if TYPE_CHECKING:
    from playalong.app.run.task import Task
    from playalong.sound.synth.click import Clicking

#: What counts in, as options say it, in the order of ``Counting``.
COUNTS = ("sticks", "numbers", "subdivision", "throughout")

#: The options of a click, all of which say nothing where none is heard.
CLICK = "--click --eighths --gap --count"


class TempoOptions(Protocol):
    """The tempo in beats a minute, and the bars of count-in."""

    tempo: float | None
    count_in: int


class CountOption(Given, Protocol):
    """What counts in, which the kit's own module cannot be asked for."""

    count: str | None
    click_to: str | None


class ClickOptions(CountOption, Protocol):
    """Where it clicks, and in which bars; what counts in."""

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
    add_count(group)


def add_count(group: Group) -> None:
    """Add what counts in."""
    group.add_argument(
        "--count",
        choices=COUNTS,
        help="what counts in: two sticks, a voice that says the numbers (one two three four), or "
        "the subdivision as well (one e and a), or goes on with that throughout "
        "(default as in the settings, sticks at first)",
    )


def refuse_unused_count(given: CountOption, count_in: int = 1) -> None:
    """UserError for a voice that has nothing to count in, of so many bars, or cannot be heard."""
    if given.click_to is not None and given.count != COUNTS[0]:
        refuse(given, "--count", "does not go with --click-to: the kit's module has no voice")
    if not count_in and given.count != COUNTS[-1]:
        refuse(given, "--count", "says nothing with --count-in 0: nothing is counted in")


def refuse_late_gap(task: "Task") -> None:
    """UserError for a gap that would come after the last bar."""
    gap = task.clicking.gap
    if gap is not None and task.passes is None and gap.sounding >= task.bars:
        raise UserError(
            f"--gap begins after {counted(gap.sounding, 'bar')}, and {task.bars} are played: "
            "make it shorter, or play more --bars."
        )


def clicking_of(given: ClickOptions) -> "Clicking":
    """Where it clicks; UserError for what cannot be."""
    from playalong.sound.synth.click import Clicking, Gap, Places

    if given.eighths:
        refuse(given, "--click", "does not go with --eighths, which is --click eighths")
    places = {"beats": Places.BEATS, "eighths": Places.EIGHTHS, "off-beats": Places.OFF_BEATS}
    chosen = "eighths" if given.eighths else given.click
    try:
        return Clicking(places[chosen], gap=None if given.gap is None else Gap(*given.gap))
    except ValueError as error:
        raise UserError(f"--gap: {error}.") from None


def _gap(text: str) -> tuple[int, int, int]:
    sounding, silent, *more = (int(part) for part in text.split("+"))
    (widening,) = more or [0]
    return sounding, silent, widening
