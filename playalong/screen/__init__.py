"""What the player sees: window, pages, chart, gauges, theme."""

import os

# The library greets on standard output when it is first imported; this room imports it.
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
