"""playalong capture, as it is typed."""

from pathlib import Path

import mido
import pytest

from playalong.commands.main import main
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.records.pattern_files import load_pattern
from playalong.simulation.player import perform
from playalong.simulation.skills import SKILLS
from tests.helpers.captured import unlike


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def played(name: str, path: Path, *, bars: int = 4, start_s: float = 0.7) -> None:
    """A Standard MIDI File in which the professional plays a pattern."""
    pattern = load_pattern(name)
    targets = lay_out(pattern, pattern.tempo, bars, start_s=start_s)
    file = mido.MidiFile(ticks_per_beat=960)
    track = mido.MidiTrack()
    file.tracks.append(track)
    before = 0
    for at_s, data in perform(targets, SKILLS["professional"], 5).messages:
        tick = round(at_s * 960 / 0.5)  # 120 bpm, the standard's, whatever was played
        track.append(mido.Message.from_bytes(list(data), time=tick - before))
        before = tick
    file.save(path)


def test_a_file_becomes_a_pattern(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    played("bucket-chain", here / "groove.mid")

    assert main(["capture", "groove.mid", "--title", "Two Buckets"]) == 0

    told = capsys.readouterr().out
    assert told.startswith('"Two Buckets", 1 bar of 4/4 at 8')
    assert "--reading 2" in told
    found = read((here / "groove.toml").read_text(encoding="utf-8"), "groove")
    assert unlike(load_pattern("bucket-chain"), found) == set()


def test_another_reading_is_taken(here: Path) -> None:
    played("bucket-chain", here / "groove.mid", bars=8)
    main(["capture", "groove.mid"])
    first = read((here / "groove.toml").read_text(encoding="utf-8"), "groove")

    assert main(["capture", "groove.mid", "--reading", "2", "--out", "other.toml"]) == 0

    other = read((here / "other.toml").read_text(encoding="utf-8"), "other")
    assert (other.tempo, other.meter) != (first.tempo, first.meter) or other.bars != first.bars


def test_somebody_simulated_is_heard(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = ["capture", "--simulate", "boots-by-the-door", "--player", "professional"]

    assert main([*asked, "--meter", "4/4"]) == 0

    assert "boots-by-the-door-heard.toml" in capsys.readouterr().out
    text = (here / "boots-by-the-door-heard.toml").read_text(encoding="utf-8")
    assert unlike(load_pattern("boots-by-the-door"), read(text, "heard")) == set()


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ([], "There is no window here"),
        (["--reading", "2"], "before it is played"),
        (["groove.mid", "--port", "Drum"], "played in the window"),
        (["no.mid"], "There is no file no.mid"),
        (["groove.mid", "--meter", "4"], '"4" is no meter'),
        (["groove.mid", "--bars", "0"], "choose 1 to 8"),
        (["groove.mid", "--tempo", "3"], "A tempo of 3"),
        (["groove.mid", "--reading", "70"], "There is no reading 70"),
        (["groove.mid", "--out", "groove.mid"], "call it groove.toml"),
        (["groove.mid", "--bars", "8"], "for 8 bars at least"),
        (["groove.mid", "--simulate", "boots-by-the-door"], "leave out one of them"),
        (["groove.mid", "--seed", "3"], "goes with --simulate"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    here: Path, capsys: pytest.CaptureFixture[str], typed: list[str], words: str
) -> None:
    played("bucket-chain", here / "groove.mid")

    assert main(["capture", *typed]) == 2

    (line,) = capsys.readouterr().err.splitlines()
    assert words in line
    assert not (here / "groove.toml").exists()


def test_notes_of_no_drum_are_told(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    played("bucket-chain", here / "groove.mid")
    file = mido.MidiFile(here / "groove.mid")
    file.tracks[0].append(mido.Message("note_on", channel=9, note=99, velocity=80, time=10))
    file.save(here / "groove.mid")

    assert main(["capture", "groove.mid"]) == 0

    assert "note 99 is no drum of the kit: 1 stroke left out" in capsys.readouterr().out


def test_a_file_that_is_there_stays(here: Path) -> None:
    played("bucket-chain", here / "groove.mid")
    (here / "groove.toml").write_text("mine")

    assert main(["capture", "groove.mid"]) == 2
    assert (here / "groove.toml").read_text() == "mine"
    assert main(["capture", "groove.mid", "--force"]) == 0


def test_a_file_that_was_played_to_a_click_says_exactly_how_fast(here: Path) -> None:
    pattern = load_pattern("three-lamps-to-light")
    bar_s = 60.0 / pattern.tempo * float(pattern.meter.length / pattern.meter.unit)
    played("three-lamps-to-light", here / "groove.mid", bars=8, start_s=2 * bar_s)

    asked = ["capture", "groove.mid", "--click", f"{pattern.tempo:g}"]
    assert main([*asked, "--meter", pattern.meter.written]) == 0

    found = read((here / "groove.toml").read_text(encoding="utf-8"), "groove")
    assert found.tempo == pattern.tempo
    assert unlike(pattern, found) == set()


def test_click_and_tempo_are_one_too_many(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    played("bucket-chain", here / "groove.mid")

    assert main(["capture", "groove.mid", "--click", "84", "--tempo", "84"]) == 2

    assert "leave out --tempo" in capsys.readouterr().err
