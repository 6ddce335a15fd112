"""How strict: how far a hit may be off."""

from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Parser

if TYPE_CHECKING:
    from playalong.grading.levels import Level
    from playalong.grading.loudness import Bands
    from playalong.grading.verdicts import Rules


class RulesOptions(Protocol):
    """A level, windows in milliseconds, and the player's own strokes."""

    level: str | None
    capture_ms: float | None
    tolerance_ms: float | None
    strokes: Path | None


def add_rules(parser: Parser) -> None:
    """Add how strict."""
    from playalong.grading.levels import DEFAULT_LEVEL, LEVELS
    from playalong.grading.verdicts import Rules

    rules = Rules()
    group = parser.add_argument_group("how strict")
    group.add_argument(
        "--level",
        choices=[level.value for level in LEVELS],
        help="how strict: within "
        + ", ".join(f"{asked.tolerance_ms:g} ms ({level})" for level, asked in LEVELS.items())
        + f" a hit is on time (default as the take says, or else {DEFAULT_LEVEL})",
    )
    group.add_argument(
        "--capture-ms",
        type=float,
        metavar="MS",
        help="how far from a stroke of the pattern a hit may be and still answer it, "
        f"1 to 1000 ms (default {rules.capture_ms:g})",
    )
    group.add_argument(
        "--tolerance-ms",
        type=float,
        metavar="MS",
        help="how far off a hit may be and still be on time, 0 ms to the capture window "
        "(default that of the level)",
    )
    group.add_argument(
        "--strokes",
        type=Path,
        metavar="FILE.toml",
        help="ghost, normal and accented strokes of the player on this kit: a stroke as loud as "
        "those of its kind is right (default those of the kit's profile)",
    )


def rules_of(given: RulesOptions, usual: "Bands | None" = None) -> "Rules":
    """The rules that were asked for, with the bands of ``usual`` where no strokes were given."""
    from playalong.app.grade.take_grading import checked_rules
    from playalong.grading.levels import DEFAULT_LEVEL

    return checked_rules(
        level=level_of(given) or DEFAULT_LEVEL,
        capture_ms=given.capture_ms,
        tolerance_ms=given.tolerance_ms,
        bands=bands_of(given) or usual,
    )


def level_of(given: RulesOptions) -> "Level | None":
    """The level that was asked for, None where none was."""
    from playalong.grading.levels import Level

    return None if given.level is None else Level(given.level)


def bands_of(given: RulesOptions) -> "Bands | None":
    """The loudness bands of the strokes that were given, None where none were."""
    if given.strokes is None:
        return None
    from playalong.grading import bands_from_strokes
    from playalong.records.strokes import read

    return bands_from_strokes.bands_of(read(given.strokes))
