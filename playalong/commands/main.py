"""The command line: finds the command that is typed, runs it, and tells how it went.

A command is a module of this room with a word about itself, examples, ``add_arguments`` and
``run``. Its imports stand inside these, so that none pays for what another needs.

Exit codes: 0 when the command did its work, 2 where something must be mended first, which is told
in plain words on standard error; 130 after Ctrl+C; 1 where the program itself made a mistake, whose
traceback is kept in a file.
"""

import argparse
import signal
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import Protocol

from playalong.commands import (
    assess,
    beats,
    capture,
    check,
    class_,
    demo,
    export,
    grade,
    hear,
    history,
    import_,
    kit,
    patterns,
    play,
    players,
    ports,
    practice,
    remark,
    report,
    sheet,
    shortcut,
    sounds,
    verify,
    warmup,
)
from playalong.commands.first_page import has_person, open_first_page
from playalong.commands.parser import Examples, Parser, epilog_of
from playalong.support.cautions import CAUTION
from playalong.support.errors import UserError
from playalong.support.system import interrupts
from playalong.support.terminal import print_errors, print_lines

ABOUT = "Listens to an electronic drum kit, compares each hit with a pattern, and answers at once."
EXAMPLES = (
    ("the window, from its first page", "playalong"),
    ("see and hear what it does, without a kit", "playalong demo"),
    ("play on the kit", "playalong play late-bus-home --tempo 70"),
    ("learn a pattern step by step", "playalong practice late-bus-home"),
    ("all options of a command", "playalong play --help"),
)

DONE, OUR_MISTAKE, BAD_INPUT, INTERRUPTED = 0, 1, 2, 130


class Command(Protocol):
    """A module that is a command: a word about it, and how it is typed."""

    @property
    def ABOUT(self) -> str: ...  # noqa: D102, N802

    @property
    def EXAMPLES(self) -> Examples: ...  # noqa: D102, N802

    def add_arguments(self, parser: Parser, /) -> None:
        """Add what can be typed."""

    def run(self, given: argparse.Namespace, /) -> None:
        """Do the work; UserError where something must be mended first."""


COMMANDS: dict[str, Command] = {
    "patterns": patterns,
    "check": check,
    "import": import_,
    "export": export,
    "capture": capture,
    "sheet": sheet,
    "ports": ports,
    "sounds": sounds,
    "kit": kit,
    "play": play,
    "demo": demo,
    "hear": hear,
    "beats": beats,
    "practice": practice,
    "warmup": warmup,
    "grade": grade,
    "history": history,
    "players": players,
    "shortcut": shortcut,
    "assess": assess,
    "verify": verify,
    "remark": remark,
    "report": report,
    "class": class_,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the exit code."""
    typed = sys.argv[1:] if arguments is None else arguments
    _end_as_by_hand()
    try:
        if not typed and has_person():
            open_first_page()
            return DONE
        given = parser(typed or ["demo"]).parse_args(typed or ["demo"])
        given.run(given)
    except UserError as error:
        first, *more = error.lines
        print_errors(f"playalong: {first}", *more)
        return BAD_INPUT
    except KeyboardInterrupt:
        interrupts.answered()
        print_errors(*_of_broken_runs())
        return INTERRUPTED
    except BrokenPipeError:  # nobody reads any more, which is no fault of ours
        return DONE
    except Exception as error:
        _tell_mistake(error)
        return OUR_MISTAKE
    return DONE


def _end_as_by_hand() -> None:
    """Any signal that ends the program ends it as Ctrl+C does: what was played is kept."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
        number = getattr(signal, name, None)
        # Whoever started the program with a signal ignored (nohup) wants it so.
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            with suppress(ValueError):  # not the main thread: somebody else's program
                signal.signal(number, interrupts.ask)


def _tell_mistake(error: Exception) -> None:
    """Say in one line that the program is at fault, and keep what helps to mend it."""
    from playalong.app.mistakes import described, keep_mistake

    message = f"playalong: The program made a mistake ({described(error)})."
    print_errors(f"{message} {keep_mistake(error)}".rstrip(), *_of_broken_runs())


def _of_broken_runs() -> list[str]:
    """See to it that what was played in a run that goes on is on the disk; what is to be said."""
    if "playalong.records.store.run_log" not in sys.modules:  # nothing was played
        return []
    from playalong.records.store.run_log import close_all

    return ["What was played is kept: the next start offers it."] if close_all() else []


class _Version(argparse.Action):
    """Prints the version when it is typed; nobody else waits for it."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object, **__: object) -> None:
        from playalong.support.version import program_version

        print_lines(f"playalong {program_version()}")
        parser.exit()


def parser(typed: Sequence[str]) -> Parser:
    """The parser; where a command is ``typed`` it knows that one alone."""
    whole = Parser("playalong", ABOUT, epilog_of(EXAMPLES, CAUTION))
    whole.add_argument("--version", action=_Version, nargs=0, help="print the version")
    commands = whole.add_subparsers(
        required=True, metavar="COMMAND", title="commands", prog="playalong"
    )
    first = typed[0] if typed else ""
    known = {first: COMMANDS[first]} if first in COMMANDS else COMMANDS
    for name, command in known.items():
        about = f"{command.ABOUT[:1].upper()}{command.ABOUT[1:]}."
        added = commands.add_parser(
            name, help=command.ABOUT, description=about, epilog=epilog_of(command.EXAMPLES)
        )
        added.set_defaults(run=command.run)
        if name in typed:
            command.add_arguments(added)
    return whole
