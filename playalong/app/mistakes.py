"""Mistakes of the program itself: said in one line, and kept in a file for whoever mends it."""

from datetime import datetime
from traceback import format_exception

from playalong.support.errors import UserError
from playalong.support.files import write_new_file
from playalong.support.folders import user_data


def described(error: Exception) -> str:
    """What happened, in a word."""
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__


def keep_mistake(error: Exception) -> str:
    """Keep the traceback in the user's data folder; a sentence on where, "" where it cannot be."""
    details = "".join(format_exception(error))
    folder = user_data() / "mistakes"
    try:
        path = write_new_file(folder, f"{datetime.now():%Y-%m-%d-%H%M%S}.txt", details)
    except UserError:
        return ""
    return f"What helps to mend it is in {path}"
