"""What should be said besides: in brackets, a line each."""

from collections.abc import Iterable

from playalong.support.terminal import print_lines


def print_notices(words: Iterable[str]) -> None:
    """Print words on trouble, each of one line or more."""
    for word in words:
        print_lines(*f"({word})".split("\n"))
