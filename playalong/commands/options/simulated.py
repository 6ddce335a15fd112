"""A simulated player in place of a real one."""

from typing import TYPE_CHECKING, Protocol

from playalong.commands.parser import Given, Parser, refuse, written_as

if TYPE_CHECKING:
    from playalong.app.play.entry import Player


def _seed(text: str) -> int:
    seed = int(text)
    if seed < 0:
        raise ValueError
    return seed


#: The type of a seed.
SEED = written_as(_seed, "no seed: write a whole number, 0 or more")

#: Who plays where only the clock is asked for.
USUAL_SKILL = "intermediate"


class SimulatedOptions(Given, Protocol):
    """The skill by its name, the seed of its chances, and whether its clock waits for nobody."""

    player: str | None
    seed: int
    fast: bool


def add_simulated(parser: Parser, default: str | None = None, seed: int = 1) -> None:
    """Add a simulated player; without a ``default`` skill nobody plays unless it is said.

    ``seed`` is that of who asks for none.
    """
    from playalong.simulation.skills import SKILLS

    group = parser.add_argument_group("simulated player")
    group.add_argument(
        "--player",
        choices=tuple(SKILLS),
        default=default,
        help=f"how well somebody simulated plays (default {default or 'nobody simulated plays'})",
    )
    group.add_argument(
        "--seed",
        type=SEED,
        default=seed,
        metavar="N",
        help="a whole number, 0 or more: the same plays the same (default %(default)s)",
    )
    group.add_argument(
        "--fast",
        action="store_true",
        help="on a simulated clock, without waiting, sound or a window",
    )


def is_simulated(given: SimulatedOptions) -> bool:
    """Whether a simulated player is asked for; UserError for an option that then says nothing."""
    if given.player or given.fast:
        refuse(given, "--port --who", "says nothing of a simulated player")
        return True
    refuse(given, "--seed", "goes with --player, a simulated player")
    return False


def player_of(given: SimulatedOptions, through_port: bool = False) -> "Player":
    """The simulated player that is asked for."""
    from playalong.app.play.entry import Player
    from playalong.simulation.skills import SKILLS

    return Player(
        skill=SKILLS[given.player or USUAL_SKILL],
        seed=given.seed,
        fast=given.fast,
        through_port=through_port,
    )
