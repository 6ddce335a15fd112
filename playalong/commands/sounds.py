"""playalong sounds: the devices on which the click may be heard."""

from playalong.commands.parser import Given, Parser
from playalong.support.errors import UserError
from playalong.support.terminal import print_lines

ABOUT = "list the sound devices"
EXAMPLES = (("what --sound may be a part of", "playalong sounds"),)


def add_arguments(_: Parser) -> None:
    """There are none."""


def run(_: Given) -> None:
    """List them; UserError where there is none."""
    from playalong.sound.device.devices import device_names

    names = device_names()
    if not names:
        raise UserError("There is no sound device: the click is seen, not heard.")
    print_lines(*names)
