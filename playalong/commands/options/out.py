"""A file that is written: never over another, unless that is asked for."""

from pathlib import Path
from typing import Protocol

from playalong.commands.parser import Given, Parser, refuse
from playalong.support.errors import UserError
from playalong.support.reading import is_file
from playalong.support.text import quoted


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
    _refuse_other_than_wave(given.out)
    refuse_over(given.out, given.force)


def _refuse_other_than_wave(out: Path) -> None:
    """UserError where a file that is to be written is named like another kind than a wave file."""
    if out.suffix.casefold() not in ("", ".wav", ".wave"):
        raise UserError(
            f"--out writes a wave file, and {quoted(out.name)} is named like another kind: "
            f"call it {quoted(out.with_suffix('.wav').name)}."
        )
