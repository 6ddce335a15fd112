"""Beat maps on file."""

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.pattern.beat_map import BeatMap
from playalong.records.beat_maps import BeatMapError, read, remove, write
from tests.helpers.exact_takes import law

MAP = BeatMap((0.512, 1.02, 1.531, 2.04, 2.55, 3.061), first=2, per_bar=3)
OTHER = BeatMap((0.25, 0.75, 1.25, 1.76), per_bar=4)


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "music" / "rainy evening (take 2).flac"
    path.parent.mkdir()
    path.write_bytes(b"no sound, but some bytes" * 100)
    return path


def test_what_is_kept_is_read_again(tmp_path: Path, recording: Path) -> None:
    write(tmp_path / "kept", recording, MAP)
    assert read(tmp_path / "kept", recording) == (MAP, "")


@given(
    st.lists(st.floats(0.05, 3.0), min_size=1, max_size=40),
    st.integers(1, 9),
    st.data(),
)
@law(40)
def test_any_map_is_read_again_to_the_microsecond(
    tmp_path_factory: pytest.TempPathFactory,
    periods: list[float],
    per_bar: int,
    data: st.DataObject,
) -> None:
    folder = tmp_path_factory.mktemp("maps")
    recording = folder / "a.wav"
    recording.write_bytes(b"a")
    times_s = [0.0]
    for period in periods:
        times_s.append(times_s[-1] + period)
    beat_map = BeatMap.of(times_s, data.draw(st.integers(0, len(periods))), per_bar)
    write(folder, recording, beat_map)
    found, words = read(folder, recording)
    assert found is not None
    assert found.times_s == pytest.approx(times_s, abs=1e-6)
    assert (found.first, found.per_bar, words) == (beat_map.first, per_bar, "")


def test_the_file_can_be_read_by_a_person(tmp_path: Path, recording: Path) -> None:
    lines = write(tmp_path / "kept", recording, MAP).read_text(encoding="utf-8").splitlines()
    assert lines[0] == 'recording = "rainy evening (take 2).flac"'
    assert "  0.512000, 1.020000," in lines  # what comes before bar 1
    assert "  1.531000, 2.040000, 2.550000," in lines  # bar 1


def test_the_recording_stays_as_it_is(tmp_path: Path, recording: Path) -> None:
    before = recording.read_bytes(), recording.stat().st_mtime_ns, list(recording.parent.iterdir())
    write(tmp_path / "kept", recording, MAP)
    read(tmp_path / "kept", recording)
    after = recording.read_bytes(), recording.stat().st_mtime_ns, list(recording.parent.iterdir())
    assert after == before


def test_nothing_kept_is_no_trouble(tmp_path: Path, recording: Path) -> None:
    assert read(tmp_path / "kept", recording) == (None, "")


def test_a_moved_and_renamed_recording_keeps_its_beats(tmp_path: Path, recording: Path) -> None:
    folder = tmp_path / "kept"
    write(folder, recording, MAP)
    moved = recording.replace(tmp_path / 'other "name".flac')
    assert read(folder, moved) == (MAP, "")
    write(folder, moved, OTHER)
    assert len(list(folder.iterdir())) == 1
    assert read(folder, moved) == (OTHER, "")


def test_two_recordings_of_one_name_are_told_apart(tmp_path: Path, recording: Path) -> None:
    folder = tmp_path / "kept"
    other = tmp_path / recording.name
    other.write_bytes(b"other bytes")
    write(folder, recording, MAP)
    write(folder, other, OTHER)
    assert read(folder, recording) == (MAP, "")
    assert read(folder, other) == (OTHER, "")


def test_two_that_begin_with_the_same_silence_are_told_apart(tmp_path: Path) -> None:
    folder, silence = tmp_path / "kept", bytes(2**21)
    one, two = tmp_path / "one.wav", tmp_path / "two.wav"
    one.write_bytes(silence + b"one" * 10**6)
    two.write_bytes(silence + b"two" * 10**6)
    write(folder, one, MAP)
    write(folder, two, OTHER)
    assert read(folder, one) == (MAP, "")
    assert read(folder, two) == (OTHER, "")


@pytest.mark.parametrize(
    ("name", "other"),
    [("cut off.wav", "cut off.flac"), ("a" * 70 + " 1.wav", "a" * 70 + " 2.wav")],
)
def test_names_that_are_nearly_alike_are_two(tmp_path: Path, name: str, other: str) -> None:
    for each in (name, other):
        (tmp_path / each).write_bytes(each.encode())
    write(tmp_path / "kept", tmp_path / name, MAP)
    assert read(tmp_path / "kept", tmp_path / other) == (None, "")


def test_a_map_is_taken_away(tmp_path: Path, recording: Path) -> None:
    remove(tmp_path / "kept", recording)
    write(tmp_path / "kept", recording, MAP)
    remove(tmp_path / "kept", recording)
    assert read(tmp_path / "kept", recording) == (None, "")


def test_a_recording_that_changed_is_told(tmp_path: Path, recording: Path) -> None:
    write(tmp_path / "kept", recording, MAP)
    recording.write_bytes(b"a new tag" + recording.read_bytes())
    found, words = read(tmp_path / "kept", recording)
    assert found == MAP
    assert words == (
        'The beats of "rainy evening (take 2).flac" were set on another file of this name, or '
        "before it changed: check them by ear."
    )


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda text: text.replace("beats_s = [", "beats_s = "), "written right"),
        (lambda text: text.replace("1.020000", '"one"'), "beats_s must be a row of seconds"),
        (lambda text: text.replace("1.020000", "0.1"), "does not come after"),
        (lambda text: text.replace("bar_1_on_beat = 3", "bar_1_on_beat = 99"), "bar 1 cannot"),
        (lambda text: text.replace("bar_1_on_beat = 3", ""), "'bar_1_on_beat' is missing"),
        (lambda text: text.replace("beats_in_a_bar = 3", "beats_in_a_bar = 2.5"), "whole number"),
        (lambda text: "\0", "written right"),
    ],
)
def test_a_broken_file_is_told_and_set_aside(
    tmp_path: Path, recording: Path, spoil: Callable[[str], str], words: str
) -> None:
    folder = tmp_path / "kept"
    path = write(folder, recording, MAP)
    broken = spoil(path.read_text(encoding="utf-8"))
    path.write_text(broken, encoding="utf-8")
    found, told = read(folder, recording)
    assert found is None
    assert words in told
    aside = path.with_name(f"{path.name}.broken")
    assert str(aside) in told
    assert aside.read_text(encoding="utf-8") == broken
    assert read(folder, recording) == (None, "")


def test_what_cannot_be_read_or_written_is_told(tmp_path: Path, recording: Path) -> None:
    with pytest.raises(BeatMapError, match=r"There is no file .*nothing.wav: check the name"):
        read(tmp_path, tmp_path / "nothing.wav")
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    with pytest.raises(BeatMapError, match="The beats cannot be kept in"):
        write(blocked, recording, MAP)


def test_bars_of_other_lengths_are_kept(tmp_path: Path, recording: Path) -> None:
    even = BeatMap.of((number / 2 for number in range(24)), 2)
    uneven = even.with_bar(1, 5).begun_at(17, 3)
    write(tmp_path, recording, uneven)
    assert read(tmp_path, recording) == (uneven, "")
    assert read(tmp_path, recording)[0] != even
