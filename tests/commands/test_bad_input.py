"""Bad input: one plain line on standard error, exit code 2, never a traceback."""

import os
from pathlib import Path

import mido
import pytest

from playalong.commands.main import main

PATTERN = "late-bus-home"


def take(path: Path, notes: list[int]) -> Path:
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    for note in notes:
        track.append(mido.Message("note_on", channel=9, note=note, velocity=90, time=240))
    file.tracks.append(track)
    file.save(path)
    return path


def told(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    code = main([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    assert code == 2
    assert err.startswith("playalong: ")
    assert err.count("\n") == 1
    assert "Traceback" not in out + err
    return err


def test_no_such_pattern_names_the_nearest(tmp_path, capsys):
    err = told(capsys, "grade", "late-bus-hom", take(tmp_path / "t.mid", [38]))
    assert "late-bus-home" in err


def test_a_broken_pattern_tells_line_and_column(tmp_path, capsys):
    path = tmp_path / "broken.toml"
    path.write_text('title = "B"\nmeter = "4/4"\ntempo = 90\n[[bar]]\nsnare = "-- xq -- x-"\n')
    err = told(capsys, "grade", path, take(tmp_path / "t.mid", [38]))
    assert "line 5, column 14" in err
    assert '"q" is no symbol' in err


def test_no_midi_file(tmp_path, capsys):
    path = tmp_path / "take.mid"
    path.write_bytes(b"this is a letter to my teacher")
    assert "no Standard MIDI File" in told(capsys, "grade", PATTERN, path)


def test_a_cut_off_file(tmp_path, capsys):
    path = take(tmp_path / "t.mid", [38, 36, 42] * 8)
    path.write_bytes(path.read_bytes()[:-20])
    assert "cut off" in told(capsys, "grade", PATTERN, path)


def test_an_empty_take(tmp_path, capsys):
    assert "empty" in told(capsys, "grade", PATTERN, take(tmp_path / "t.mid", []))


def test_no_note_of_the_pattern(tmp_path, capsys):
    err = told(capsys, "grade", PATTERN, take(tmp_path / "t.mid", [56, 54]))
    assert "hi-hat, snare, kick" in err


def test_no_drum_notes_at_all(tmp_path, capsys):
    assert "no drum notes" in told(capsys, "grade", PATTERN, take(tmp_path / "t.mid", [1, 2]))


@pytest.mark.parametrize("tempo", ["0", "-3", "5", "9000", "nan", "inf"])
def test_tempo_absurd(tmp_path, capsys, tempo):
    path = take(tmp_path / "t.mid", [38])
    assert "20 to 400" in told(capsys, "grade", PATTERN, path, f"--tempo={tempo}")


@pytest.mark.parametrize(
    ("option", "fragment"),
    [
        ("--bars=0", "choose 1 to"),
        ("--bars=-1", "choose 1 to"),
        ("--capture-ms=0", "capture window"),
        ("--tolerance-ms=-1", "tolerance"),
        ("--tolerance-ms=500", "tolerance"),
        ("--variation=nowhere", "no variation"),
        ("--variation=two\nlines", "no variation"),
    ],
)
def test_other_options(tmp_path, capsys, option, fragment):
    path = take(tmp_path / "t.mid", [38])
    assert fragment in told(capsys, "grade", PATTERN, path, option)


@pytest.mark.parametrize("name", ["nowhere.mid", "."])
def test_no_such_take(tmp_path, capsys, name):
    told(capsys, "grade", PATTERN, tmp_path / name)


def test_check_tells_every_broken_file(tmp_path, capsys):
    good = tmp_path / "good.toml"
    good.write_text('title = "G"\nmeter = "3/4"\ntempo = 90\n[[bar]]\nkick = "x - -"\n')
    bad = tmp_path / "bad.toml"
    bad.write_text('title = "B"\nmeter = "4/4"\n[[bar]]\nkick = "x - -"\nkicks = "x - - -"\n')
    assert main(["check", str(good), str(bad)]) == 2
    out, err = capsys.readouterr()
    assert '"G" is right: 1 bar of 3/4' in out
    assert 'bad.toml, line 1, column 1: "tempo" is missing' in err
    assert "bad.toml, line 4, column 14: 4/4 has 4 beats, but this line has 3 groups" in err
    assert 'bad.toml, line 5, column 1: "kicks" is not known here; did you mean "kick"' in err


def test_what_comes_next_must_be_a_pattern(tmp_path, capsys):
    path = tmp_path / "first.toml"
    path.write_text(
        'title = "G"\nmeter = "3/4"\ntempo = 90\n[[bar]]\nkick = "x - -"\n[practice]\nstart = 60\n'
        'goal = 90\nnext = ["late-bus-home", "late-bus-hom"]\n'
    )
    assert main(["check", str(path)]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert '"next": there is no pattern "late-bus-hom"; did you mean "late-bus-home"' in line


def test_check_rewrites_a_file_of_the_old_kind_and_keeps_it_as_it_was(tmp_path, capsys):
    old = 'title = "G"\nmeter = "3/4"\ntempo = 90\n[[bar]]\nsnare = "x (g)- -(x)"\n'
    new = 'title = "G"\nmeter = "3/4"\ntempo = 90\n[[bar]]\nsnare = "(x) x -(x)"\n'
    paths = [tmp_path / "old.toml", tmp_path / "new.toml"]
    for path, text in zip(paths, (old, new), strict=True):
        path.write_text(text)
    assert main(["check", str(paths[0])]) == 2
    assert "old.toml, line 5, column 12: brackets mean a ghost note" in capsys.readouterr().err
    assert main(["check", "--mend", *map(str, paths)]) == 0
    told = capsys.readouterr().out
    assert "old.toml: line 5 mended" in told
    assert "new.toml: nothing is mended" in told
    assert 'snare = "x g?-  -x?"' in paths[0].read_text()
    assert paths[1].read_text() == new
    assert (tmp_path / "old.toml.before").read_text() == old
    assert main(["check", *map(str, paths)]) == 0


def test_an_unknown_player(capsys):
    assert "professional" in told(capsys, "demo", "--player", "nobody", "--fast")


def test_no_midi_port(capsys, monkeypatch):
    class Nothing:
        def names(self):
            return []

        def open(self, name):
            raise AssertionError(f"there is no {name} to open")

        def close(self):
            pass

    monkeypatch.setattr("playalong.midi_io.ports.backend", Nothing)
    assert "no MIDI port" in told(capsys, "play", PATTERN)
    assert "no MIDI port" in told(capsys, "ports")


def test_a_window_that_cannot_be_opened(capsys, monkeypatch):
    monkeypatch.setenv("DISPLAY", ":987")
    monkeypatch.setenv("SDL_VIDEODRIVER", "x11")
    assert "window cannot be opened" in told(capsys, "demo", "--bars", "1")


def far_apart(path: Path, quarters: int) -> Path:
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    for time in (0, 480 * quarters):
        track.append(mido.Message("note_on", channel=9, note=38, velocity=90, time=time))
    file.tracks.append(track)
    file.save(path)
    return path


@pytest.mark.parametrize("more", [[], ["--tempo", "auto"], ["--start", "auto"], ["--csv"]])
def test_a_take_of_many_bars_is_too_long(tmp_path, capsys, more):
    """Held against all of them, grading would take minutes and gigabytes."""
    path = far_apart(tmp_path / "t.mid", 300_000)
    assert "--bars" in told(capsys, "grade", PATTERN, path, *more)


def test_a_take_of_many_strokes_is_too_long(tmp_path, capsys):
    path = take(tmp_path / "t.mid", [38] * 25_001)
    assert "25001 strokes" in told(capsys, "grade", PATTERN, path, "--bars", "4")


@pytest.mark.parametrize("command", ["hear", "demo"])
def test_a_run_of_many_bars_is_too_long(tmp_path, capsys, command):
    arguments = {"hear": ["--out", tmp_path / "a.wav"], "demo": ["--fast", "--out", tmp_path / "a"]}
    err = told(capsys, command, PATTERN, "--bars", "90000", *arguments[command])
    assert "25000" in err
    assert list(tmp_path.iterdir()) == []


def test_sound_of_many_hours_is_too_long(tmp_path, capsys):
    pattern = tmp_path / "slow.toml"
    pattern.write_text('title = "S"\nmeter = "4/4"\ntempo = 20\n[[bar]]\nkick = "x - - -"\n')
    out = tmp_path / "a.wav"
    assert "hours" in told(capsys, "hear", pattern, "--bars", "5000", "--out", out)
    assert not out.exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no such pipes")
@pytest.mark.parametrize(
    "typed",
    [
        ["check", "PIPE.toml"],
        ["grade", "PIPE.toml", "t.mid"],
        ["grade", PATTERN, "PIPE.mid"],
        ["grade", PATTERN, "t.mid", "--profile", "PIPE.toml"],
        ["grade", PATTERN, "t.mid", "--strokes", "PIPE.toml"],
        ["hear", PATTERN, "--take", "PIPE.mid", "--out", "a.wav"],
        ["demo", "PIPE.toml", "--fast", "--out", "a"],
        ["beats", "PIPE.wav", "--tempo", "100"],
        ["hear", PATTERN, "--with", "PIPE.wav", "--out", "a.wav"],
    ],
)
def test_a_pipe_is_no_file(tmp_path, capsys, monkeypatch, typed):
    monkeypatch.chdir(tmp_path)
    take(tmp_path / "t.mid", [38])
    for kind in ("toml", "mid", "wav"):
        os.mkfifo(f"PIPE.{kind}")
    assert "device" in told(capsys, *typed)


@pytest.mark.parametrize(
    "more",
    [
        "[[bar]]\nkick = 'x - - -'\n" * 151,
        "".join(f"[variation.v{number}]\nkick = '- - x -'\n" for number in range(1_001)),
    ],
)
def test_a_lesson_that_would_never_end(tmp_path, capsys, more):
    path = tmp_path / "large.toml"
    path.write_text(f'title = "L"\nmeter = "4/4"\ntempo = 100\n[[bar]]\nkick = "x - - -"\n{more}')
    arguments = ["--player", "beginner", "--fast", "--out", tmp_path / "out"]
    assert "too large to be practised" in told(capsys, "practice", path, *arguments)
