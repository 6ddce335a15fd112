"""Files that are no takes, or not quite: one plain line, never another error."""

import json
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from playalong.app.grade.take_grading import AUTO, Options, grade_take
from playalong.grading.text import as_json
from playalong.pattern.reader import read as read_pattern
from playalong.records.takes import Take, TakeError, read
from playalong.support.errors import UserError
from tests.helpers import letters

from .midi_bytes import event, file, in_file, tempo, text, track

#: Where one file after the other lies under the same name.
FOLDER = TemporaryDirectory()
SNARE = (0x99, 38, 100)
PATTERN = read_pattern(
    'title = "T"\nmeter = "2/4"\ntempo = 60\n[[bar]]\nsnare = "x x"\nkick = "x -"\n', "wet-stairs"
)
INFO = {"pattern": "wet-stairs", "tempo_bpm": 60.0, "bars": 2, "start_s": 0.5, "variations": []}
SMALL = file(
    1,
    480,
    [
        track(text("playalong " + json.dumps(INFO)), tempo(0, 400_000), tempo(480, 500_000)),
        track(event(0, *SNARE), event(200, 36, 90), event(10, 0x89, 38, 0), event(240, *SNARE)),
    ],
)


T = TypeVar("T")


def attempt(work: Callable[[], T]) -> tuple[T | None, str]:
    """What ``work`` gives, or nothing and the plain words with which it refuses."""
    try:
        return work(), ""
    except UserError as error:
        return None, str(error)


def line(path: Path) -> str:
    """What is told of a file that cannot be read."""
    with pytest.raises(TakeError) as caught:
        read(path)
    told = str(caught.value)
    assert "\n" not in told
    assert str(path) in told
    return told


def read_or_told(data: bytes) -> Take | None:
    """The take in ``data``, which must then be fit to be graded, or None where that is told."""
    take, told = attempt(lambda: read(in_file(Path(FOLDER.name), data)))
    assert "\n" not in told
    if take is None:
        return None
    assert len(take.time_s) == len(take.note) == len(take.velocity)
    assert len(take.time_s) > 0 or take.info
    assert (take.time_s[1:] >= take.time_s[:-1]).all()
    assert ((take.velocity >= 1.0) & (take.velocity <= 127.0)).all()
    assert ((take.note >= 0) & (take.note <= 127)).all()
    assert "\n" not in attempt(lambda: grade_take(PATTERN, take, Options()))[1]
    return take


def test_no_file(tmp_path):
    assert "There is no file" in line(tmp_path / "nowhere.mid")
    (tmp_path / "file").write_text("in the way")
    assert "There is no file" in line(tmp_path / "file" / "take.mid")


def test_a_folder(tmp_path):
    assert "is a folder" in line(tmp_path)


@pytest.mark.parametrize(
    "data", [b"Dear teacher,\n", b"\x89PNG\r\n\x1a\n", b"RIFF\x00\x00\x00\x00"]
)
def test_no_midi(tmp_path, data):
    path = tmp_path / "take.mid"
    path.write_bytes(data * 8)
    assert "is no Standard MIDI File (" in line(path)


def test_nothing_in_it(tmp_path):
    assert "is cut off" in line(in_file(tmp_path, b""))


@pytest.mark.parametrize("tracks", [[], [track()], [track(event(0, 0x99, 38, 0))]])
def test_no_note(tmp_path, tracks):
    assert "is empty: it holds no note" in line(in_file(tmp_path, file(1, 480, tracks)))


def test_a_take_of_ours_in_which_nothing_was_played(tmp_path):
    """It is a run all the same, in which everything was missed; but nobody could follow it."""
    take = read(in_file(tmp_path, file(0, 480, [track(text("playalong " + json.dumps(INFO)))])))
    assert len(take.time_s) == len(take.messages) == 0
    counts = grade_take(PATTERN, take, Options()).grade.counts
    assert (counts.targets, counts.missed, counts.extra) == (6, 6, 0)
    for options in (Options(tempo_bpm=AUTO), Options(start_s=AUTO)):
        _, told = attempt(lambda options=options: grade_take(PATTERN, take, options))
        assert "no stroke that could be followed" in told
    other = read_pattern(
        'title = "O"\nmeter = "4/4"\ntempo = 60\n[[bar]]\nride = "x x x x"\n', "other"
    )
    _, told = attempt(lambda: grade_take(other, take, Options()))
    assert "None of the 0 notes" in told


@pytest.mark.parametrize("division", [0x0000, 0xE700, 0x8000])
def test_no_time(tmp_path, division):
    data = file(0, division, [track(event(0, *SNARE))])
    assert "does not say how long a tick lasts" in line(in_file(tmp_path, data))


@pytest.mark.parametrize("late", [event(0, *SNARE), tempo(0, 400_000)])
def test_times_beyond_all_bounds(tmp_path, late):
    """A time has four bytes at most in the standard; more of them overflow what counts ticks."""
    ticks = b"\xff" * 9 + b"\x7f"
    data = file(0, 480, [track(event(0, *SNARE), ticks + late[1:])])
    assert "would last for years" in line(in_file(tmp_path, data))


def test_the_small_file_is_right():
    take = read_or_told(SMALL)
    assert take is not None
    assert take.note.tolist() == [38, 36, 38]
    assert take.start_s == 0.5


@pytest.mark.parametrize("length", range(len(SMALL)))
def test_cut_off_anywhere(length):
    take = read_or_told(SMALL[:length])
    assert take is None  # its header tells how much there would be


@settings(max_examples=300, deadline=None)
@given(st.integers(0, len(SMALL) - 1), st.integers(0, 255))
@example(13, 0)
def test_one_wrong_byte_anywhere(at, byte):
    read_or_told(SMALL[:at] + bytes([byte]) + SMALL[at + 1 :])


@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=60))
def test_any_bytes_for_a_track(body):
    read_or_told(file(0, 480, [b"MTrk" + len(body).to_bytes(4, "big") + body]))


VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**12), 10**12),
    st.sampled_from([10**400, -1, 0, 100_001]),
    st.floats(),
    st.text(letters.ANY, max_size=5),
    st.lists(st.text(letters.ANY, max_size=3), max_size=2),
    st.dictionaries(st.text(letters.ANY, max_size=3), st.integers(), max_size=2),
)
KEYS = (
    *("start_s", "until_s", "bars", "tempo_bpm", "variations", "capture_ms", "tolerance_ms"),
    *("format", "pattern_id", "pattern_text", "excerpt", "free", "bands", "pads", "latency_ms"),
    *("pauses", "along", "simulated", "player", "date"),
)


@settings(max_examples=300, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), VALUES))
def test_whatever_a_take_says_of_itself_is_graded_or_told(info):
    words = "playalong " + json.dumps({"pattern": "wet-stairs", **info})
    notes = [event(480 * beat, *SNARE) for beat in range(4)]
    take = read(in_file(Path(FOLDER.name), file(0, 480, [track(text(words), *notes)])))
    graded, told = attempt(lambda: grade_take(PATTERN, take, Options()))
    assert "\n" not in told
    if graded is not None:
        assert 0.0 <= graded.grade.score.total <= 100.0
        json.dumps(as_json(graded.grade), allow_nan=False)


@pytest.mark.parametrize("words", ["[" * 100_000, "{" * 50, '{"start_s": ' + "9" * 5000 + "}"])
def test_words_that_no_reader_can_hold_are_passed_over(words):
    take = read_or_told(file(0, 480, [track(text("playalong " + words), event(0, *SNARE))]))
    assert take is not None
    assert dict(take.info) == {}


@pytest.mark.parametrize("figure", ["NaN", "Infinity", "-Infinity", "1e999", "1e300"])
def test_a_start_that_cannot_be_is_no_start(figure):
    words = f'playalong {{"pattern": "wet-stairs", "start_s": {figure}}}'
    take = read_or_told(file(0, 480, [track(text(words), event(0, *SNARE))]))
    assert take is not None
    assert take.start_s == 0.0
    assert take.info["pattern"] == "wet-stairs"
