import pygame
import pytest

from playalong.grading.gauges import GhostGauge, SteadinessGauge, TimingGauge
from playalong.grading.loudness import level_db
from playalong.grading.measures.steadiness import FASTER, SLOWER
from playalong.screen.base.pen import Pen
from playalong.screen.base.theme import LIGHT
from playalong.screen.sheet import gauges
from playalong.screen.sheet.geometry import DOT

RECT = pygame.Rect(20, 20, 400, 130)


@pytest.fixture
def pen(theme) -> Pen:
    surface = pygame.Surface((1280, 720))
    surface.fill(theme.colours.paper)
    return Pen(surface, theme)


def coloured(pen: Pen, colour: tuple[int, int, int]) -> list[tuple[int, int]]:
    return [
        (x, y)
        for x in range(RECT.left, RECT.right)
        for y in range(RECT.top + 32, RECT.bottom - 20)
        if all(abs(a - b) <= 2 for a, b in zip(pen.surface.get_at((x, y)), colour, strict=False))
    ]


def test_timing_says_mean_and_spread(pen, written):
    gauge = TimingGauge()
    for error_ms in (-5.0, 17.0):
        gauge.add(error_ms)
    gauges.draw_timing(pen, RECT, gauge)
    assert "6 ms behind, spread 11" in [text.words for text in written]
    assert "50 early" in [text.words for text in written]
    assert "50 late" in [text.words for text in written]


@pytest.mark.parametrize("error_ms", [-44.0, -20.0, 12.0, 40.0])
def test_a_hit_is_a_dot_at_its_error_and_a_ring_outside_the_tolerance(pen, error_ms):
    gauge = TimingGauge()
    gauge.add(error_ms)
    gauges.draw_timing(pen, RECT, gauge)
    x = RECT.centerx + error_ms / 50 * RECT.width / 2
    off = [at for at, _ in coloured(pen, LIGHT.off)]
    if abs(error_ms) > gauge.tolerance_ms:
        assert (min(off) + max(off)) / 2 == pytest.approx(x, abs=2 * DOT)
    else:
        assert not off
        drawn = [at for at, _ in coloured(pen, LIGHT.ink) if abs(at - RECT.centerx) > 3]
        assert (min(drawn) + max(drawn)) / 2 == pytest.approx(x, abs=2 * DOT)


def test_hits_that_fall_together_are_stacked_in_the_row_of_their_limb(pen, written):
    gauge = TimingGauge(limbs=("hi-hat hand", "kick foot"))
    for _ in range(4):
        gauge.add(-20.0, "kick foot")
    gauge.add(20.0, "hi-hat hand")
    gauges.draw_timing(pen, RECT, gauge)
    names = {text.words: text.rect for text in written}
    assert {"hi-hat hand", "kick foot"} <= set(names)
    between = (names["hi-hat hand"].bottom + names["kick foot"].top) / 2
    ink = coloured(pen, LIGHT.ink)
    middle = (names["kick foot"].right + RECT.right) / 2
    kick = {y for x, y in ink if x < middle - 12}
    assert min(kick) > between
    assert max(kick) - min(kick) > 2 * DOT  # more than one high
    assert all(y < between for x, y in ink if x > middle + 20)


def test_the_band_of_timing_is_the_tolerance(pen):
    gauges.draw_timing(pen, RECT, TimingGauge(tolerance_ms=20.0))
    band = [x for x, _ in coloured(pen, LIGHT.band)]
    assert max(band) - min(band) + 1 == pytest.approx(RECT.width * 20 / 50, abs=2)


def test_an_error_beyond_the_axis_stands_at_its_end(pen):
    gauge = TimingGauge()
    gauge.add(400.0)
    gauges.draw_timing(pen, RECT, gauge)
    assert min(x for x, _ in coloured(pen, LIGHT.off)) > RECT.right - 3 * DOT


def test_ghost_notes_are_told_against_the_strong_strokes(pen, written):
    gauge = GhostGauge(soft_db=level_db(50.0))
    for is_ghost in (True, False) * 3:
        gauge.add(is_ghost, -24.0 if is_ghost else -7.0)
    gauges.draw_ghosts(pen, RECT, gauge)
    assert "soft enough: 3 of 3" in [text.words for text in written]
    assert not coloured(pen, LIGHT.off)


def test_a_loud_ghost_note_has_the_second_colour(pen, written):
    gauge = GhostGauge(soft_db=level_db(50.0))
    gauge.add(True, -4.0)
    gauge.add(False, -7.0)
    gauges.draw_ghosts(pen, RECT, gauge)
    assert coloured(pen, LIGHT.off)
    told = next(text for text in written if "of 1" in text.words)
    assert (told.words, told.colour) == ("soft enough: 0 of 1", LIGHT.off)


def test_a_pattern_without_ghost_notes_has_no_gauge_for_them(pen, written):
    room = pygame.Rect(20, 20, 1200, 130)
    gauges.draw(
        pen,
        room,
        TimingGauge(),
        ghosts=GhostGauge(),
        steadiness=SteadinessGauge(written_bpm=84),
        has_ghosts=False,
    )
    names = {text.words for text in written if text.bold}
    assert names == {"Timing", "Tempo"}


def test_louder_strokes_stand_taller(pen):
    gauge = GhostGauge(soft_db=level_db(50.0))
    levels = [level_db(velocity) for velocity in (20.0, 60.0, 120.0)]
    for level in levels:
        gauge.add(False, level)
    gauges.draw_ghosts(pen, RECT, gauge)
    columns: dict[int, int] = {}
    for x, _ in coloured(pen, LIGHT.ink):
        columns[x] = columns.get(x, 0) + 1
    tall = list(dict.fromkeys(columns[x] for x in sorted(columns)))
    assert len(tall) == 3
    assert tall == sorted(tall)


@pytest.mark.parametrize("trend", [FASTER, SLOWER])
def test_a_drift_is_told_in_the_second_colour(pen, written, trend):
    gauge = SteadinessGauge(
        written_bpm=84.0,
        course=[(0, 84.0), (1, 85.0), (2, 85.9)],
        trend=trend,
        first_bpm=84.0,
        last_bpm=85.9,
    )
    gauges.draw_steadiness(pen, RECT, gauge)
    told = next(text for text in written if "84.0" in text.words)
    assert (told.words, told.colour) == (f"{trend}: 84.0 to 85.9", LIGHT.off)
    assert {"bar 1", "bar 3"} <= {text.words for text in written}


def test_a_steady_tempo_is_told_quietly(pen, written):
    gauge = SteadinessGauge(written_bpm=84.0, course=[(3, 84.1), (4, 84.3)])
    gauges.draw_steadiness(pen, RECT, gauge)
    told = next(text for text in written if "bpm" in text.words)
    assert (told.words, told.colour) == ("holds, 84.2 bpm", LIGHT.quiet)


def test_a_faster_tempo_lies_higher(pen):
    gauge = SteadinessGauge(written_bpm=84.0, course=[(0, 82.0), (1, 86.0)])
    gauges.draw_steadiness(pen, RECT, gauge)
    ink = sorted(coloured(pen, LIGHT.ink))
    assert ink[0][1] > ink[-1][1]


def test_where_nothing_is_known_a_kind_word_is_said(pen, written):
    gauges.draw(
        pen,
        pygame.Rect(20, 20, 1200, 130),
        TimingGauge(),
        ghosts=GhostGauge(),
        steadiness=SteadinessGauge(written_bpm=84),
    )
    assert [text.words for text in written if text.words.startswith("play")] == [
        "play a few strokes",
        "play a few strokes",
        "play a few bars",
    ]
