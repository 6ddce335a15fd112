"""`playalong hear`: a pattern as sound."""

import wave
from pathlib import Path

import miniaudio
import numpy as np

from playalong.commands.main import main
from playalong.sound.timeline import RATE

PATTERN = """
title = "T"
meter = "4/4"
tempo = 120
[[bar]]
snare = "- g - X"
[variation.more]
kick = "x - - -"
"""


def heard(path: Path) -> np.ndarray:
    """The samples, decoded by miniaudio (its dr_wav decoder), mono."""
    decoded = miniaudio.decode_file(str(path), nchannels=1, sample_rate=RATE)
    return np.array(decoded.samples, np.float64) / 32768


def loudest(sound: np.ndarray, from_s: float, to_s: float) -> float:
    return float(np.abs(sound[round(from_s * RATE) : round(to_s * RATE)]).max())


def test_strokes_stand_where_they_are_written_and_ghosts_are_soft(tmp_path, capsys):
    path, out = tmp_path / "t.toml", tmp_path / "sound" / "t.wav"
    path.write_text(PATTERN)
    arguments = ["hear", str(path), "--bars", "1", "--no-click", "--force", "--out", str(out)]
    assert main(arguments) == 0
    assert str(out) in capsys.readouterr().out
    with wave.open(str(out)) as file:
        assert (file.getframerate(), file.getnchannels()) == (RATE, 2)
    sound = heard(out)
    # The file begins with its first sound: the ghost note on 2; the accent follows a second later.
    ghost, accent = loudest(sound, 0.0, 0.3), loudest(sound, 1.0, 1.3)
    assert 0.001 < ghost < accent / 4
    assert loudest(sound, 0.9, 0.999) < ghost / 4
    assert main([*arguments, "--tempo", "60"]) == 0
    slower = heard(out)
    assert loudest(slower, 2.0, 2.3) > 4 * loudest(slower, 1.0, 1.9)


def test_a_variation_and_the_click_are_heard(tmp_path, capsys):
    path, out = tmp_path / "t.toml", tmp_path / "t.wav"
    path.write_text(PATTERN)
    lengths = {}
    for name, more in (
        ("plain", ["--no-click"]),
        ("more", ["--no-click", "--variation", "more"]),
        ("click", []),
    ):
        assert main(["hear", str(path), "--bars", "1", "--force", "--out", str(out), *more]) == 0
        lengths[name] = round(len(heard(out)) / RATE, 2)
    # From 2 to 4 is a second, from 1 to 4 one and a half; the count-in adds two.
    assert lengths["more"] == lengths["plain"] + 0.5
    assert lengths["click"] == lengths["more"] + 2.0


def test_a_file_that_cannot_be_written(tmp_path, capsys):
    path = tmp_path / "t.toml"
    path.write_text(PATTERN)
    assert main(["hear", str(path), "--out", str(path / "t.wav")]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "cannot be written" in err


def test_the_count_is_spoken_where_that_is_asked_for(tmp_path):
    """By the energy of what lies before bar 1: of sticks it is short, of words long."""
    path, out = tmp_path / "t.toml", tmp_path / "t.wav"
    path.write_text(PATTERN.replace("- g - X", "-x gx -x Xx"))
    shares = {}
    for count in ("sticks", "numbers", "subdivision", "throughout"):
        typed = ["hear", str(path), "--bars", "1", "--tempo", "60", "--count", count]
        assert main([*typed, "--force", "--out", str(out)]) == 0
        sound = np.abs(heard(out)[: 4 * RATE])
        shares[count] = float((sound > 0.01).mean())
    assert shares["sticks"] < 0.6 * shares["numbers"] < 0.6 * shares["subdivision"]
    assert shares["throughout"] == shares["subdivision"]
