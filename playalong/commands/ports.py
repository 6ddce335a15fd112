"""playalong ports: the MIDI inputs on which a kit may be."""

from playalong.commands.parser import Given, Parser
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

ABOUT = "list the MIDI ports that a kit may be on"
EXAMPLES = (("what --port may be a part of", "playalong ports"),)


def add_arguments(_: Parser) -> None:
    """There are none."""


def run(_: Given) -> None:
    """List them; UserError where there is none."""
    from playalong.midi_io.backend import NO_PORT
    from playalong.midi_io.ports import port_names

    names = port_names()
    if not names:
        raise UserError(NO_PORT)
    print_lines(*names)
