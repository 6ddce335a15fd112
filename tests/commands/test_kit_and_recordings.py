"""The commands of a kit and of recordings, as typed; the tests' home is a folder of its own."""

import gc
import json
from pathlib import Path

import mido
import numpy as np
import pytest
from scipy.io import wavfile

from playalong.app.user_folders import UserFolders
from playalong.commands.main import main
from playalong.profile.profile import Profile
from playalong.records.profiles import read_file


@pytest.fixture
def headless(monkeypatch):
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)


def test_a_simulated_kit_is_learned_and_kept(tmp_path, capsys, headless):
    command = ["kit", "triggers", "--player", "professional", "--fast", "--out", str(tmp_path)]
    assert main(command) == 0
    (path,) = tmp_path.glob("*.toml")
    profile = read_file(path)
    home = UserFolders(config=tmp_path, data=tmp_path, simulated=True)
    assert home.profile(profile.kit, profile.player) == profile
    assert home.notices == []
    assert profile.pads.guards
    out = capsys.readouterr().out
    for voice, guard in profile.pads.guards.items():
        assert voice.split("-")[0] in out
        assert 0.0 <= guard.mask_ms <= 60.0


def test_a_profile_serves_to_grade(tmp_path, capsys, headless):
    """The latency of a profile is taken off a take that says nothing of one."""
    assert main(["demo", "--fast", "--out", str(tmp_path)]) == 0
    (take,) = tmp_path.glob("*.mid")
    profile = tmp_path / "mine.toml"
    profile.write_text(
        'kit = "k"\nplayer = "p"\n[latency]\nms = 10.0\nhow = "typed in"\n', encoding="utf-8"
    )
    means = []
    for more in ([], ["--profile", str(profile)], ["--latency-ms", "10"]):
        capsys.readouterr()
        assert main(["grade", "late-bus-home", str(take), "--json", *more]) == 0
        told = json.loads(capsys.readouterr().out)
        means.append((told["timing"]["mean_ms"], told["latency_ms"]))
    assert means[1] == means[2]
    assert means[1][1] == 10.0
    assert means[0][0] - means[1][0] == pytest.approx(10.0, abs=0.01)


def test_a_profile_is_saved_edited_and_taken_again(tmp_path, capsys, headless, monkeypatch):
    for variable in ("XDG_CONFIG_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(variable, str(tmp_path / variable))
    home, mine = UserFolders.of_user(), tmp_path / "mine.toml"
    assert main(["kit", "--save", str(mine)]) == 2
    assert "There is no profile" in capsys.readouterr().err
    home.remember(player="Ines", kit="Practice Kit")
    home.keep(Profile(kit="Practice Kit", player="Ines", port="Drum Port"))
    assert main(["kit", "--save", str(mine)]) == 0
    assert main(["kit", "--save", str(mine)]) == 2, "it is there already"
    edited = "# mesh heads\n" + mine.read_text().replace("open = 0", "open = 10 # worn")
    mine.write_text(edited)
    assert main(["kit", "--profile", str(mine)]) == 0
    assert "pedal: 10 when let go" in capsys.readouterr().out
    assert home.profile_text("Practice Kit", "Ines") == edited
    mine.write_text(edited.replace("open = 10", "open = ten"))
    assert main(["kit", "--profile", str(mine)]) == 2
    assert "mine.toml, line " in capsys.readouterr().err
    assert home.profile_text("Practice Kit", "Ines") == edited


def test_a_broken_profile_is_told_with_its_line(tmp_path, capsys):
    profile = tmp_path / "mine.toml"
    profile.write_text('kit = "k"\nplayer = "p"\n[guards.snare]\nmask_ms = "long"\n')
    (tmp_path / "t.mid").write_bytes(b"")
    command = ["grade", "late-bus-home", str(tmp_path / "t.mid"), "--profile", str(profile)]
    assert main(command) == 2
    err = capsys.readouterr().err
    assert "mine.toml" in err
    assert "4" in err


@pytest.fixture
def groove(tmp_path) -> Path:
    """A recording of the program's own: 84 beats a minute after one bar of count-in."""
    path = tmp_path / "groove.wav"
    assert main(["hear", "late-bus-home", "--bars", "4", "--out", str(path)]) == 0
    return path


def test_beats_are_typed_in_kept_and_played_along_with(tmp_path, groove, capsys):
    out = tmp_path / "clicked.wav"
    bar_s = 4 * 60 / 84
    command = ["beats", str(groove), "--tempo", "84", "--first-beat", str(bar_s)]
    assert main([*command, "--out", str(out)]) == 0
    assert "84.0 bpm in bar 1" in capsys.readouterr().out
    rate, frames = wavfile.read(out)
    assert rate == 48_000
    assert np.abs(frames).max() > 0
    slow = tmp_path / "slow.wav"
    command = ["hear", "late-bus-home", "--with", str(groove), "--loop", "1-2", "--speed", "70"]
    assert main([*command, "--out", str(slow)]) == 0
    _, played = wavfile.read(slow)
    # A count-in and two bars at seven tenths of the tempo, and what rings on.
    assert 3 * bar_s / 0.7 < len(played) / rate < 3 * bar_s / 0.7 + 4.0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["beats", "{}", "--tempo", "80"], "no recording"),
        (["beats", "{}.mp3", "--tempo", "80"], "There is no file"),
        (["hear", "late-bus-home", "--with", "{}"], "no recording"),
        (["hear", "late-bus-home", "--with", "{}.mp3"], "There is no file"),
        (["hear", "late-bus-home", "--chunk", "nowhere"], "has no chunk"),
        (["hear", "late-bus-home", "--gap", "0+1", "--out", "x.wav"], "--gap"),
    ],
)
def test_what_cannot_be_is_told_plainly(tmp_path, capsys, arguments, words):
    path = tmp_path / "words"
    path.write_text("these are no sounds at all, but words " * 50)
    assert main([one.format(path) for one in arguments]) == 2
    assert words in capsys.readouterr().err


def test_beats_that_nobody_has_told_are_asked_for(tmp_path, capsys):
    path, out = tmp_path / "untold.wav", tmp_path / "out.wav"
    wavfile.write(path, 48_000, np.full(48_001, 7, np.int16))
    assert main(["hear", "late-bus-home", "--with", str(path), "--out", str(out)]) == 2
    assert "not known yet: tell them with playalong beats" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["evening.m4a", "evening.aac", "evening.opus", "evening.M4A"])
@pytest.mark.parametrize(
    "command",
    [["hear", "late-bus-home", "--with"], ["beats", "--find"], ["beats", "--tempo", "80"]],
)
def test_a_recording_of_another_kind_is_told_how_to_convert_it(tmp_path, capsys, command, name):
    """Wherever it is named first, before its beats or a library are asked for."""
    path = tmp_path / name
    path.write_bytes(b"\x00\x00\x00\x20ftypM4A \x00\x00\x00\x00" + bytes(500))
    assert main([*command, str(path)]) == 2
    told = capsys.readouterr().err
    assert f'convert it first: ffmpeg -i "{name}" "evening.flac"' in told
    assert told.count("\n") == 1


@pytest.mark.parametrize("name", ["evening.m4a", "evening.wav"])
@pytest.mark.parametrize("command", ["hear", "play"])
def test_a_recording_in_the_place_of_a_pattern_is_told(tmp_path, capsys, command, name):
    path = tmp_path / name
    path.write_bytes(b"\x00\x00\x00\x20ftypM4A \x00\x00\x00\x00")
    assert main([command, str(path)]) == 2
    told = capsys.readouterr().err
    assert f"{name} is a recording, not a pattern: name a pattern" in told


def test_the_recording_itself_is_never_written_over(groove, capsys):
    before = groove.read_bytes()
    to = ["--out", str(groove)]
    for command in (
        ["beats", str(groove), "--tempo", "84", "--first-beat", "1", *to],
        ["hear", "late-bus-home", "--with", str(groove), *to],
    ):
        assert main(command) == 2
        assert "never changed: choose another name" in capsys.readouterr().err
    assert groove.read_bytes() == before


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--speed", "nan"], "A speed of nan %"),
        (["--speed", "72.5"], "A speed of 72.5 %"),
        (["--recording-db", "50"], "A recording at 50 dB cannot be: choose -36 to 0."),
        (["--recording-db", "nan"], "choose -36 to 0"),
    ],
)
def test_what_no_recording_can_be_played_at_is_told(groove, capsys, tmp_path, more, words):
    assert main(["beats", str(groove), "--tempo", "84", "--first-beat", "1"]) == 0
    out = tmp_path / "x.wav"
    command = ["hear", "late-bus-home", "--with", str(groove), "--out", str(out), *more]
    assert main(command) == 2
    assert words in capsys.readouterr().err
    assert not out.exists()


def test_a_folder_is_no_file_to_write(capsys, tmp_path, recwarn):
    assert main(["hear", "late-bus-home", "--out", str(tmp_path)]) == 2
    gc.collect()
    assert "cannot be written (Is a directory)" in capsys.readouterr().err
    assert not [str(one.message) for one in recwarn.list]


def test_no_guard_of_a_profile_swallows_a_flam_that_is_asked_for(tmp_path, capsys):
    """The grace stroke of each flam comes 30 ms before its main stroke, and soft."""
    pattern, take, profile = (tmp_path / name for name in ("f.toml", "t.mid", "p.toml"))
    pattern.write_text('title = "F"\nmeter = "4/4"\ntempo = 120\n[[bar]]\nsnare = "f f f f"\n')
    profile.write_text('kit = "k"\nplayer = "p"\n[guards.snare]\nmask_ms = 40\nthreshold = 30\n')
    track = mido.MidiTrack()
    sent = sorted((0.5 * n + d, v) for n in range(1, 9) for d, v in ((-0.03, 25), (0.0, 90)))
    before_s = 0.0
    for at_s, velocity in sent:
        ticks = round((at_s - before_s) * 960)
        track.append(mido.Message("note_on", channel=9, note=38, velocity=velocity, time=ticks))
        before_s += ticks / 960
    mido.MidiFile(ticks_per_beat=480, tracks=[track]).save(take)
    grades = []
    for more in ([], ["--profile", str(profile)]):
        command = ["grade", str(pattern), str(take), "--start", "0.5", "--bars", "2", "--json"]
        assert main([*command, *more]) == 0
        grades.append(json.loads(capsys.readouterr().out))
    assert grades[0]["counts"]["matched"] == 8
    assert grades[0]["counts"] == grades[1]["counts"]
    assert grades[0]["score"] == grades[1]["score"]


@pytest.mark.parametrize("ms", ["nan", "inf", "1e9"])
def test_a_latency_that_cannot_be_is_told(tmp_path, capsys, ms):
    assert main(["demo", "--fast", "--out", str(tmp_path)]) == 0
    (take,) = tmp_path.glob("*.mid")
    assert main(["grade", "late-bus-home", str(take), "--latency-ms", ms]) == 2
    assert "cannot be" in capsys.readouterr().err


def test_neither_a_take_nor_a_pattern_is_written_over(tmp_path, capsys):
    assert main(["demo", "--fast", "--out", str(tmp_path)]) == 0
    (take,) = tmp_path.glob("*.mid")
    pattern = tmp_path / "mine.toml"
    pattern.write_text('title = "F"\nmeter = "4/4"\ntempo = 120\n[[bar]]\nsnare = "x x x x"\n')
    for command in (
        ["hear", "late-bus-home", "--take", str(take), "--out", str(take)],
        ["hear", str(pattern), "--out", str(pattern)],
    ):
        before = Path(command[-1]).read_bytes()
        assert main(command) == 2
        assert "never changed: choose another name" in capsys.readouterr().err
        assert Path(command[-1]).read_bytes() == before


@pytest.mark.parametrize(
    "options",
    [
        ["--take", "t.mid", "--tempo", "60"],
        ["--take", "t.mid", "--bars", "2"],
        ["--take", "t.mid", "--gap", "1+1"],
        ["--take", "t.mid", "--click", "off-beats"],
        ["--take", "t.mid", "--count-in", "2"],
        ["--take", "t.mid", "--chunk", "beat 1"],
        ["--take", "t.mid", "--with", "r.wav"],
        ["--half"],
        ["--which", "yours"],
        ["--speed", "50"],
        ["--loop", "1-2"],
        ["--recording-db", "-12"],
        ["--with", "r.wav", "--tempo", "70"],
    ],
)
def test_an_option_that_would_say_nothing_is_told(options, capsys):
    assert main(["hear", "late-bus-home", *options, "--out", "x.wav"]) == 2
    err = capsys.readouterr().err
    assert any(f"{option} " in err for option in options[::-1] if option.startswith("--"))
    assert "Leave it out." in err


def test_the_beats_to_the_bar_may_be_told_anew(groove, capsys):
    beats = ["beats", str(groove)]
    assert main([*beats, "--tempo", "84", "--first-beat", "1", "--per-bar", "3"]) == 0
    assert "bars of 3" in capsys.readouterr().out
    assert main([*beats, "--per-bar", "2", "--out", str(groove.with_name("c.wav"))]) == 0
    assert "bars of 2" in capsys.readouterr().out
    for wrong in (["--per-bar", "1000"], ["--per-bar", "0"], ["--find"]):
        assert main([*beats, "--tempo", "84", "--first-beat", "1", *wrong]) == 2
        assert capsys.readouterr().err


def test_beats_without_a_whole_bar_are_told(tmp_path, capsys):
    path = tmp_path / "short.wav"
    wavfile.write(path, 48_000, np.full(48_000, 9, np.int16))
    assert main(["beats", str(path), "--tempo", "100", "--first-beat", "0.2"]) == 0
    assert "2 beats in no whole bars of 4" in capsys.readouterr().out
    assert main(["hear", "late-bus-home", "--with", str(path), "--out", "x.wav"]) == 2
    assert "make no whole bar of 4" in capsys.readouterr().err


def test_a_simulated_kit_that_cannot_be_kept_is_told(tmp_path, capsys, headless):
    (tmp_path / "file").write_text("in the way")
    assert main(["kit", "latency", "--fast", "--out", str(tmp_path / "file")]) == 2
    said = capsys.readouterr()
    assert "cannot be opened (" in said.out
    assert ".toml cannot be written (" in said.err


def test_beats_that_cannot_be_found_are_told_before_anything_is_read(groove, capsys, monkeypatch):
    """An hour is read in a minute: nobody waits for it in vain."""
    monkeypatch.setattr("playalong.sound.recordings.beat_finding.find_spec", lambda _: None)
    monkeypatch.setattr("playalong.app.recording.entry.opened", lambda _: pytest.fail("read"))
    assert main(["beats", str(groove), "--find"]) == 2
    assert "needs librosa" in capsys.readouterr().err
