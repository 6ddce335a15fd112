"""Plain words: errors that the user can mend, and the caution that goes with playing."""

CAUTION = (
    "Start quiet, rest between runs, and stop on pain or ringing in the ears; "
    "if it stays, ask a physician or an audiologist."
)


class UserError(Exception):
    """Something the user can mend: its text says what, where, and what would be right."""


def printable(text: str) -> str:
    """``text`` on one line, whatever it holds."""
    return "".join(char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in text)


def quoted(text: str) -> str:
    """``text`` in quotes, on one line."""
    return f'"{printable(text)}"'


def sentence(error: Exception) -> str:
    """The words of an error as a sentence: with a capital, and a full stop."""
    words = str(error)
    return f"{words[:1].upper()}{words[1:]}."
