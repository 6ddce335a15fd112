"""Patterns to try things on: those that stand for all that are shipped, and some of our own with
what those have little of: flams, drags, open hi-hats, swing."""

from functools import cache

from playalong.pattern.model import Pattern
from playalong.pattern.reader import read
from tests.helpers.shipped import CHOSEN, SHIPPED

_OWN = {
    "two-doors": (
        'meter = "4/4"\ntempo = 92\n[[bar]]\nhi-hat = "xx xo xx xo"\nsnare = "-- X- -- X-"\n'
        'kick = "x- -x x- --"\n'
    ),
    "gate-and-latch": (
        'meter = "4/4"\ntempo = 84\n[[bar]]\nhi-hat = "xxxx xxxx xxxx xxox"\n'
        'snare = "---- x--- ---- x---"\nkick = "x--- --x- x--- ----"\n'
        '[[bar]]\nhi-hat = "xxox xxxx xxxx xxox"\nsnare = "---- x--- ---- x---"\n'
        'kick = "x--- --x- --x- ----"\n'
    ),
    "thick-rope": (
        'meter = "4/4"\ntempo = 88\n[[bar]]\nhi-hat = "xx xx xx xx"\nsnare = "-- f- -- f-"\n'
        'kick = "x- -x x- --"\n'
    ),
    "planks": (
        'meter = "4/4"\ntempo = 96\n[[bar]]\nride = "x xx x xx"\nsnare = "-- f- -x fx"\n'
        'floor-tom = "f- -- f- --"\nkick = "x- x- x- x-"\n'
    ),
    "rope-ladder": (
        'meter = "4/4"\ntempo = 76\n[[bar]]\nhi-hat = "xx xx xx xx"\nsnare = "-- d- -- x-"\n'
        'kick = "x- -x x- --"\n'
    ),
    "gravel-drive-twice": (
        'meter = "4/4"\ntempo = 80\n[[bar]]\nhi-hat = "x x x x"\nsnare = "- d - d"\n'
        'kick = "x - x -"\n[[bar]]\nhi-hat = "x x x x"\nsnare = "d x - d"\nkick = "x - xx -"\n'
    ),
    "barrel-roll": (
        'meter = "4/4"\ntempo = 112\nswing = 64\n[[bar]]\nride = "xx xx xx xx"\n'
        'snare = "-- x- -- xx"\nkick = "x- -x x- --"\n'
    ),
    "old-gears": (
        'meter = "4/4"\ntempo = 96\nswing = 60\n[[bar]]\nhi-hat = "xx xx xx xx"\n'
        'snare = "-g x- -g x-"\nkick = "x- -- xx --"\n'
    ),
    "soft-under": (
        'meter = "4/4"\ntempo = 84\n[[bar]]\nhi-hat = "x-x- x-x- x-x- x-x-"\n'
        'snare = "--g- x-g- -g-g x---"\nkick = "x-x- --x- -x-- --x-"\n'
    ),
}


@cache
def grooves() -> dict[str, Pattern]:
    """All of them, by name."""
    own = {name: read(f'title = "{name}"\n{text}', name) for name, text in _OWN.items()}
    return {name: SHIPPED[name] for name in CHOSEN} | own
