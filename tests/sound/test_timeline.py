"""Sounds stand exactly where they were placed, however they are rendered, and never too loud."""

import io
import threading
import wave
from itertools import pairwise

import miniaudio
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import correlate

from playalong.sound import rendering
from playalong.sound.synth.click import Click, Kind, sample
from playalong.sound.timeline import (
    CEILING,
    KNEE,
    QUIET,
    RAMP_S,
    RATE,
    RISE_S,
    STOP_S,
    Timeline,
    limited,
)


class Tape:
    """A stream of an array (n, 2)."""

    def __init__(self, frames: np.ndarray) -> None:
        self._frames = frames

    def read(self, begin: int, count: int) -> np.ndarray:
        assert begin >= 0
        return self._frames[begin : begin + count]


def slope(length: int) -> np.ndarray:
    """A stereo sound that is different in every frame and on both sides."""
    left = np.linspace(1.0, 0.3, length, dtype=np.float32)
    return np.stack([left, -left[::-1]], axis=1)


def rendered(timeline: Timeline, frames: int, block: int = 480) -> np.ndarray:
    parts = []
    while frames:
        parts.append(timeline.render(min(block, frames)))
        frames -= len(parts[-1])
    return np.concatenate(parts)


@pytest.mark.parametrize("frame", [0, 1, 479, 480, 481, 12_345])
@pytest.mark.parametrize("kind", list(Kind))
def test_a_click_is_found_at_its_frame(kind, frame):
    """Cross-correlation (scipy.signal.correlate) peaks at the frame where it was placed."""
    click = sample(kind, 48_000)
    timeline = Timeline(level=1.0)
    timeline.place(frame, click, 0.5)
    heard = rendered(timeline, 24_000)
    for side in heard.T:
        assert int(correlate(side, click, "valid").argmax()) == frame
        assert not side[:frame].any()
        assert side[frame] != 0


@settings(max_examples=60, deadline=None)
@given(
    placed=st.lists(
        st.tuples(st.integers(0, 900), st.integers(1, 400), st.floats(-3.0, 3.0)), max_size=8
    ),
    cuts=st.sets(st.integers(1, 1499)),
)
def test_block_sizes_change_nothing(placed, cuts):
    """To the last bit, through the limiter, with sounds that overlap."""

    def timeline() -> Timeline:
        made = Timeline(level=0.5)
        for frame, length, gain in placed:
            made.place(frame, np.linspace(1.0, 0.3, length, dtype=np.float32), gain)
        return made

    edges = [0, *sorted(cuts), 1500]
    pieces = timeline()
    parts = [pieces.render(end - begin) for begin, end in pairwise(edges)]
    assert np.array_equal(np.concatenate(parts), timeline().render(1500))


@settings(deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-50, 300), st.lists(st.integers(-8, 8), min_size=1, max_size=60)),
        max_size=6,
    )
)
def test_what_is_heard_is_the_sum_of_what_was_placed(placed):
    """In eighths below the knee every sum is exact, so plain integers are the reference."""
    expected = np.zeros(400, np.int64)
    timeline = Timeline(level=1.0 / 128)
    for frame, sound in placed:
        timeline.place(frame, np.array(sound, np.float32))
        for number, value in enumerate(sound):
            if frame + number >= 0:
                expected[frame + number] += value
    assert np.array_equal(rendered(timeline, 400, 64)[:, 1] * 128, expected)


@settings(max_examples=60, deadline=None)
@given(
    placed=st.lists(
        st.tuples(
            st.integers(-50, 900),
            st.integers(0, 400),
            st.booleans(),
            st.lists(st.tuples(st.integers(-100, 1200), st.floats(0.0, 0.01)), max_size=2),
        ),
        max_size=6,
    ),
    level=st.floats(0.0, 1.0),
    cuts=st.sets(st.integers(1, 1999)),
)
def test_streams_fades_and_levels_are_the_same_in_every_block_size(placed, level, cuts):
    def timeline() -> Timeline:
        made = Timeline(level=0.9)
        made.level = level
        for frame, length, is_stream, fades in placed:
            sound = slope(length)
            handle = made.place(frame, Tape(sound) if is_stream else sound, 1.5)
            for at, seconds in fades:
                made.fade(handle, at, seconds)
        return made

    edges = [0, *sorted(cuts), 2000]
    pieces = timeline()
    parts = [pieces.render(end - begin) for begin, end in pairwise(edges)]
    assert np.array_equal(np.concatenate(parts), timeline().render(2000))


@settings(deadline=None)
@given(st.integers(0, 300), st.integers(0, 300))
def test_a_stream_sounds_as_the_array_does(frame, length):
    as_stream, as_array = Timeline(), Timeline()
    stream = as_stream.place(frame, Tape(slope(length)))
    array = as_array.place(frame, slope(length))
    assert np.array_equal(rendered(as_stream, 700, 64), rendered(as_array, 700, 64))
    assert stream.is_over
    assert array.is_over
    assert not as_stream.is_streaming


def test_as_soon_as_can_be_is_the_next_frame_to_be_rendered():
    timeline = Timeline(level=1.0)
    timeline.render(480)
    timeline.place(None, np.array([0.25], np.float32))
    assert np.flatnonzero(timeline.render(480)[:, 0]).tolist() == [0]


def test_a_faded_sound_falls_to_silence_evenly_and_is_over():
    timeline = Timeline(level=1.0)
    sound = timeline.place(10, np.full(48_000, 0.5, np.float32))
    timeline.fade(sound, 100, 0.01)
    heard = rendered(timeline, 960, 96)[:, 0]
    assert (heard[10:101] == 0.5).all()
    assert np.diff(heard[100:581]) == pytest.approx(-0.5 / 480, abs=1e-6)
    assert not heard[580:].any()
    assert sound.is_over


def test_a_fade_that_comes_late_begins_at_once_and_without_a_step():
    timeline = Timeline(level=1.0)
    sound = timeline.place(0, np.full(48_000, 0.5, np.float32))
    timeline.render(1000)
    timeline.fade(sound, 0, 0.01)
    heard = timeline.render(480)[:, 0]
    assert heard[0] == 0.5
    assert np.diff(heard) == pytest.approx(-0.5 / 480, abs=1e-6)


def test_of_two_fades_the_lower_counts_and_there_is_no_step():
    timeline = Timeline(level=1.0)
    sound = timeline.place(0, np.full(48_000, 0.5, np.float32))
    timeline.fade(sound, 0, 0.1)
    timeline.fade(sound, 2400, 0.01)
    heard = timeline.render(4800)[:, 0]
    assert heard[2400] == pytest.approx(0.25)
    assert (np.diff(heard) <= 0).all()
    assert np.diff(heard).min() >= -0.5 / 480 - 1e-6
    assert not heard[2880:].any()


def test_a_sound_that_is_faded_before_it_begins_is_never_heard():
    timeline = Timeline(level=1.0)
    sound = timeline.place(1000, np.ones(480, np.float32))
    timeline.fade(sound, 0, 0.01)
    assert not timeline.render(2000).any()
    assert sound.is_over


def test_clear_fades_a_stream_that_has_begun():
    timeline = Timeline(level=1.0)
    stream = timeline.place(0, Tape(np.full((480_000, 2), 0.25, np.float32)))
    coming = timeline.place(10_000, Tape(np.ones((48_000, 2), np.float32)))
    timeline.render(480)
    timeline.clear()
    assert coming.is_over
    heard = timeline.render(20_000)[:, 0]
    stop = round(STOP_S * 48_000)
    assert np.diff(heard[: stop + 1]) == pytest.approx(-0.25 / stop, abs=1e-6)
    assert not heard[stop:].any()
    assert stream.is_over
    assert not timeline.is_streaming


def test_a_stream_that_comes_too_late_rises_to_where_it_is():
    timeline = Timeline(level=1.0)
    timeline.render(1000)
    timeline.place(0, Tape(np.full((48_000, 2), 0.25, np.float32)))
    timeline.place(5000, Tape(np.full((100, 2), 0.25, np.float32)))
    heard = timeline.render(10_000)[:, 0]
    rise = round(RISE_S * 48_000)
    assert heard[0] == 0.0
    assert np.diff(heard[: rise + 1]) == pytest.approx(0.25 / rise, abs=1e-6)
    assert heard[rise:4000] == pytest.approx(0.25)
    assert heard[4000] == pytest.approx(0.5)  # from its own beginning: as it is


def test_a_new_level_is_reached_evenly_and_from_where_the_last_one_had_come():
    timeline = Timeline(level=0.2)
    timeline.place(0, np.full(48_000, 0.5, np.float32))
    assert timeline.render(480) == pytest.approx(0.1)
    ramp = round(RAMP_S * 48_000)
    timeline.level = 0.4
    up = timeline.render(ramp // 2)[:, 0]
    assert np.diff(up) == pytest.approx(0.1 / ramp, abs=1e-6)
    timeline.level = 0.0
    assert timeline.level == 0.0
    down = timeline.render(2 * ramp)[:, 0]
    assert down[0] == pytest.approx(0.15)
    assert np.diff(down[: ramp + 1]) == pytest.approx(-0.15 / ramp, abs=1e-6)
    assert not down[ramp:].any()


def test_left_and_right_stay_apart():
    timeline = Timeline(level=1.0)
    timeline.place(2, np.array([[0.25, -0.5]], np.float32))
    assert timeline.render(4).tolist() == [[0, 0], [0, 0], [0.25, -0.5], [0, 0]]


def test_what_comes_too_late_is_left_out():
    timeline = Timeline(level=1.0)
    timeline.render(100)
    timeline.place(50, np.linspace(0.1, 0.2, 100, dtype=np.float32))
    timeline.place(0, np.ones(100, np.float32))
    heard = timeline.render(100)[:, 0]
    assert np.array_equal(heard[:50], np.linspace(0.1, 0.2, 100, dtype=np.float32)[50:])
    assert not heard[50:].any()


def test_clear_takes_away_what_has_not_begun_and_lets_the_rest_ring_out():
    timeline = Timeline(level=1.0)
    timeline.place(0, np.full(150, 0.25, np.float32))
    timeline.place(200, np.full(100, 0.25, np.float32))
    timeline.render(100)
    timeline.clear()
    heard = timeline.render(300)[:, 0]
    assert np.count_nonzero(heard) == 50
    timeline.place(500, np.full(10, 0.25, np.float32))
    assert np.count_nonzero(timeline.render(200)[:, 0]) == 10


def test_one_thread_places_while_another_renders():
    timeline, pulse = Timeline(level=1.0), np.array([0.25], np.float32)
    blocks, far = 5000, 10_000_000
    for number in range(blocks):
        timeline.place(number * 16 + 5, pulse)
    placing = threading.Thread(
        target=lambda: [timeline.place(far + number, pulse) for number in range(blocks)]
    )
    placing.start()
    near = np.concatenate([timeline.render(16) for _ in range(blocks)])[:, 0]
    placing.join()
    assert np.array_equal(np.flatnonzero(near), np.arange(blocks) * 16 + 5)
    timeline.rendered = far
    assert np.count_nonzero(timeline.render(blocks + 100)[:, 0]) == blocks


@settings(deadline=None)
@given(st.lists(st.floats(-1e6, 1e6, width=32), min_size=2, max_size=50))
def test_the_limiter_keeps_its_ceiling_and_order_and_leaves_soft_sound_alone(values):
    block = np.array([sorted(values)] * 2, np.float32).T
    out = limited(block)
    assert out.dtype == np.float32
    assert np.abs(out).max() <= np.float32(CEILING)
    soft = np.abs(block) <= KNEE
    assert np.array_equal(out[soft], block[soft])
    assert (np.diff(out, axis=0) >= 0).all()
    assert np.array_equal(limited(-block), -out)


def test_the_limiter_bends_without_a_corner():
    sizes = np.linspace(KNEE - 0.01, KNEE + 0.01, 2001)
    out = limited(np.stack([sizes, sizes], axis=1).astype(np.float64))[:, 0]
    slopes = np.diff(out) / np.diff(sizes)
    assert np.abs(np.diff(slopes)).max() < 0.001
    assert slopes[0] == pytest.approx(1.0)


def test_the_ceiling_is_one_decibel_under_full():
    assert 20 * np.log10(CEILING) == pytest.approx(-1.0)
    timeline = Timeline(level=1.0)
    for _ in range(20):
        timeline.place(0, sample(Kind.ONE, 48_000), 4.0)
    heard = np.abs(timeline.render(4800)).max()
    assert KNEE < heard <= np.float32(CEILING)


def test_it_starts_quiet():
    """The loudest click, as it comes out of a new timeline, is 18 dB or more under full scale."""
    timeline = Timeline()
    timeline.place(0, sample(Kind.ONE, 48_000))
    peak = float(np.abs(timeline.render(4800)).max())
    assert timeline.level == QUIET
    assert -24 < 20 * np.log10(peak) <= -18


def test_a_wave_file_decoded_again_is_the_same():
    """miniaudio's decoder, in C, gives back what the wave module wrote of what was rendered."""
    timeline = Timeline(level=1.0)
    timeline.place(1000, sample(Kind.BEAT, 48_000))
    written = np.round(timeline.render(4800) * 32767).astype("<i2")
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(2)
        out.setsampwidth(2)
        out.setframerate(timeline.rate)
        out.writeframes(written.tobytes())
    decoded = miniaudio.decode(file.getvalue(), nchannels=2, sample_rate=48_000)
    assert decoded.num_frames == 4800
    assert np.array_equal(np.array(decoded.samples).reshape(-1, 2), written)
    assert int(np.flatnonzero(written[:, 0])[0]) in range(1000, 1003)  # its first frame is faint


class Recording:
    """Three seconds of sound as a stream, from 0.5 s on."""

    time_s = 0.5

    def frames(self, rate: int) -> Tape:
        return Tape(np.full((3 * rate, 2), 0.5, np.float32))


def test_a_file_makes_each_sound_when_its_block_comes():
    """Hundreds of cymbals that ring for seconds at once would be more than memory holds."""
    made = []

    class Cymbal:
        def __init__(self, time_s: float) -> None:
            self.time_s = time_s

        def frames(self, rate: int) -> np.ndarray:
            made.append(self.time_s)
            return np.full(8 * rate, 0.001, np.float32)

    sounds = [Cymbal(time_s) for time_s in (40.0, 0.5, 0.25, 20.0, 0.0)]
    parts = rendering.blocks(sounds)
    first = next(parts)
    assert made == [0.0, 0.25, 0.5]
    assert len(first) + sum(len(part) for part in parts) == 48 * rendering.RATE
    assert made == [0.0, 0.25, 0.5, 20.0, 40.0]


def test_a_file_ends_with_its_stream_and_may_be_written_in_blocks(tmp_path):
    sounds = [Click(0.5, Kind.ONE), Recording()]
    heard = rendering.rendered(sounds, level=0.5)
    assert len(heard) >= 3 * RATE
    assert (heard[RATE : 3 * RATE] == 0.25).all()
    assert not heard[3 * RATE :].any()
    whole, blocks = tmp_path / "whole.wav", tmp_path / "blocks.wav"
    rendering.write_wave(whole, heard)
    rendering.write_wave(blocks, rendering.blocks(sounds, level=0.5))
    assert whole.read_bytes() == blocks.read_bytes()
