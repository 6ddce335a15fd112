"""Options of sound that cannot be honoured together, or at all, are told before anything plays."""

from pathlib import Path

import pytest

from playalong.app.play import hearing
from playalong.app.run.task import Task
from playalong.commands.main import main
from playalong.pattern.beat_map import BeatMap
from playalong.records import beat_maps
from playalong.sound.rendering import write_wave
from playalong.support.folders import user_data
from tests.sound.making_music import GROOVES, rendered, swaying


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("hear late-bus-home --out groove.mp3", "groove.wav"),
        ("hear late-bus-home --out groove.wav --no-click --gap 2+2", "--gap says nothing"),
        ("hear late-bus-home --out groove.wav --no-click --click eighths", "--click says nothing"),
        ("hear late-bus-home --out groove.wav --click-db 40", "-36 to 6"),
        ("hear late-bus-home --out groove.wav --drums-db loud", "-36 to 6"),
        ("hear late-bus-home --out /no-such-folder/groove.wav", "make it first"),
        ("hear late-bus-home --count-in 3 --out groove.wav", "--count-in"),
        ("play late-bus-home --with groove.wav --faster-after 2", "goes with --loop"),
        ("play late-bus-home --count-passes", "goes with --loop"),
        ("hear late-bus-home --out groove.wav --count spoken", "invalid choice"),
        ("hear late-bus-home --out groove.wav --count-in 0 --count numbers", "nothing is counted"),
        ("hear late-bus-home --out groove.wav --no-click --count numbers", "--count says nothing"),
        ("play late-bus-home --click-to kit --count numbers", "has no voice"),
        ("practice late-bus-home --plan --count numbers", "plays nothing"),
        ("practice late-bus-home --player beginner --fast --count numbers", "with --fast"),
        ("warmup --fast --count numbers", "with --fast"),
        ("warmup --list --count numbers", "plays nothing"),
        ("demo --fast --count numbers", "with --fast"),
        ("beats groove.wav --find --first-beat 2", "leave out --first-beat"),
        ("beats groove.wav --find --out clicked.flac", "clicked.wav"),
    ],
)
def test_what_cannot_be_is_told(typed, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(typed.split()) == 2
    assert said in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def song_of_ten_bars(folder: Path) -> Path:
    """A song whose beats are known."""
    song, beats_s = folder / "song.wav", swaying(40)
    write_wave(song, rendered(beats_s, GROOVES["straight"]).sound)
    beats = BeatMap(times_s=tuple(map(float, beats_s)), first=0, per_bar=4)
    beat_maps.write(user_data() / "beats", song, beats)
    return song


def test_a_loop_is_played_whole(tmp_path, capsys):
    song = song_of_ten_bars(tmp_path)
    loop = ["--with", str(song), "--loop", "3-6", "--out", str(tmp_path / "groove.wav")]
    assert main(["hear", "late-bus-home", *loop, "--bars", "2"]) == 2
    assert "choose 4, 8" in capsys.readouterr().err
    assert main(["hear", "late-bus-home", *loop, "--bars", "8"]) == 0


def test_a_take_of_another_pattern_is_not_heard_as_this_one(tmp_path, capsys):
    assert main(["demo", "--fast", "--bars", "2", "--out", str(tmp_path)]) == 0
    (take,) = tmp_path.glob("*.mid")
    out = tmp_path / "heard.wav"
    assert main(["hear", "late-bus-home", "--take", str(take), "--out", str(out)]) == 0
    capsys.readouterr()
    out.unlink()
    assert main(["hear", "noon-heat", "--take", str(take), "--out", str(out)]) == 2
    assert "late-bus-home" in capsys.readouterr().err
    assert not out.exists()


def test_without_a_count_in_it_begins_at_once(tmp_path):
    assert main(["demo", "--fast", "--bars", "1", "--count-in", "0", "--out", str(tmp_path)]) == 0
    written = tmp_path / "groove.wav"
    lengths = []
    for bars in ("0", "1"):
        typed = ["hear", "late-bus-home", "--bars", "1", "--count-in", bars]
        assert main([*typed, "--force", "--out", str(written)]) == 0
        lengths.append(_seconds(written))
    assert lengths[1] - lengths[0] == pytest.approx(4 * 60.0 / 84.0, abs=0.05)


@pytest.fixture
def heard(monkeypatch) -> list[Task]:
    """What would be heard, were anybody there."""
    tasks: list[Task] = []
    monkeypatch.setattr(hearing, "hear", lambda task, *_, **__: tasks.append(task))
    return tasks


def test_without_a_click_nothing_is_counted_in(heard):
    assert main(["hear", "late-bus-home", "--no-click"]) == 0
    assert [task.count_in for task in heard] == [0]


def test_a_chunk_goes_on_as_long_as_its_recording(tmp_path, heard):
    song = song_of_ten_bars(tmp_path)
    typed = ["hear", "late-bus-home", "--with", str(song), "--chunk", "beat 2"]
    for more in ([], ["--bars", "3"], ["--loop", "3-6"]):
        assert main([*typed, *more]) == 0
    assert [task.bars for task in heard] == [10, 3, 4]


def _seconds(path: Path) -> float:
    import soundfile

    return float(soundfile.info(path).duration)
