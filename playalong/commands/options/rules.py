"""How strict: how far a hit may be off."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Group, Parser

if TYPE_CHECKING:
    from playalong.app.user_folders import UserFolders
    from playalong.grading.levels import Level
    from playalong.grading.loudness import Bands
    from playalong.grading.verdicts import Rules
    from playalong.profile.profile import Profile


class LevelOption(Protocol):
    """How strict, by its name."""

    level: str | None


class RulesOptions(LevelOption, Protocol):
    """A level, windows in milliseconds, and the player's own strokes."""

    capture_ms: float | None
    tolerance_ms: float | None
    strokes: Path | None
    left_handed: bool | None


#: The options of rules.
RULES = "--level --capture-ms --tolerance-ms --left-handed --strokes"

#: What ``--level`` is where it is not typed.
OF_TAKE, OF_PLAYER, NO_LEVEL = "as the take says, or else ", "the player's last one, or else ", ""

#: What ``--strokes`` is where it is not typed.
_STROKES = {
    OF_TAKE: "those of --profile, or else as the take says",
    OF_PLAYER: "those of the kit's profile",
    NO_LEVEL: "none: each is heard against the others of the run",
}


def add_level(group: Group, usual: str) -> None:
    """Add the level; ``usual`` is one of the above."""
    from playalong.grading.levels import DEFAULT_LEVEL, LEVELS

    within = ", ".join(f"{limits.tolerance_ms:g} ms ({level})" for level, limits in LEVELS.items())
    group.add_argument(
        "--level",
        choices=[level.value for level in LEVELS],
        help=f"how strict: a hit is on time within {within} (default {usual}{DEFAULT_LEVEL})",
    )


def add_rules(parser: Parser, usual_level: str) -> None:
    """Add how strict; ``usual_level`` as above."""
    from playalong.grading.verdicts import Rules

    rules = Rules()
    of_take = usual_level if usual_level == OF_TAKE else ""
    group = parser.add_argument_group("how strict")
    add_level(group, usual_level)
    group.add_argument(
        "--capture-ms",
        type=float,
        metavar="MS",
        help="how far from a stroke of the pattern a hit may be and still answer it, "
        f"1 to 1000 ms (default {of_take}{rules.capture_ms:g})",
    )
    group.add_argument(
        "--tolerance-ms",
        type=float,
        metavar="MS",
        help="how far off a hit may be and still be on time, 0 ms to the capture window (default "
        f"that of {'--level, or else as the take says' if of_take else 'the level'})",
    )
    group.add_argument(
        "--left-handed",
        action=argparse.BooleanOptionalAction,
        help="the player leads with the left hand: sticking is mirrored (default "
        f"{usual_level}right-handed)",
    )
    group.add_argument(
        "--strokes",
        type=Path,
        metavar="FILE.toml",
        help="ghost, normal and accented strokes of the player on this kit: a stroke as loud as "
        f"those of its kind is right (default {_STROKES[usual_level]})",
    )


def rules_of(
    given: RulesOptions,
    level: "Level | None" = None,
    bands: "Bands | None" = None,
    *,
    left_handed: bool = False,
) -> "Rules":
    """The rules that were asked for.

    ``level``, ``bands`` and ``left_handed`` are those of the player, where none were typed.
    """
    from playalong.app.grade.checks import checked_rules
    from playalong.grading.levels import DEFAULT_LEVEL

    return checked_rules(
        level=level_of(given) or level or DEFAULT_LEVEL,
        capture_ms=given.capture_ms,
        tolerance_ms=given.tolerance_ms,
        bands=bands_of(given) or bands,
        left_handed=left_handed if given.left_handed is None else given.left_handed,
    )


def rules_of_player(given: RulesOptions, profile: "Profile", home: "UserFolders") -> "Rules":
    """The rules for a player whose level is remembered; one that is typed is from now on."""
    level = level_of(given)
    if level is not None:
        home.remember_level(profile.player, level)
    if given.left_handed is not None:
        home.remember_hand(profile.player, given.left_handed)
    player = profile.player
    return rules_of(
        given, home.level(player), profile.bands, left_handed=home.is_left_handed(player)
    )


def level_of(given: LevelOption) -> "Level | None":
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
