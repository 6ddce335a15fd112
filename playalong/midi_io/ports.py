"""MIDI inputs: which there are, and opening one.

python-rtmidi carries them; where it does not load (it has no wheel for Python 3.13), pygame's
PortMidi does.
"""

from contextlib import closing

from playalong.midi_io.backend import Backend, OpenPort, PortError, choose
from playalong.midi_io.hotplug import PluggedPort


def backend() -> Backend[OpenPort]:
    """The inputs of the library that works here."""
    try:
        from playalong.midi_io.rtmidi_port import RtMidiBackend

        return RtMidiBackend()
    except ImportError:
        from playalong.midi_io.portmidi_port import PortMidiBackend

        return PortMidiBackend()


def port_names() -> list[str]:
    """The names of the MIDI inputs."""
    with closing(backend()) as library:
        return library.names()


def open_port(part: str | None, remembered: str | None = None) -> PluggedPort:
    """Open the input whose name has ``part`` in it, or the only one; PortError says which.

    ``remembered`` is the ``name`` of a port that was opened before: it goes before others.
    """
    library = backend()
    try:
        return PluggedPort(library, choose(library.names(), part, remembered))
    except PortError:
        library.close()
        raise
