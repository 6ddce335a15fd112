"""playalong shortcut: an entry in the system's menu."""

from typing import Protocol

from playalong.commands.parser import Parser
from playalong.support.terminal import print_lines

ABOUT = "put playalong into the system's menu, or take it out again"
EXAMPLES = (
    ("from now on it opens from the menu", "playalong shortcut"),
    ("out of the menu again", "playalong shortcut --remove"),
)


class Options(Protocol):
    """Whether the entry is to go."""

    remove: bool


def add_arguments(parser: Parser) -> None:
    """Add them."""
    parser.add_argument("--remove", action="store_true", help="take the entry away again")


def run(given: Options) -> None:
    """Add the entry, or remove it; say where it is."""
    from playalong.app.home import menu_entry

    if given.remove:
        gone = menu_entry.remove()
        print_lines(*(f"Removed: {path}" for path in gone) if gone else ["There was no entry."])
        return
    print_lines(*(f"Written: {path}" for path in menu_entry.add()))
