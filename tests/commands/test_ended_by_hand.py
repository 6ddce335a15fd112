"""Ctrl+C, or any signal that ends the program: what is kept is kept, and it is said."""

import time
from pathlib import Path

import pytest

from playalong.app import kit_port
from playalong.app.memory import Memory
from playalong.app.run.clock import SteppedClock
from playalong.commands.main import INTERRUPTED, OUR_MISTAKE, main
from playalong.midi.port import Arrival
from playalong.records import profiles
from playalong.records.store.database import Database
from playalong.screen.base.overlay import Struck
from playalong.screen.base.window import Window
from playalong.screen.pages.run import RunPage


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    return tmp_path / "XDG_DATA_HOME" / "playalong"


def end_after(monkeypatch: pytest.MonkeyPatch, frames: int, page: type = object) -> None:
    """Ctrl+C after so many frames of a kind of page."""
    shown = 0

    def frame(_window: Window, what: object, _now_s: float) -> None:
        nonlocal shown
        shown += isinstance(what.page if isinstance(what, Struck) else what, page)
        if shown == frames:
            raise KeyboardInterrupt

    monkeypatch.setattr(Window, "frame", frame)


class Snare:
    """A kit whose snare is struck as often as somebody listens; see ``midi.port.Port``."""

    name = "made-up kit"

    def poll(self) -> list[Arrival]:
        now_s = time.perf_counter()
        return [Arrival(stamp_s=now_s, arrival_s=now_s, data=b"\x99\x26\x50")]

    def is_there(self) -> bool:
        return True

    def reopen(self) -> bool:
        return True

    def close(self) -> None:
        pass


def stored(data: Path, sql: str, *, simulated: bool) -> list[tuple]:
    database = Database.open(Memory(folder=data, simulated=simulated).path)
    found = database.rows(sql)
    database.close()
    return found


def test_of_a_run_on_the_kit(data, monkeypatch, capsys):
    monkeypatch.setattr(kit_port, "open_port", lambda part, last="": Snare())
    monkeypatch.setattr("playalong.app.play.entry.RealClock", SteppedClock)
    end_after(monkeypatch, 100, RunPage)
    assert main(["play", "late-bus-home", "--who", "Ines"]) == 0
    said = capsys.readouterr().out
    assert "The run was broken off: what was played until then is kept and graded." in said
    (take,) = (data / "takes").glob("*.mid")
    assert f"The take is saved: {take}" in said
    assert stored(data, "SELECT state, file FROM run", simulated=False) == [("kept", str(take))]


def test_of_a_demo(data, monkeypatch, capsys):
    end_after(monkeypatch, 20, RunPage)
    assert main(["demo", "--fast"]) == 0
    said = capsys.readouterr().out
    assert "The run was broken off: what was played until then is kept and graded." in said
    assert stored(data, "SELECT state FROM run", simulated=True) == [("kept",)]


@pytest.mark.parametrize("is_in_run", [True, False])
def test_of_a_lesson(data, monkeypatch, capsys, is_in_run):
    """In the middle of a run, and while nothing is played."""
    if is_in_run:
        end_after(monkeypatch, 240, RunPage)
    else:
        end_after(monkeypatch, 3)
    assert main(["practice", "late-bus-home", "--player", "intermediate", "--fast"]) == 0
    said = capsys.readouterr().out
    if is_in_run:
        takes = sorted((data / "takes").rglob("*.mid"))
        assert f"The run was broken off: what was played is kept: {takes[-1]}" in said
        assert stored(data, "SELECT count(*) FROM lesson", simulated=True) == [(1,)]
    else:
        assert "The lesson was broken off between two runs: what was learned is kept." in said
    assert "steps are learned" in said


@pytest.mark.parametrize("error", [KeyboardInterrupt, ZeroDivisionError])
def test_after_the_run_before_it_is_kept(data, monkeypatch, capsys, error):
    """While it is graded, by hand or by a mistake of the program: the next start offers it."""

    def grade(*_: object) -> None:
        raise error

    monkeypatch.setattr("playalong.app.play.entry.save_run", grade)
    assert main(["demo", "--fast", "--bars", "1"]) in (INTERRUPTED, OUR_MISTAKE)
    assert "What was played is kept: the next start offers it." in capsys.readouterr().err
    monkeypatch.setattr(time, "time", lambda: 4e9)
    (found,) = Memory(folder=data, simulated=True).broken_off()
    assert len(found.messages) > 10


def test_of_the_pages_of_a_kit(data, monkeypatch, capsys):
    end_after(monkeypatch, 1500)
    assert main(["kit", "--player", "intermediate", "--fast"]) == INTERRUPTED
    assert "what was learned by then is kept, pad by pad" in capsys.readouterr().out
    ((text,),) = stored(data, "SELECT text FROM profile", simulated=True)
    assert "snare" in profiles.from_text(text, "a profile").has
