"""What python-rtmidi raises where a port cannot be opened is told in plain words.

Its errors are of kinds of its own, and one of them is called as Python's SystemError.
"""

import pytest

rtmidi = pytest.importorskip("rtmidi")

from playalong.midi_io.backend import PortError  # noqa: E402
from playalong.midi_io.rtmidi_port import RtMidiBackend  # noqa: E402

KINDS = (
    rtmidi.RtMidiError,
    rtmidi._rtmidi.SystemError,
    rtmidi._rtmidi.InvalidPortError,
    SystemError,
)


class Client:
    """A client whose port is held by another program."""

    is_deleted = False

    def __init__(self, error: type[Exception]) -> None:
        self._error = error

    def get_ports(self) -> list[str]:
        return ["Pad Box"]

    def open_port(self, *_: object, **__: object) -> None:
        raise self._error("error creating port")

    def delete(self) -> None:
        pass


@pytest.mark.parametrize("error", KINDS)
def test_a_port_that_does_not_open_is_told(error, monkeypatch):
    monkeypatch.setattr("playalong.midi_io.rtmidi_port._working_api", lambda: 0)
    monkeypatch.setattr(RtMidiBackend, "_made", lambda _self, _api: Client(error))
    ports = RtMidiBackend()
    (name,) = ports.names()
    with pytest.raises(PortError, match=f'"{name}" does not open: another program may hold it'):
        ports.open(name)
