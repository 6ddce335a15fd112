"""A file that is written: never over another, unless that is asked for."""

from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from playalong.commands.parser import Given, Parser, refuse
from playalong.support.errors import UserError
from playalong.support.reading import is_file


class OutOption(Given, Protocol):
    """The file to write, None for none, and whether it may take the place of another."""

    out: Path | None
    force: bool


def add_out(parser: Parser, what: str) -> None:
    """Add the file; ``what`` says what becomes of it."""
    parser.add_argument("--out", type=Path, metavar="FILE.wav", help=what)
    add_force(parser)


def add_force(parser: Parser) -> None:
    """Add that a file may be written over."""
    parser.add_argument("--force", action="store_true", help="write over a file that is there")


def refuse_over(out: Path, force: bool) -> None:
    """UserError where a file would be written over that is not meant to be."""
    if is_file(out) and not force:
        raise UserError(
            f"{out} is there already, and stays as it is: choose another name, or write over it "
            "with --force."
        )


def check_out(given: OutOption) -> None:
    """UserError where a file would be written over that is not meant to be."""
    if given.out is None:
        refuse(given, "--force", "goes with --out, a file that is written")
        return
    refuse_other_kind(given.out, ".wav", also=(".wave", ""))
    refuse_over(given.out, given.force)


def refuse_other_kind(out: Path, *kinds: str, also: Sequence[str] = ()) -> None:
    """UserError where a file that is to be written is named like another kind than ``kinds``.

    These are endings; those of ``also`` are let pass, and not told.
    """
    if out.suffix.casefold() not in (*kinds, *also):
        *others, last = (f"{out.stem}{kind}" for kind in kinds)
        named = f"{', '.join(others)} or {last}" if others else last
        raise UserError(f"{out} is named like another kind of file: call it {named}.")
