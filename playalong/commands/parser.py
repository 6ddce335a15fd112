"""Parsers of the command line: what every command and every option of it has in common."""

import argparse
import textwrap
from collections.abc import Callable, Sequence
from typing import NoReturn, Protocol, TypeVar

from playalong.support.errors import UserError
from playalong.support.terminal import print_lines
from playalong.support.text import quoted

Value = TypeVar("Value")

#: (what it does, what is typed).
Examples = Sequence[tuple[str, str]]


class Group(Protocol):
    """Where arguments are added: a parser, or a group of it."""

    @property
    def add_argument(self) -> Callable[..., argparse.Action]:
        """As that of argparse."""


class Given(Protocol):
    """What was typed: every command and every group of options adds its own to this."""

    @property
    def usual(self) -> Callable[[str], object]:
        """What an option has where it was not typed, by its attribute's name."""


class Parser(argparse.ArgumentParser):
    """Prints as all the program does, and tells what does not fit as a UserError."""

    def __init__(self, prog: str, description: str, epilog: str, **_: object) -> None:
        super().__init__(
            prog=prog, description=description, epilog=epilog, formatter_class=_HelpFormatter
        )
        self.color = False  # from Python 3.14 on: the terminal is given text alone
        self.set_defaults(usual=self.get_default)

    def error(self, message: str) -> NoReturn:
        """What was typed does not fit."""
        raise UserError(f"{message}. See {self.prog} --help.")

    def _print_message(self, message: str, file: object = None) -> None:
        print_lines(*message.removesuffix("\n").split("\n"))


class _HelpFormatter(argparse.HelpFormatter):
    """Keeps paragraphs apart, and lines that begin with a space as they are."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        def filled(block: str) -> str:
            as_it_is = block.startswith(" ") or "\n " in block
            return block if as_it_is else textwrap.fill(block, width)

        return "\n\n".join(textwrap.indent(filled(block), indent) for block in text.split("\n\n"))


def epilog_of(examples: Examples, more: str = "") -> str:
    """What stands under the options: the examples, and a word more."""
    lines = [f"  {typed}\n      {what}" for what, typed in examples]
    return "\n\n".join(filter(None, ["\n".join(["examples:", *lines]), more]))


def refuse(given: Given, options: str, why: str) -> None:
    """UserError for the first of ``options`` (names in a row) that was typed: it says nothing.

    A name without dashes is that of an argument, which is told by what was typed for it.
    """
    for option in options.split():
        name = _ATTRIBUTES.get(option, option.removeprefix("--").replace("-", "_"))
        value = getattr(given, name)
        if value != given.usual(name):
            shown = option if option.startswith("-") else quoted(str(value))
            raise UserError(f"{shown} {why}. Leave it out.")


#: Of options whose name is a word of the language.
_ATTRIBUTES = {"--with": "along", "--run": "run_number"}


def written_as(read: Callable[[str], Value], what: str) -> Callable[[str], Value]:
    """A type of option: ``read`` gives its value, and ValueError for what is not ``what``."""

    def value(text: str) -> Value:
        try:
            return read(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f'"{text}" is {what}') from None

    return value
