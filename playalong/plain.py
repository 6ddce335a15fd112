"""Plain words: errors that the user can mend, and the caution that goes with playing."""

CAUTION = (
    "Start quiet, rest between runs, and stop on pain or ringing in the ears; "
    "if it stays, ask a physician or an audiologist."
)


class PlainError(Exception):
    """Something the user can mend: its text says what, where, and what would be right."""
