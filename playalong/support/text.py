"""Text that may come from anywhere (titles, file names, ports, players), made fit to be shown."""

import unicodedata

_JOINERS = "\N{ZERO WIDTH NON-JOINER}\N{ZERO WIDTH JOINER}"


def printable(text: str) -> str:
    """``text`` on one line, whatever it holds: nothing in it moves a cursor or turns writing round.

    Control characters, marks of direction, line and paragraph separators, and bytes of a file name
    that are no text become U+FFFD, spaces of any width a space. The two joiners that some scripts
    need stay.
    """
    return text if text.isprintable() else "".join(map(_printable, text))


def quoted(text: str) -> str:
    """``text`` in quotes, on one line."""
    return f'"{printable(text)}"'


def counted(number: int, what: str) -> str:
    """ "1 item", "3 items"."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def digits(value: float) -> str:
    """A number with all the digits that it takes to read it back as it was, and no more."""
    return repr(value).removesuffix(".0")


def sentence(error: Exception) -> str:
    """The words of an error as a sentence: with a capital, and a full stop."""
    words = str(error)
    return f"{words[:1].upper()}{words[1:]}."


def _printable(char: str) -> str:
    if char.isprintable() or char in _JOINERS:
        return char
    return (
        " " if unicodedata.category(char) == "Zs" or char == "\t" else "\N{REPLACEMENT CHARACTER}"
    )
