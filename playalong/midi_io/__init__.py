"""MIDI ports: backends, hot plug, time stamps, outputs."""

import os

# PortMidi comes with a library that greets on standard output when it is first imported.
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
