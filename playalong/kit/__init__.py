"""The kit on the wire: ports, time stamps, note mapping, the simulated player."""

import os

# PortMidi comes with a library that greets on standard output when it is first imported.
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
