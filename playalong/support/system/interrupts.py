"""Being asked to end: by Ctrl+C, or by a signal that ends programs.

What a signal's handler raises is lost where it falls into a callback that C code makes. So what was
asked is remembered as well, and whoever shows frames looks.
"""

_is_requested = False


def ask(*_: object) -> None:
    """A handler of signals: raises KeyboardInterrupt, and remembers it."""
    global _is_requested
    _is_requested = True
    raise KeyboardInterrupt


def look() -> None:
    """Raise KeyboardInterrupt where it was asked for, and nobody has answered."""
    if _is_requested:
        raise KeyboardInterrupt


def answered() -> None:
    """It was heard, and all is being brought to an end."""
    global _is_requested
    _is_requested = False
