"""Beats of a recording, and a pattern on them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.grading.gauges import Gauges
from playalong.grading.grade_run import grade
from playalong.grading.levels import Level
from playalong.grading.matching.live_grader import Grader
from playalong.grading.matching.tempo_following import find, follow
from playalong.grading.measures.steadiness import FASTER, STEADY
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.beat_map import BeatMap
from playalong.pattern.targets import Targets, lay_out, lay_out_on
from tests.grading.making import groove, moved
from tests.helpers.exact_takes import faultless, law

GROOVE = groove(hi_hat="xx xx xx xx", snare="---- X--g ---- X---", kick="x--- --x- x-x- ----")

#: A band that sways by 6 per cent and broadens at the end.
DRIFTING = BeatMap.of(
    2.0
    + np.cumsum(
        0.6
        * (1.0 + 0.06 * np.sin(np.arange(80) / 9.0))
        * np.concatenate([np.ones(72), np.linspace(1.0, 1.3, 8)])
    ),
    first=2,
)

periods = st.lists(st.floats(0.2, 2.0), min_size=4, max_size=40)


@st.composite
def beat_maps(draw: st.DrawFn) -> BeatMap:
    times_s = draw(st.floats(0.0, 5.0)) + np.append(0.0, np.cumsum(draw(periods)))
    return BeatMap.of(times_s, draw(st.integers(0, 3)), draw(st.integers(1, 7)))


@given(beat_maps())
@law(60)
def test_every_beat_of_the_map_has_its_own_second(beat_map: BeatMap) -> None:
    numbers = np.arange(len(beat_map), dtype=np.float64)
    assert beat_map.seconds(numbers) == pytest.approx(np.array(beat_map.times_s))


@given(beat_maps(), st.floats(-20.0, 60.0))
@law(100)
def test_beats_to_seconds_and_back(beat_map: BeatMap, beat: float) -> None:
    assert beat_map.beat(beat_map.seconds(beat)) == pytest.approx(beat, abs=1e-6)


@given(beat_maps(), st.floats(-20.0, 60.0), st.floats(0.001, 5.0))
@law(100)
def test_a_later_beat_comes_later(beat_map: BeatMap, beat: float, step: float) -> None:
    assert beat_map.seconds(beat + step) > beat_map.seconds(beat)


def test_between_two_beats_time_runs_evenly_and_outside_at_the_tempo_of_the_outer_bar() -> None:
    beat_map = BeatMap((1.0, 2.0, 4.0, 5.0, 6.5), per_bar=2)
    assert beat_map.seconds(1.25) == 2.5
    assert beat_map.seconds(-2.0) == 1.0 - 2 * 1.5  # the first two beats took 3 s
    assert beat_map.seconds(5.0) == 6.5 + 1.25  # the last two 2.5 s
    assert beat_map.seconds(np.array([0.0, 0.5])).tolist() == [1.0, 1.5]


def test_bars_tempo_and_loop() -> None:
    beat_map = BeatMap.of([0.5 * number for number in range(5)] + [2.75, 3.5, 4.25, 5.0], first=0)
    assert beat_map.bars == 2
    assert (beat_map.tempo_bpm(0), beat_map.tempo_bpm(1)) == (120.0, 80.0)
    assert beat_map.loop(0, 1) == (0.0, 5.0)
    assert beat_map.loop(1, 1) == (2.0, 5.0)
    with pytest.raises(ValueError, match="bars 2 to 3 cannot be looped: the recording has bars 1"):
        beat_map.loop(1, 2)


def test_even_beats_from_a_tempo_reach_to_the_end() -> None:
    beat_map = BeatMap.from_tempo(tempo_bpm=120.0, first_beat_s=0.25, length_s=10.0, per_bar=3)
    assert beat_map.times_s[0] == 0.25
    assert beat_map.times_s[-1] == 9.75
    assert beat_map.tempo_bpm(4) == pytest.approx(120.0)


@pytest.mark.parametrize(
    ("bpm", "first_s", "words"),
    [
        (0.0, 0.0, "tempo"),
        (60.0, 9.5, "second"),
        (60.0, -3.0, "not in the recording: it goes from 0 to 10.0 s"),
        (60.0, float("nan"), "not in the recording"),
    ],
)
def test_no_beats_from_a_tempo(bpm: float, first_s: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        BeatMap.from_tempo(tempo_bpm=bpm, first_beat_s=first_s, length_s=10.0)


@given(beat_maps())
@law(60)
def test_doubled_and_halved_again_is_the_same(beat_map: BeatMap) -> None:
    again = beat_map.doubled().halved()
    assert again.times_s == pytest.approx(beat_map.times_s)
    assert (again.first, again.per_bar) == (beat_map.first, beat_map.per_bar)


@given(beat_maps())
@law(60)
def test_bar_1_stays_where_it_is(beat_map: BeatMap) -> None:
    start_s = beat_map.bar_start_s(0)
    assert beat_map.doubled().bar_start_s(0) == pytest.approx(start_s)
    if len(beat_map) > 4:
        assert beat_map.halved().bar_start_s(0) == pytest.approx(start_s)
    assert beat_map.nudge(12.0).bar_start_s(0) == pytest.approx(start_s + 0.012)


def test_single_beats_and_bar_1_can_be_moved() -> None:
    beat_map = BeatMap((1.0, 2.0, 3.0, 4.0, 5.0))
    assert beat_map.nudge_beat(1, -20.0).times_s == pytest.approx((1.0, 1.98, 3.0, 4.0, 5.0))
    assert beat_map.moved_bar_1(2).bar_start_s(0) == 3.0
    with pytest.raises(ValueError, match=r"beat 2, at 0\.900 s, does not come after"):
        beat_map.nudge_beat(1, -1100.0)
    with pytest.raises(ValueError, match="bar 1 cannot begin on beat 0: the map has beats 1 to 5"):
        beat_map.moved_bar_1(-1)


@pytest.mark.parametrize("times_s", [(1.0,), (1.0, 1.0), (2.0, 1.0), (0.0, float("nan"))])
def test_what_is_no_beat_map(times_s: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="beat"):
        BeatMap(times_s)


def test_at_half_the_speed_everything_takes_twice_as_long() -> None:
    slow = DRIFTING.at_speed(50)
    assert slow.seconds(7.5) == pytest.approx(2 * DRIFTING.seconds(7.5))
    assert slow.tempo_bpm(3) == pytest.approx(DRIFTING.tempo_bpm(3) / 2)
    for percent in (49, 111):
        with pytest.raises(ValueError, match="choose 50 to 110"):
            DRIFTING.at_speed(percent)


# A pattern on a recording.


def on_drifting(bars: int = 16, first_bar: int = 1) -> Targets:
    return lay_out_on(GROOVE, DRIFTING, first_bar, bars=bars)


def test_strokes_on_beats_fall_on_the_beats_of_the_recording() -> None:
    targets = on_drifting()
    beats = DRIFTING.seconds(DRIFTING.first + 4.0 + np.arange(4 * 16 + 1.0))
    beats -= beats[0]
    assert targets.bar_starts_s == pytest.approx(beats[:-1:4])
    assert targets.end_s == pytest.approx(beats[-1])
    on_beats = {
        round(float(time_s), 9)
        for time_s, place in zip(targets.time_s, targets.place, strict=True)
        if targets.places[place].stroke.at % GROOVE.meter.unit == 0
    }
    assert sorted(on_beats) == pytest.approx(beats[:-1].tolist())


def test_on_even_beats_it_is_laid_out_as_ever() -> None:
    swung = groove(swing=62, ride="xx xx xx xx", kick="x--- x--- x--- x---")
    even = lay_out(swung, 96.0, 6)
    on_map = lay_out_on(
        swung, BeatMap.from_tempo(tempo_bpm=96.0, first_beat_s=1.0, length_s=60.0), 2, bars=6
    )
    assert on_map.time_s == pytest.approx(even.time_s)
    assert on_map.written == pytest.approx(even.written)
    assert on_map.seconds_per_whole == pytest.approx(even.seconds_per_whole)
    assert on_map.tempo_bpm(swung.meter) == pytest.approx(96.0)
    assert on_map.voice.tolist() == even.voice.tolist()


def test_beats_of_unequal_length_each_take_one_beat_of_the_map() -> None:
    pattern = groove("2+2+3/8", snare="x- x- x--")
    targets = lay_out_on(
        pattern, BeatMap((0.0, 0.4, 0.8, 1.4, 1.8, 2.2, 2.8), per_bar=3), 0, bars=2
    )
    assert targets.time_s == pytest.approx([0.0, 0.4, 0.8, 1.4, 1.8, 2.2])


def test_a_pattern_in_another_meter_is_told() -> None:
    with pytest.raises(ValueError, match=r"is in 3/4, which has 3 beats .* is counted in 4"):
        lay_out_on(groove("3/4", kick="x x x"), DRIFTING)


def test_who_goes_with_the_recording_is_faultless_and_steady() -> None:
    targets = on_drifting()
    told, _ = grade(
        GROOVE,
        targets.tempo_bpm(GROOVE.meter),
        targets=targets,
        hits=faultless(targets),
        rules=Rules(),
    )
    assert told.score.total == 100.0
    assert told.steadiness.trend == STEADY
    assert told.steadiness.drift_percent == pytest.approx(0.0, abs=1e-6)
    assert told.steadiness.residual_sd_ms == pytest.approx(0.0, abs=1e-5)
    tempi = np.array([tempo for _, tempo in told.steadiness.course])
    assert tempi == pytest.approx(np.full(16, targets.tempo_bpm(GROOVE.meter)))


def test_the_gauge_stays_level_for_who_goes_with_the_recording() -> None:
    targets, rules = on_drifting(), Rules()
    tempo_bpm = targets.tempo_bpm(GROOVE.meter)
    grader, gauges = Grader(targets, rules), Gauges(targets, rules, tempo_bpm)
    hits = faultless(targets)
    for number in range(len(hits)):
        grader.hit(hits[number])
    for word in grader.time_passed(targets.end_s + 5.0):
        if word.settled:
            gauges.heard(word, None if word.hit is None else hits[word.hit])
    assert gauges.timing.mean_ms == pytest.approx(0.0, abs=1e-5)
    assert len(gauges.steadiness.course) > 8
    assert all(tempo == pytest.approx(tempo_bpm) for _, tempo in gauges.steadiness.course)


def test_who_plays_another_tempo_than_the_recording_is_told_by_how_much() -> None:
    targets = on_drifting(bars=1)
    hits = faultless(targets)
    # 2 per cent faster: everything comes after 1 / 1.02 of its time.
    played = moved(hits, hits.time_s / 1.02 - hits.time_s)
    strict = Rules.at(Level.PROFESSIONAL)
    told, _ = grade(
        GROOVE, targets.tempo_bpm(GROOVE.meter), targets=targets, hits=played, rules=strict
    )
    assert told.steadiness.drift_percent == pytest.approx(2.0, abs=0.01)
    assert told.score.total < 100.0


def leaving(targets: Targets) -> Hits:
    """Hits of a player who is on the recording at first and 2 per cent faster at its end."""
    hits = faultless(targets)
    return moved(hits, -0.01 * hits.time_s**2 / targets.end_s)


def test_who_leaves_the_recording_is_told() -> None:
    targets = on_drifting(bars=6)
    tempo_bpm = targets.tempo_bpm(GROOVE.meter)
    told, _ = grade(GROOVE, tempo_bpm, targets=targets, hits=leaving(targets), rules=Rules())
    assert told.steadiness.trend == FASTER
    assert told.steadiness.first_bpm == pytest.approx(tempo_bpm, rel=0.001)
    assert told.steadiness.last_bpm == pytest.approx(1.02 * tempo_bpm, rel=0.001)
    assert told.score.total < 100.0


def test_who_is_followed_is_held_against_the_recording_as_well() -> None:
    targets = on_drifting(bars=16)
    tempo_bpm = targets.tempo_bpm(GROOVE.meter)
    hits = leaving(targets)
    along = follow(targets, hits, find(targets, hits, start_s=0.0, ratio=1.0))
    told, _ = grade(GROOVE, tempo_bpm, targets=along, hits=hits, rules=Rules())
    assert told.steadiness.trend == FASTER
    assert told.steadiness.last_bpm == pytest.approx(1.02 * tempo_bpm, rel=0.002)


# Bars of other lengths.

#: Bars 1 to 3 have four beats, bar 4 has two, bars 5 and 6 three, bar 7 five; then four again.
LENGTHS = [4, 4, 4, 2, 3, 3, 5, 4, 4]
UNEVEN = BeatMap.of_bars(0.5 * np.arange(sum(LENGTHS) + 1), LENGTHS)


def test_bars_have_the_lengths_that_they_are_given() -> None:
    assert (UNEVEN.lengths(0, 8), UNEVEN.bars) == (LENGTHS, 9)
    assert UNEVEN.loop(3, 5) == (6.0, 10.0)
    assert [UNEVEN.place(beat) for beat in (11, 12, 14, 24)] == [(2, 3), (3, 0), (4, 0), (6, 4)]
    assert UNEVEN.tempo_bpm(6) == pytest.approx(120.0)
    assert (UNEVEN.place(-1), UNEVEN.bar_beat(-1)) == ((-1, 3), -4)
    assert UNEVEN.beats_in(20) == 4


@given(st.lists(st.integers(1, 7), min_size=1, max_size=12), st.integers(0, 40))
@law(60)
def test_every_beat_is_in_the_bar_that_begins_before_it(lengths: list[int], beat: int) -> None:
    beat_map = BeatMap.of_bars(np.arange(sum(lengths) + 1) * 0.5, lengths)
    bar, inside = beat_map.place(beat)
    assert beat_map.bar_beat(bar) + inside == beat
    assert 0 <= inside < beat_map.beats_in(bar)


def test_a_bar_can_begin_anywhere_and_have_any_length() -> None:
    even = BeatMap.of(0.5 * np.arange(25))
    cut = even.begun_at(10)
    assert cut.lengths(0, 5) == [4, 4, 2, 4, 4, 4]
    assert cut.counted_through(10) == even
    assert cut.with_per_bar(12, 3).lengths(0, 5) == [4, 4, 2, 3, 3, 3]
    held = even.with_bar(1, 5)
    assert held.lengths(0, 4) == [4, 5, 4, 4, 4]
    assert held.with_bar(1, 6).lengths(0, 3) == [4, 6, 4, 4]
    assert even.with_bar(0, 3).lengths(0, 3) == [3, 4, 4, 4]
    assert even.moved_bar_1(3).begun_at(2).first == 2


def test_a_beat_put_in_or_taken_out_leaves_later_marks_where_they_were() -> None:
    marked = BeatMap.of(0.5 * np.arange(25)).begun_at(12)
    begin_s = marked.seconds(12.0)
    more, fewer = marked.inserted(1.25), marked.removed(3)
    assert (len(more), len(fewer)) == (26, 24)
    for changed in (more, fewer):
        assert [changed.seconds(float(beat)) for beat, _ in changed.changes] == [begin_s]
    with pytest.raises(ValueError, match="does not come after"):
        marked.inserted(1.5)


def test_a_groove_goes_through_bars_of_other_lengths() -> None:
    targets = lay_out_on(GROOVE, UNEVEN, bars=9)
    assert targets.bar_starts_s.tolist() == [UNEVEN.bar_start_s(bar) for bar in range(9)]
    full = int((targets.bar == 0).sum())
    in_bar = [targets.time_s[targets.bar == bar] - targets.bar_starts_s[bar] for bar in range(9)]
    assert [len(each) < full for each in in_bar] == [n < 4 for n in LENGTHS]
    # What is asked lies in the first four beats, on the recording's own time.
    for length, after_s in zip(LENGTHS, in_bar, strict=True):
        assert after_s == pytest.approx(in_bar[0][in_bar[0] < 0.5 * length])
    with pytest.raises(ValueError, match="counted in 3"):
        lay_out_on(GROOVE, UNEVEN, 4, bars=2)
