"""The version of the program, as it was installed."""

from functools import cache
from importlib.metadata import PackageNotFoundError, version


@cache
def program_version() -> str:
    """The version, or "unknown" where the program runs without being installed."""
    try:
        return version("playalong")
    except PackageNotFoundError:
        return "unknown"
