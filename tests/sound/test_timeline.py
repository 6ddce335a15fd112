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

from playalong.sound.click import Kind, sample
from playalong.sound.timeline import CEILING, KNEE, QUIET, Timeline, limited


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
