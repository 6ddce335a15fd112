"""playalong players: who plays here."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.options.folder import user_folders
from playalong.commands.options.notices import print_notices
from playalong.commands.parser import Given, Parser, refuse
from playalong.support.terminal import print_lines

if TYPE_CHECKING:
    from playalong.app.user_folders import UserFolders

ABOUT = "see who plays here; add, rename or choose a player"
EXAMPLES = (
    ("everybody, with level and last run", "playalong players"),
    ("somebody new", "playalong players --add Ines"),
    ("another name", 'playalong players --rename Ines "Ines R."'),
)


class Options(Given, Protocol):
    """What can be done with players."""

    add: str | None
    rename: list[str] | None
    choose: str | None
    simulated: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--add", metavar="NAME", help="add a player (default nobody)")
    what.add_argument(
        "--rename",
        nargs=2,
        metavar=("NAME", "NEW"),
        help="give a player another name (default nobody)",
    )
    what.add_argument(
        "--choose", metavar="NAME", help="who plays from now on (default the last one)"
    )
    parser.add_argument(
        "--simulated", action="store_true", help="the simulated players, not people"
    )


def run(given: Options) -> None:
    """Do what is asked, and list everybody."""
    from playalong.support.errors import UserError
    from playalong.support.text import quoted

    if given.simulated:
        why = "says nothing of simulated players: --player of a command says which of them plays"
        refuse(given, "--add --choose", why)
    home = user_folders()
    home.simulated = given.simulated
    if given.add is not None:
        home.add_player(given.add)
    elif given.rename is not None:
        home.rename_player(*given.rename)
    elif given.choose is not None:
        if home.player(given.choose) is None:
            raise UserError(f"There is no player {quoted(given.choose)}: --add adds one.")
        home.choose_player(given.choose)
    print_lines(*_listed(home))
    print_notices(home.notices)


def _listed(home: "UserFolders") -> list[str]:
    """A line for each player, under a head; the one who plays now has a mark."""
    everybody = home.players()
    if not everybody:
        return ["Nobody has played here yet."]
    wide = max(len("name"), *(len(player.name) for player in everybody))
    last, counts = home.settings().player, home.runs_of_everybody()
    lines = [f"  {'name':<{wide}}  {'level':<12}  {'leads with':<10}  {'runs':>5}  last played"]
    for player in everybody:
        mark = "*" if player.name == last else " "
        hand = "left hand" if player.left_handed else "right hand"
        count, when = counts.get(player.id, (0, ""))
        level = home.level(player.name).value
        lines.append(f"{mark} {player.name:<{wide}}  {level:<12}  {hand:<10}  {count:>5}  {when}")
    return lines
