"""The patterns that come with the program: all of them, and those that stand for all where a test
costs much (a simulated player, a page drawn, notes without sound).

``CHOSEN`` are grooves, fills and exercises in most meters, with all dynamics, flams, drags, open
hi-hats and swing. Whether a file can be read, written, played and learned, and what other formats
make of it, is asked of all of them.
"""

from playalong.pattern.model import Pattern
from playalong.records.pattern_files import library

#: All names, and all patterns by name.
NAMES = library().names()
SHIPPED: dict[str, Pattern] = {name: library().get(name) for name in NAMES}

#: Names of those that stand for all.
CHOSEN = (
    "boots-by-the-door", "bucket-chain", "chairs-to-the-hall", "coins-in-a-jar", "comb-teeth",
    "corner-table", "crooked-gate", "drip-tray", "falling-crates", "ferry-bell", "five-bricks",
    "gravel-drive", "kettle-lid", "lantern-street", "late-bus-home", "loose-floorboard",
    "market-at-six", "mill-wheel", "mule-on-the-track", "noon-heat", "odd-socks-drawer",
    "old-boiler", "paper-round-before-six", "quiet-kitchen", "rain-on-the-bins",
    "seven-shed-doors", "slow-harbour", "spare-key-on-a-nail", "split-kindling", "sweeping-up",
    "three-spoons", "ticket-hall-gate", "treadle-and-bobbin", "turns-at-the-pump", "wet-pavement",
    "wide-stairs",
)  # fmt: skip
