"""The voice that counts: each word on its beat, none over another, and sticks where none fits."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from scipy.signal import butter, sosfiltfilt

from playalong.pattern.meter import STRAIGHT, Meter, Tempo, WrittenSwing
from playalong.pattern.model import Bar, divisions
from playalong.sound import voice
from playalong.sound.recordings.onsets import Onsets
from playalong.sound.rendering import rendered
from playalong.sound.synth.click import Click, Clicking, Counting, Gap, Kind, clicks, sample
from playalong.sound.timeline import RATE
from playalong.sound.voice import BEAT_S, PACES, STEMS, VOICE_RATE, Speaker, Word, clips, heard
from tests.sound.a_weighting import WINDOW_S, level_db
from tests.sound.making_music import Played

NAMES = [f"{stem}{pace}" for stem in STEMS.values() for pace in PACES]

#: How far the onset of a word may lie from its beat, in ms: below what is heard as early or late
#: (6 ms, Friberg and Sundberg, JASA 98, 1995) by the program's own measure; by another, whose idea
#: of where a word begins is another, somewhat more.
OWN_MS, OTHER_MS = 4.0, 8.0


def bar_of(meter: str, parts: int) -> Bar:
    """A bar all of whose beats are cut into so many parts."""
    found = Meter.parse(meter)
    return Bar(found, (), (parts,) * len(found.beats))


def counted(meter="4/4", parts=4, bpm=60.0, *, counting=Counting.SUBDIVISION, bars=1, **more):
    bar = bar_of(meter, parts)
    return clicks(
        [bar.meter] * bars,
        Tempo(bpm, bar.meter.unit),
        bars=[bar],
        voice=Speaker(counting),
        **more,
    )


def words(found: list[Click]) -> list[str]:
    """What is said, without how fast."""
    return [click.word.removesuffix("-quick") for click in found if click.word]


def steepest_s(sound: np.ndarray, near_s: float) -> float:
    """Where near a time the energy from 250 to 3000 Hz rises most, with scipy alone.

    The smoothing, which has no delay, lets a step rise from some 12 ms before it: what a step of
    noise is measured at is taken off.
    """

    def raw(of: np.ndarray, at_s: float) -> float:
        low, high = round((at_s - 0.1) * RATE), round((at_s + 0.1) * RATE)
        band = sosfiltfilt(butter(4, (250, 3000), "band", fs=RATE, output="sos"), of)
        energy = sosfiltfilt(butter(2, 40, fs=RATE, output="sos"), band**2)
        size = np.sqrt(np.maximum(energy, 0.0))
        return float((low + np.diff(size[low:high]).argmax()) / RATE)

    noise = np.random.default_rng(1).normal(size=RATE)
    noise[: RATE // 2] = 0.0
    return raw(sound, near_s) - (raw(noise, 0.5) - 0.5)


def padded(name: str) -> tuple[np.ndarray, float]:
    """A word at ``RATE`` in silence, and when its beat is."""
    word = Word(Click(0.0, Kind.COUNT, name))
    silence = np.zeros(RATE // 2, np.float32)
    return np.concatenate([silence, word.frames(RATE), silence]), 0.5 - word.time_s


@pytest.mark.parametrize("name", NAMES)
def test_a_word_begins_on_its_beat_by_the_own_finder_and_by_another(name):
    sound, beat_s = padded(name)
    times_s, strength = Onsets.of(Played(np.stack([sound, sound], 1))).peaks
    assert 1000 * abs(times_s[strength.argmax()] - beat_s) < OWN_MS
    assert 1000 * abs(steepest_s(sound.astype(np.float64), beat_s) - beat_s) < OTHER_MS


@pytest.mark.parametrize("name", NAMES)
def test_a_word_is_as_loud_as_the_sticks(name):
    sound, _ = padded(name)
    width = round(WINDOW_S * RATE)
    starts = range(RATE // 2, len(sound) - RATE // 2, width // 20)
    dither = np.random.default_rng(1).normal(scale=1e-6, size=width).astype(np.float32)
    loudest = max(level_db(sound[at : at + width] + dither, RATE) for at in starts)
    assert loudest == pytest.approx(level_db(sample(Kind.COUNT, RATE), RATE), abs=0.5)
    assert np.abs(sound).max() < 1.0


def test_one_e_and_a_in_a_rendered_file():
    """All words of a count-in, each where its beat is, and silence between them."""
    found = counted(bpm=60.0)[:-4]
    assert words(found) == [
        word for number in ("one", "two", "three", "four") for word in (number, "e", "and", "a")
    ]
    sounds = heard(found)
    first_s = sounds[0].time_s
    file = rendered(sounds, level=1.0)[:, 0].astype(np.float64)
    for click in found:
        at_s = click.time_s - first_s
        if at_s > 0.1:
            assert 1000 * abs(steepest_s(file, at_s) - at_s) < OTHER_MS, click
    for before, after in pairwise(sounds):
        end = round((before.time_s - first_s) * RATE) + len(before.frames(RATE))
        begin = round((after.time_s - first_s) * RATE)
        assert end <= begin
        assert np.abs(file[end + 1 : begin]).max(initial=0.0) < 1e-6


@pytest.mark.parametrize("meter", ["4/4", "6/8", "12/8", "7/8", "2+2+3/8", "12/8 in 12"])
@pytest.mark.parametrize("parts", [1, 2, 3, 4, 6, 8])
@pytest.mark.parametrize("bpm", [40, 72, 100, 133, 180, 240, 400])
def test_no_word_is_said_into_another_and_no_beat_is_left_out(meter, parts, bpm):
    found = counted(meter, parts, float(bpm), bars=3, counting=Counting.THROUGHOUT)
    said = [one for one in heard(found) if isinstance(one, Word)]
    for before, after in pairwise(said):
        assert before.time_s + len(before.frames(RATE)) / RATE <= after.time_s + 1e-4
    beats = len(Meter.parse(meter).beats)
    # Sticks or words, each beat of the count-in is there.
    own = [one for one in found if one.kind in (Kind.COUNT, Kind.COUNT_ONE)]
    assert len(own) == beats


def test_what_is_between_is_left_out_where_there_is_no_time():
    assert words(counted(bpm=60.0))[:4] == ["one", "e", "and", "a"]
    slower = [words(counted(bpm=float(bpm))) for bpm in range(60, 401, 20)]
    counts = [len(each) for each in slower]
    assert counts == sorted(counts, reverse=True)
    assert set(counts) == {16, 8, 4, 0}
    assert words(counted(bpm=160.0)) == [
        word for number in ("one", "two", "three", "four") for word in (number, "and")
    ]
    assert words(counted(bpm=260.0)) == ["one", "two", "three", "four"]
    assert words(counted(bpm=400.0)) == []
    assert [one.kind for one in counted(bpm=400.0)[:4]] == [Kind.COUNT_ONE, *[Kind.COUNT] * 3]


def test_triplets_and_beats_of_three_units_are_counted_as_the_sheet_does():
    assert words(counted(parts=3))[:3] == ["one", "trip", "let"]
    assert words(counted("12/8", 3))[:3] == ["one", "and", "a"]
    assert words(counted("6/8", 1)) == ["one", "two"]
    assert words(counted("7/8", 1)) == ["one", "two", "three", "four", "five", "six", "seven"]


def test_numbers_alone_and_what_has_no_word():
    assert words(counted(counting=Counting.NUMBERS)) == ["one", "two", "three", "four"]
    assert words(counted("13/8", 1)) == []  # nobody says thirteen here: sticks


def test_words_take_the_place_of_sticks_and_stand_beside_clicks():
    found = counted(counting=Counting.NUMBERS, parts=1, bars=2)
    assert [one.word for one in found[:4]] == ["one", "two", "three", "four"]
    assert not any(one.word for one in found[4:])
    through = counted(counting=Counting.THROUGHOUT, parts=1, bars=2)
    assert len([one for one in through[4:] if one.word]) == 8
    assert [one for one in through[4:] if not one.word] == found[4:]


def test_silent_bars_are_silent():
    clicking = Clicking(gap=Gap(1, 1))
    found = counted(counting=Counting.THROUGHOUT, parts=1, bars=4, clicking=clicking)
    assert sorted({int(one.time_s // 4) for one in found}) == [-1, 0, 2]


def test_swung_words_stand_where_strokes_would():
    bar = bar_of("4/4", 2)
    swing = WrittenSwing(Fraction(200, 3))
    found = clicks(
        [bar.meter],
        Tempo(60.0, bar.meter.unit),
        clicking=Clicking(swing=swing),
        bars=[bar],
        voice=Speaker(Counting.SUBDIVISION),
    )
    (and_s, *_) = [one.time_s for one in found if one.word.startswith("and")]
    assert and_s + 4.0 == pytest.approx(2 / 3)


def test_without_a_bar_of_as_many_beats_numbers_are_said():
    bar = bar_of("4/4", 4)
    five = bar.meter.of_beats(5)
    found = clicks([five], Tempo(60.0, five.unit), bars=[bar], voice=Speaker(Counting.SUBDIVISION))
    assert words(found) == ["one", "two", "three", "four", "five"]


def test_where_the_words_cannot_be_read_sticks_count(monkeypatch, tmp_path):
    monkeypatch.setattr(voice.shipped, "folder", lambda _: tmp_path)
    (tmp_path / "voice").mkdir()
    (tmp_path / "voice" / "one.flac").write_bytes(b"no sound")
    clips.cache_clear()
    try:
        assert [one.kind for one in counted(parts=1)[:4]] == [Kind.COUNT_ONE, *[Kind.COUNT] * 3]
        assert words(counted()) == []
    finally:
        clips.cache_clear()


def test_every_word_is_there_and_small():
    assert sorted(clips()) == sorted(NAMES)
    assert VOICE_RATE == 24_000
    folder = voice.shipped.folder("assets") / "voice"
    assert sum(path.stat().st_size for path in folder.iterdir()) < 300_000
    assert all(clip.lead_s < BEAT_S for clip in clips().values())


def test_sticks_are_as_they_were():
    bar = bar_of("4/4", 4)
    plain = clicks([bar.meter], Tempo(90.0, bar.meter.unit))
    assert plain == clicks([bar.meter], Tempo(90.0, bar.meter.unit), bars=[bar], voice=None)
    assert divisions(bar.meter, ()) == (1, 1, 1, 1)
    assert STRAIGHT.is_straight
