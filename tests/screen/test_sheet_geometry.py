from itertools import pairwise

import pygame
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.grading.loudness import Band, level_db
from playalong.pattern.voices import VOICES
from playalong.screen.sheet.geometry import GAP, SOFTEST, Geometry, height, height_of, nearest, rows

times_s = st.floats(0.0, 3600.0)
tolerances_s = st.floats(0.001, 0.2)
scales = st.floats(20.0, 2000.0)
velocities = st.floats(1.0, 127.0)


def geometry(px_per_s: float) -> Geometry:
    return Geometry(
        now=400,
        px_per_s=px_per_s,
        origin_s=-1.5,
        rows=rows(("hi-hat", "snare", "kick"), 60, 500, gap=GAP),
    )


@given(times_s, tolerances_s, scales)
def test_a_hit_that_is_just_on_time_lies_on_the_edge_of_its_box(time_s, tolerance_s, scale):
    sheet = geometry(scale)
    box = sheet.box(time_s, tolerance_s, (100, 140))
    assert sheet.x(time_s - tolerance_s) == box.left
    assert sheet.x(time_s + tolerance_s) == box.right - 1


@given(times_s, tolerances_s, scales)
def test_a_box_is_as_wide_as_the_tolerance_to_a_pixel(time_s, tolerance_s, scale):
    box = geometry(scale).box(time_s, tolerance_s, (100, 140))
    assert abs(box.width - 1 - 2 * tolerance_s * scale) <= 1.0


@given(times_s, scales, st.floats(0.0, 10.0))
def test_equal_times_are_equal_pixels_everywhere(time_s, scale, later_s):
    sheet = geometry(scale)
    moved = sheet.x(time_s + later_s) - sheet.x(time_s)
    assert abs(moved - later_s * scale) <= 1.0


@given(times_s, scales)
def test_what_comes_now_lies_on_the_now_line(now_s, scale):
    sheet = geometry(scale)
    assert sheet.x(now_s) - sheet.left(now_s) == sheet.now


@given(velocities, velocities)
def test_louder_is_never_lower(one, other):
    row = geometry(250.0).rows["snare"]
    softer, louder = sorted((one, other))
    assert row.y(height_of(louder)) <= row.y(height_of(softer))


@given(st.floats(SOFTEST, 126.0))
def test_a_velocity_more_is_higher(velocity):
    assert height_of(velocity + 1) > height_of(velocity)


@given(velocities)
def test_height_follows_the_level(velocity):
    assert height_of(velocity) == pytest.approx(height(level_db(velocity)))


def test_rows_end_at_the_softest_and_the_loudest():
    assert height_of(127.0) == 1.0
    assert height_of(SOFTEST) == pytest.approx(0.0, abs=1e-9)
    assert height_of(1.0) == 0.0


@given(velocities, velocities, velocities)
def test_a_hit_of_the_right_loudness_lies_in_the_height_of_its_box(one, other, velocity):
    row = geometry(250.0).rows["kick"]
    band = Band(min(one, other), max(one, other))
    top, bottom = row.span(band)
    if band.low <= velocity <= band.high:
        assert top <= row.y(height_of(velocity)) <= bottom


@given(st.lists(st.sampled_from([v.name for v in VOICES]), min_size=1, unique=True))
def test_rows_lie_in_order_and_do_not_touch(voices):
    laid = list(rows(voices, 60, 500, gap=GAP).values())
    assert [row.voice for row in laid] == voices
    assert laid[0].top == 60
    assert laid[-1].bottom == 500
    assert all(row.top < row.bottom for row in laid)
    assert all(upper.bottom < lower.top for upper, lower in pairwise(laid))


@given(st.integers(-50, 150), st.integers(-50, 150))
def test_the_nearest_point_of_a_box(x, y):
    box = pygame.Rect(10, 20, 30, 40)
    found = nearest(box, (x, y))
    assert box.collidepoint(found)
    pixels = [(px, py) for px in range(10, 40) for py in range(20, 60)]
    least = min((px - x) ** 2 + (py - y) ** 2 for px, py in pixels)
    assert (found[0] - x) ** 2 + (found[1] - y) ** 2 == least
