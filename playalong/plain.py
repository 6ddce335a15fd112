"""Errors that are told in plain words."""


class PlainError(Exception):
    """Something the user can mend: its text says what, where, and what would be right."""
