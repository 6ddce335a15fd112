"""What a command writes never takes the place of a file that is there, unless that is asked for."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from playalong.commands.main import main
from playalong.sound.rendering import write_wave
from tests.commands.making import code_and_errors
from tests.sound.making_music import RATE

PATTERN = """\
title = "T"
meter = "2/4"
tempo = 240
[[bar]]
snare = "x x"
"""


@pytest.fixture
def pattern(tmp_path: Path) -> Path:
    path = tmp_path / "t.toml"
    path.write_text(PATTERN)
    return path


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    import numpy as np

    path = tmp_path / "evening.wav"
    write_wave(path, np.zeros((2 * RATE, 2), np.float32))
    return path


def test_a_file_that_is_there_stays_unless_it_is_asked_for(pattern, tmp_path, capsys):
    out = tmp_path / "t.wav"
    out.write_bytes(b"somebody's")
    hear = ["hear", pattern, "--bars", "1", "--out", out]
    code, err = code_and_errors(capsys, *hear)
    assert code == 2
    assert err.count("\n") == 1
    assert "--force" in err
    assert out.read_bytes() == b"somebody's"
    assert code_and_errors(capsys, *hear, "--force") == (0, "")
    assert out.read_bytes()[:4] == b"RIFF"


def test_so_it_is_with_a_recording(recording, tmp_path, capsys):
    out = tmp_path / "clicked.wav"
    out.write_bytes(b"somebody's")
    beats = ["beats", recording, "--tempo", "120", "--out", out]
    code, err = code_and_errors(capsys, *beats)
    assert (code, err.count("\n")) == (2, 1)
    assert out.read_bytes() == b"somebody's"
    assert code_and_errors(capsys, *beats, "--force")[0] == 0
    assert out.read_bytes()[:4] == b"RIFF"


def test_the_recording_itself_is_written_over_by_no_force(recording, capsys):
    before = recording.read_bytes()
    beats = ["beats", recording, "--tempo", "120", "--out", recording, "--force"]
    code, err = code_and_errors(capsys, *beats)
    assert code == 2
    assert "never changed" in err
    assert recording.read_bytes() == before


def test_force_alone_says_nothing(pattern, capsys):
    code, err = code_and_errors(capsys, "hear", pattern, "--force")
    assert code == 2
    assert "goes with --out" in err


def test_what_a_demonstration_leaves_takes_the_place_of_nothing(pattern, tmp_path, capsys):
    """Its grade and pictures lie beside the take, whatever lay there before."""
    out = tmp_path / "out"
    assert code_and_errors(capsys, "demo", pattern, "--fast", "--out", out) == (0, "")
    (take,) = out.glob("*.mid")
    take.unlink()
    others = {path: path.read_bytes() for path in out.iterdir() if path.is_file()}
    assert code_and_errors(capsys, "demo", pattern, "--fast", "--out", out) == (0, "")
    kept = {path: data for path, data in others.items() if path.suffix in (".json", ".png")}
    assert kept
    assert all(path.read_bytes() == data for path, data in kept.items())


LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
from playalong.commands.main import main
sys.exit(main(sys.argv[2:]))
"""


def limited(most: int, *arguments: str | Path) -> "subprocess.CompletedProcess[str]":
    """A command that may write no file of more bytes, as on a disk that is nearly full."""
    # -B: a module that was compiled halfway would be there for the next.
    command = [sys.executable, "-B", "-c", LIMITED, str(most), *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


@pytest.mark.skipif(os.name == "nt", reason="the limit is one of POSIX")
def test_a_full_disk_leaves_no_empty_file(pattern, tmp_path):
    out = tmp_path / "t.wav"
    ended = limited(10_000, "hear", pattern, "--bars", "1", "--out", out)
    assert ended.returncode == 2
    assert ended.stderr.count("\n") == 1
    assert "cannot be written" in ended.stderr
    assert not out.exists()
    assert [path.name for path in tmp_path.glob("*.part")] == []


@pytest.mark.skipif(os.name == "nt", reason="the limit is one of POSIX")
def test_on_a_nearly_full_disk_a_take_is_kept_and_what_is_not_is_told(pattern, tmp_path):
    out = tmp_path / "out"
    ended = limited(4_000, "demo", pattern, "--fast", "--bars", "1", "--out", out)
    assert ended.returncode == 2
    assert "Traceback" not in ended.stderr
    (take,) = out.glob("*.mid")
    assert str(take) in ended.stdout
    assert "grade.png cannot be written" in ended.stderr
    assert list(out.glob("*.png")) == []
    assert list(out.glob(".*")) == []
    assert main(["grade", str(pattern), str(take)]) == 0


def test_a_pattern_with_a_long_name_keeps_its_take(tmp_path, capsys):
    path = tmp_path / f"{'g' * 235}.toml"
    path.write_text(PATTERN)
    out = tmp_path / "out"
    assert code_and_errors(capsys, "demo", path, "--fast", "--out", out) == (0, "")
    (take,) = out.glob("*.mid")
    assert len(list(out.glob("*.png"))) == 2
    assert main(["grade", str(path), str(take)]) == 0
