"""Sounds stand exactly where they were placed, however they are rendered."""

import io
import wave

import miniaudio
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import correlate

from playalong.sound.click import Kind, sample
from playalong.sound.timeline import CEILING, QUIET, Timeline, limited


def rendered(timeline: Timeline, frames: int, block: int = 480) -> np.ndarray:
    parts = []
    while frames:
        parts.append(timeline.render(min(block, frames)))
        frames -= len(parts[-1])
    return np.concatenate(parts)


def test_a_click_is_found_at_its_frame():
    """Cross-correlation (scipy.signal.correlate) peaks at the frame where it was placed."""
    click = sample(Kind.ONE, 48_000)
    for frame in (0, 1, 479, 480, 481, 12_345):
        timeline = Timeline(level=1.0)
        timeline.place(frame, click, 0.5)
        heard = rendered(timeline, 24_000)[:, 0]
        assert int(correlate(heard, click, "valid").argmax()) == frame
        assert not heard[:frame].any()


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 900), st.integers(1, 400)), max_size=8),
    st.lists(st.integers(1, 300), min_size=1, max_size=10),
)
def test_block_sizes_change_nothing(placed, blocks):
    def timeline() -> Timeline:
        made = Timeline(level=0.5)
        for number, (frame, length) in enumerate(placed):
            made.place(frame, np.linspace(0.1, 0.3, length, dtype=np.float32) * (number + 1) / 8)
        return made

    whole = timeline().render(1500)
    pieces, left = timeline(), 1500
    parts = []
    for number in range(1500):
        if not left:
            break
        parts.append(pieces.render(min(blocks[number % len(blocks)], left)))
        left -= len(parts[-1])
    assert np.array_equal(np.concatenate(parts), whole)


def test_what_lies_before_is_left_out_and_clear_takes_all_away():
    timeline = Timeline(level=1.0)
    timeline.render(100)
    timeline.place(50, np.full(100, 0.25, np.float32))
    heard = timeline.render(100)
    assert np.allclose(heard[:50], 0.25)
    assert not heard[50:].any()
    timeline.place(300, np.full(100, 0.25, np.float32))
    timeline.clear()
    assert not timeline.render(400).any()
    timeline.place(700, np.full(10, 0.25, np.float32))
    assert np.allclose(timeline.render(200)[100:110], 0.25)


@given(st.floats(-50.0, 50.0, width=32))
def test_the_limiter_never_passes_its_ceiling_and_leaves_soft_sound_alone(value):
    out = float(limited(np.full((1, 2), value, np.float32))[0, 0])
    assert abs(out) <= CEILING + 1e-6
    if abs(value) <= 0.7 * CEILING:
        assert out == value
    assert out * value >= 0


def test_it_starts_quiet():
    assert Timeline().level == QUIET
    assert 20 * np.log10(QUIET) <= -12


def test_a_wave_file_decoded_again_is_the_same():
    """miniaudio (its dr_wav decoder) gives back what was rendered, to 16 bits."""
    timeline = Timeline(level=1.0)
    timeline.place(1000, sample(Kind.BEAT, 48_000))
    heard = timeline.render(4800)
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(2)
        out.setsampwidth(2)
        out.setframerate(48_000)
        out.writeframes((heard * 32767).astype("<i2").tobytes())
    decoded = miniaudio.decode(file.getvalue(), nchannels=2, sample_rate=48_000)
    again = np.array(decoded.samples, np.float32).reshape(-1, 2) / 32767
    assert np.abs(again - heard).max() < 1.0 / 32767
