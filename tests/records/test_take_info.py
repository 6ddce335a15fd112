"""What a take says of itself: written, read back, and of earlier versions."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from playalong.app.grade.take_grading import Options, grade_take
from playalong.grading.matching.pauses import EndedPause, Pauses
from playalong.midi.pads import Guard, Pads
from playalong.pattern.reader import read as read_pattern
from playalong.records.take_info import FORMAT, Simulated, TakeInfo
from playalong.records.takes import read
from tests.helpers import letters

from .midi_bytes import event, file, in_file, text, track

WORDS = st.text(letters.ANY, max_size=8)
NUMBERS = st.floats(0.001, 1e6)
PAUSE = EndedPause(from_s=1.0, stopped_s=1.0, until_s=5.0, on_s=2.0, bar_s=2.5)
INFOS = st.builds(
    TakeInfo,
    format=st.integers(1, 9),
    program=WORDS,
    date=WORDS,
    player=WORDS,
    kit=WORDS,
    simulated=st.none() | st.builds(Simulated, WORDS, st.integers(0, 10**6)),
    pattern=WORDS,
    pattern_id=WORDS,
    pattern_text=WORDS,
    excerpt=st.none() | st.dictionaries(WORDS, st.integers(), min_size=1, max_size=2),
    free=st.booleans(),
    tempo_bpm=st.none() | NUMBERS,
    bars=st.none() | st.integers(1, 999),
    variations=st.lists(WORDS, max_size=3).map(tuple),
    until_s=st.just(float("inf")) | NUMBERS,
    capture_ms=st.none() | NUMBERS,
    tolerance_ms=st.none() | NUMBERS,
    bands=st.none() | st.just({"source": "default"}),
    pads=st.none() | st.just(Pads({38: "snare"}, guards={"snare": Guard(30.0, 4.0)})),
    latency_ms=NUMBERS,
    pauses=st.just(Pauses()) | st.just(Pauses((PAUSE,))),
    along=st.none() | st.just({"recording": "rain.wav", "per_bar": 4, "times_s": [0.0, 0.5]}),
)


@settings(max_examples=200, deadline=None)
@given(INFOS)
def test_what_is_written_is_read(info: TakeInfo) -> None:
    assert TakeInfo.from_plain(json.loads(json.dumps(info.as_plain()))) == info


def test_nothing_is_written_that_says_nothing() -> None:
    assert TakeInfo(format=FORMAT, pattern="a").as_plain() == {
        "format": 2,
        "pattern": "a",
        "variations": [],
        "latency_ms": 0.0,
    }


PLAIN = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(-1e8, 1e8)
    | st.text(letters.ANY, max_size=5),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(letters.ANY, max_size=4), inner)
    ),
    max_leaves=6,
)


@settings(max_examples=300, deadline=None)
@given(st.dictionaries(st.sampled_from(sorted(TakeInfo.__slots__)), PLAIN))
def test_what_makes_no_sense_is_as_if_it_were_not_there(plain) -> None:
    info = TakeInfo.from_plain(plain)
    assert TakeInfo.from_plain(json.loads(json.dumps(info.as_plain()))) == info
    assert info.beats is None or len(info.beats) > 1


PATTERN = read_pattern(
    'title = "Wet Stairs"\nmeter = "2/4"\ntempo = 60\n[[bar]]\nsnare = "x x"\nkick = "x -"\n',
    "wet-stairs",
)
#: As the first version of the program wrote it.
FIRST = {
    "pattern": "wet-stairs",
    "tempo_bpm": 120.0,
    "bars": 2,
    "variations": [],
    "capture_ms": 90.0,
    "tolerance_ms": 25.0,
    "bands": {"source": "the player's own strokes", "snare": {"normal": [60.0, 110.0]}},
    "pads": {"notes": {"31": "snare"}, "pedal": {"open": 0, "closed": 127}, "guards": {}},
    "latency_ms": 8.0,
    "start_s": 0.5,
    "until_s": 1.3,
}


def take_of(folder, info):
    """Four snare strokes at 120 bpm from 0.5 s on, note 31, the last after the run was left."""
    notes = [event(480, 0x99, 31, 100) for _ in range(4)]
    return read(
        in_file(folder, file(0, 480, [track(text("playalong " + json.dumps(info)), *notes)]))
    )


def test_a_take_of_the_first_version_is_graded_as_ever(tmp_path) -> None:
    graded = grade_take(PATTERN, take_of(tmp_path, FIRST), Options())
    assert graded.grade.tempo_bpm == 120.0
    assert graded.run.rules.capture_ms == 90.0
    assert graded.run.rules.tolerance_ms == 25.0
    assert graded.start_s == 0.5
    assert graded.latency_ms == 8.0
    counts = graded.grade.counts
    assert (counts.matched, counts.missed) == (3, 2)  # left before the last beat
    assert not any("pattern" in remark for remark in graded.notices)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("Wet Stairs: beat 2", "of a part, beat 2, practised with an earlier version"),
        ("another", 'of another pattern, "another"'),
    ],
)
def test_a_take_of_the_first_version_that_is_of_something_else(tmp_path, name, told) -> None:
    graded = grade_take(PATTERN, take_of(tmp_path, {**FIRST, "pattern": name}), Options())
    assert told in graded.notices[0]
    assert graded.start_s == 0.5
    assert graded.run.rules.capture_ms == 90.0
    assert len(graded.run.hits) == 4  # the pad's own note is known
