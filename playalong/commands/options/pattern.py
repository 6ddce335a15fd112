"""Which pattern, how much of it, and with which variations."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Parser

if TYPE_CHECKING:
    from playalong.pattern.model import Pattern


class PatternOption(Protocol):
    """The pattern, by its name or its file."""

    pattern: str


class BarsOptions(Protocol):
    """How many bars, and which variations."""

    bars: int | None
    variation: list[str] | None


def add_pattern(parser: Parser, default: str | None = None) -> None:
    """Add the pattern; with a ``default`` it may be left out."""
    about = "the name of a pattern (playalong patterns lists them), or a pattern file (.toml)"
    if default is None:
        parser.add_argument("pattern", metavar="PATTERN", help=about)
    else:
        parser.add_argument(
            "pattern",
            metavar="PATTERN",
            nargs="?",
            default=default,
            help=f"{about} (default {default})",
        )


def add_bars(parser: Parser, usual: str) -> None:
    """Add bars and variations; ``usual`` says how many bars there are where nobody says."""
    group = parser.add_argument_group("how much of the pattern")
    group.add_argument("--bars", type=int, metavar="N", help=f"how many bars (default {usual})")
    group.add_argument(
        "--variation",
        action="append",
        metavar="NAME",
        help="play it with this variation of the pattern; may be repeated (default none)",
    )


def pattern_of(given: PatternOption) -> "Pattern":
    """The pattern that was named; UserError where there is none."""
    from pathlib import Path

    from playalong.records.pattern_files import load_pattern
    from playalong.sound.recordings.decoder import OTHER_KINDS, OWN_KINDS
    from playalong.support.errors import UserError
    from playalong.support.text import printable

    path = Path(given.pattern)
    if path.suffix.casefold() in (*OWN_KINDS, *OTHER_KINDS):
        raise UserError(
            f"{printable(path.name)} is a recording, not a pattern: name a pattern, and the "
            "recording behind --with. Its beats are told with playalong beats."
        )
    return load_pattern(given.pattern)
