"""playalong patterns: the patterns that come with the program."""

from playalong.commands.parser import Given, Parser
from playalong.support.terminal import print_lines

ABOUT = "list the patterns that come with the program"
EXAMPLES = (("every pattern, what it trains, and its variations", "playalong patterns"),)


def add_arguments(_: Parser) -> None:
    """There are none."""


def run(_: Given) -> None:
    """List them."""
    from playalong.records.pattern_files import library

    known = library()
    for name in known.names():
        pattern = known.get(name)
        tempo = f"{pattern.tempo:g} bpm"
        print_lines(f"{name:<24} {pattern.meter.written:>7}  {tempo:>8}  {pattern.title}")
        if pattern.about:
            print_lines(f"    {pattern.about}")
        if pattern.variations:
            print_lines(f"    variations: {', '.join(pattern.variations)}")
