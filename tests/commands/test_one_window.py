"""Every command with a page opens it in the one window, also where no kit is plugged in."""

from typing import NoReturn

import pytest

from playalong.app.home import entry
from playalong.commands import first_page, main
from playalong.midi_io import ports
from playalong.support.errors import UserError

ROOMS = {
    "play late-bus-home": "play",
    "practice late-bus-home": "practise",
    "warmup": "warm_up",
    "assess first-lessons": "take",
    "kit": "set_up_kit",
    "kit latency": "set_up_kit at latency",
    "hear late-bus-home": "hear",
    "beats evening.wav": "tell_beats",
}


class _Session:
    """The first page's session; which of its rooms is entered is told as an error."""

    def __getattr__(self, name: str) -> object:
        def enter(*given: object, **_: object) -> NoReturn:
            raise UserError(" at ".join([f"entered {name}", *(g for g in given if type(g) is str)]))

        return enter


@pytest.mark.parametrize(("typed", "room"), ROOMS.items())
def test_every_command_with_a_page_opens_it_in_the_one_window(
    monkeypatch, capsys, tmp_path, typed, room
) -> None:
    """What goes wrong in the room is told on the first page, and once the window is closed."""
    opened = []

    def open_window(look, home, folder=None, *, room, kit=None, on_saved=None) -> None:
        opened.append(kit)
        with pytest.raises(UserError):
            room(_Session())

    for name in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))
    monkeypatch.setattr(entry, "open_window", open_window)
    monkeypatch.setattr(ports, "port_names", list)
    for module in (first_page, *main.COMMANDS.values()):
        if hasattr(module, "has_person"):
            monkeypatch.setattr(module, "has_person", lambda: True)
    code = main.main(typed.split())
    assert opened == [None]
    assert (code, capsys.readouterr().err) == (2, f"playalong: entered {room}\n")
