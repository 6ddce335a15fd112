"""Names of files that are no UTF-8, wherever a file comes in or goes out."""

import os
from pathlib import Path

import numpy as np
import pytest

from playalong.sound.rendering import write_wave
from playalong.sound.timeline import RATE
from tests.commands.making import code_and_errors

PATTERN = 'title = "T"\nmeter = "2/4"\ntempo = 240\n[[bar]]\nsnare = "x x"\n'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with such a name, where the user's own things are too."""
    found = tmp_path / os.fsdecode(b"m\xffusic")
    try:
        found.mkdir()
    except OSError:
        pytest.skip("this file system takes no such names")
    for variable in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(variable, str(found / variable))
    return found


def name(plain: str) -> str:
    return os.fsdecode(plain.encode() + b"\xfe")


def test_patterns_and_takes(folder, capsys):
    pattern = folder / f"{name('groove')}.toml"
    pattern.write_text(PATTERN)
    assert code_and_errors(capsys, "check", pattern) == (0, "")
    out = folder / name("out")
    assert code_and_errors(capsys, "demo", pattern, "--fast", "--out", out) == (0, "")
    assert code_and_errors(capsys, "demo", pattern, "--fast") == (0, "")
    (take,) = out.glob("*.mid")
    assert code_and_errors(capsys, "grade", pattern, take, "--csv") == (0, "")
    assert code_and_errors(capsys, "grade", pattern, out) == (0, "")
    wave = folder / f"{name('heard')}.wav"
    heard = ["hear", pattern, "--take", take, "--out", wave]
    assert code_and_errors(capsys, *heard) == (0, "")
    assert wave.stat().st_size > 1000
    assert code_and_errors(capsys, "history", "--simulated") == (0, "")


def test_what_is_kept_under_such_a_name_is_erased(folder, capsys):
    pattern = folder / f"{name('groove')}.toml"
    pattern.write_text(PATTERN)
    assert code_and_errors(capsys, "demo", pattern, "--fast") == (0, "")
    assert list(folder.rglob("*.mid"))
    erase = ["history", "--simulated", "--who", "intermediate", "--erase", "--yes"]
    assert code_and_errors(capsys, *erase) == (0, "")
    assert list(folder.rglob("*.mid")) == []


def test_a_recording(folder, capsys):
    for called in (f"{name('evening')}.wav", "~evening.wav"):
        recording = folder / called
        write_wave(recording, np.zeros((2 * RATE, 2), np.float32))
        assert code_and_errors(capsys, "beats", recording, "--tempo", "120") == (0, "")


@pytest.mark.parametrize(
    "arguments",
    [
        ["check", "nowhere\udcff.toml"],
        ["grade", "late-bus-home", "nowhere\udcff.mid"],
        ["grade", "nobody\udcff", "nowhere.mid"],
        ["hear", "late-bus-home", "--take", "nowhere\udcff.mid"],
        ["hear", "late-bus-home", "--variation", "none\udcff"],
        ["beats", "nowhere\udcff.wav", "--tempo", "100"],
        ["history", "--who", "nobody\udcff"],
    ],
)
def test_what_is_not_there_is_told(folder, capsys, monkeypatch, arguments):
    monkeypatch.chdir(folder)
    code, err = code_and_errors(capsys, *arguments)
    assert code == 2
    assert err.count("\n") == 1
    assert "mistake" not in err
