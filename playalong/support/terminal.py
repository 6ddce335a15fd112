"""Printing to a terminal: all that the program prints goes through here.

Whatever a title, a file, a port or a player is called, it cannot send a control character, and a
line stays a line. A terminal that knows few characters is given those that read the same. Where
there is no terminal (a program started by a click), nothing is printed.
"""

import errno
import os
import sys
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TextIO

from playalong.support.errors import UserError
from playalong.support.text import printable

#: What stands for a character that a terminal does not know, where no decomposition of Unicode
#: (NFKD) gives one that it does.
_READ_AS = {
    **dict.fromkeys("‐‑‒–—―−", "-"),
    **dict.fromkeys("‘’‚‹›′", "'"),
    **dict.fromkeys("“”„«»″", '"'),
    "×": "x",
    "÷": "/",
    "⁄": "/",
    "±": "+-",
    "≤": "<=",
    "≥": ">=",
    "→": "->",
    "←": "<-",
    "·": ".",
    "•": "*",
    "μ": "u",
    "€": "EUR",
    **{"ß": "ss", "ẞ": "SS", "æ": "ae", "Æ": "AE", "œ": "oe", "Œ": "OE", "ø": "o", "Ø": "O"},
    **{"đ": "d", "Đ": "D", "ð": "d", "Ð": "D", "þ": "th", "Þ": "Th", "ł": "l", "Ł": "L", "ı": "i"},
}


class OutputError(UserError):
    """What is printed cannot be written."""


def is_read() -> bool:
    """Whether somebody reads what is printed, or nobody started the program from a terminal."""
    stream = sys.stdout
    return stream is None or (not stream.closed and stream.isatty())


def print_lines(*lines: str) -> None:
    """Print lines on standard output, at once.

    BrokenPipeError where nobody reads them any more, OutputError where they cannot be written;
    after either one standard output leads nowhere.
    """
    stream = sys.stdout
    try:
        _write(stream, "".join(f"{printable(line)}\n" for line in lines))
    except OSError as error:
        _lead_nowhere(stream)
        # Windows tells that nobody reads a pipe any more by another number.
        if isinstance(error, BrokenPipeError) or (os.name == "nt" and error.errno == errno.EINVAL):
            raise BrokenPipeError from None
        raise OutputError(
            f"What is printed cannot be written ({error.strerror or error})."
        ) from None


def print_errors(*lines: str) -> None:
    """Print lines on standard error; where that cannot be, there is nobody left to tell."""
    _write_error("".join(f"{printable(line)}\n" for line in lines))


def print_progress(line: str, is_last: bool = False) -> None:
    """Print ``line`` on standard error where the one before stood, if somebody sees it."""
    if sys.stderr is not None and sys.stderr.isatty():
        _write_error(f"\r{printable(line)}" + ("\n" if is_last else ""))


@contextmanager
def progress(total: int, what: str) -> Iterator[Callable[..., None]]:
    """A bar of ``total`` steps on standard error; nothing where that is no terminal.

    What it gives is called after each step, with the lines that are then printed on standard
    output. Drawn by tqdm: it knows what terminals can do on each system, how wide they are, and
    how long is left.
    """
    from tqdm import tqdm

    stream = sys.stderr
    seen = stream is not None and not stream.closed and stream.isatty()
    with tqdm(total=total, unit=f" {what}", file=stream, leave=False, disable=not seen) as bar:

        def step(*lines: str) -> None:
            if lines:
                with tqdm.external_write_mode(file=stream):
                    print_lines(*lines)
            bar.update()

        yield step


def ask(question: str) -> str:
    """What is typed in answer to ``question``, without spaces around it; "" where nothing can be.

    The question is on standard error: standard output may be read by a program.
    """
    stream = sys.stdin
    if stream is None or stream.closed:
        return ""
    _write_error(printable(question))
    try:
        return stream.readline().strip()
    except (OSError, ValueError):  # it is a folder, or no text
        return ""


def readable(text: str, encoding: str) -> str:
    """``text`` in characters that ``encoding`` has, as near as can be."""
    return text if _has(encoding, text) else "".join(_readable(char, encoding) for char in text)


def _write_error(text: str) -> None:
    stream = sys.stderr
    try:
        _write(stream, text)
    except OSError:
        _lead_nowhere(stream)


def _write(stream: TextIO | None, text: str) -> None:
    if stream is None or stream.closed:
        return
    stream.write(readable(text, stream.encoding or "utf-8"))
    stream.flush()


def _lead_nowhere(stream: TextIO) -> None:
    """Let what waits in ``stream`` go nowhere, so that the end of the program is a quiet one."""
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def _has(encoding: str, text: str) -> bool:
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def _readable(char: str, encoding: str) -> str:
    if _has(encoding, char):
        return char
    found = "".join(
        _READ_AS.get(part, part)
        for part in unicodedata.normalize("NFKD", _READ_AS.get(char, char))
        if not unicodedata.combining(part)
    )
    return "".join(part if _has(encoding, part) else "?" for part in found)
