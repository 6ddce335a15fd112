from dataclasses import replace
from fractions import Fraction
from functools import partial

import numpy as np
import pygame
import pytest

from playalong.grading.graces import Ornament
from playalong.grading.loudness import Loudness
from playalong.grading.matching.windows import HALF_NS_PER_S, tolerances
from playalong.grading.verdicts import HiHat, Verdict, VerdictEvent
from playalong.midi.hits import Hit
from playalong.pattern.meter import Meter
from playalong.pattern.model import Bar, Dynamic, Hand, Stroke
from playalong.screen.base.theme import DARK, LIGHT, Theme
from playalong.screen.sheet.answers import Answers
from playalong.screen.sheet.count import Count
from playalong.screen.sheet.geometry import GAP, Geometry, rows
from playalong.screen.sheet.painting import HEAD, Painting
from playalong.screen.sheet.tile_cache import PIECE, Strip

from .screen_samples import RULES, a_pattern, a_run, answering, crowded_bar, groove_bar, numbered

HEIGHT = 460
PX_PER_S = 266.0
METER = Meter.parse("4/4")


class Sheet:
    """A run, painted piece by piece on one long surface that begins at pixel ``first``."""

    def __init__(self, theme: Theme, pattern=None, unit: float = 1.0) -> None:
        self.targets, bars = a_run(2, pattern)
        self.answers = Answers(self.targets, RULES)
        self._count, self._theme, self._unit = Count(self.targets, bars), theme, unit

    def say(self, event: VerdictEvent, hit: Hit | None = None) -> None:
        if hit is not None and event.hit is not None:
            self.answers.hit(event.hit, hit)
        self.answers.judged(event)

    @property
    def painting(self) -> Painting:
        laid = rows(self.answers.voices, HEAD, HEIGHT - 2, gap=GAP)
        geometry = Geometry(now=400, px_per_s=PX_PER_S, origin_s=0.0, rows=laid)
        return Painting(self.answers, self._count, geometry, theme=self._theme, unit=self._unit)

    def painted(self, first: int = -PIECE, pieces: int = 6) -> pygame.Surface:
        whole = pygame.Surface((PIECE * pieces, HEIGHT))
        for number in range(pieces):
            piece = pygame.Surface((PIECE, HEIGHT))
            for paint in (self.painting.prepare, self.painting.paint):
                paint(piece, first + number * PIECE)
            whole.blit(piece, (number * PIECE, 0))
        return whole

    def box(self, target: int) -> pygame.Rect:
        return self.painting.box(target).move(PIECE, 0)

    def at(self, hit: int) -> tuple[int, int]:
        x, y = self.painting.at(self.answers.played[hit])
        return x + PIECE, y


@pytest.fixture
def sheet(theme) -> Sheet:
    return Sheet(theme)


def share(surface: pygame.Surface, box: pygame.Rect, colour: tuple[int, int, int]) -> float:
    """The share of a box that has this colour, but for a rounding where smooth marks mix it."""
    pixels = pygame.surfarray.array3d(surface.subsurface(box.clip(surface.get_rect())))
    return float((abs(pixels.astype(int) - np.array(colour)) <= 4).all(axis=2).mean())


def is_like(surface: pygame.Surface, at: tuple[int, int], colour: tuple[int, int, int]) -> bool:
    return share(surface, pygame.Rect(*at, 1, 1), colour) == 1.0


def around(at: tuple[int, int], reach: int) -> pygame.Rect:
    return pygame.Rect(at[0] - reach, at[1] - reach, 2 * reach + 1, 2 * reach + 1)


def test_a_target_ahead_is_a_pale_box(sheet):
    target = numbered(sheet.targets, "kick")
    surface, box = sheet.painted(), sheet.box(target)
    assert share(surface, box.inflate(-4, -4), LIGHT.ahead) == 1.0
    assert share(surface, box.inflate(6, 6), LIGHT.off) == 0.0


def test_a_missed_target_is_hatched_in_the_second_colour(sheet):
    target = numbered(sheet.targets, "kick")
    sheet.say(VerdictEvent(verdict=Verdict.MISSED, target=target, hit=None))
    surface, inside = sheet.painted(), sheet.box(target).inflate(-4, -4)
    pixels = pygame.surfarray.array3d(surface.subsurface(inside)).astype(int)
    # Lines are red, what lies between them is paper: their red and blue lie far apart or not.
    coloured = pixels[..., 0] - pixels[..., 2] > 80
    assert 0.1 < coloured.mean() < 0.7
    assert coloured.any(axis=0).all()
    assert share(surface, inside, LIGHT.ahead) == 0.0


def test_a_hit_that_is_right_is_solid_ink_where_it_fell(sheet):
    target = numbered(sheet.targets, "kick")
    event = VerdictEvent(
        verdict=Verdict.ON_TIME, target=target, hit=0, error_ms=12.0, loudness=Loudness.RIGHT
    )
    sheet.say(event, answering(sheet.targets, target, 12.0))
    surface, at = sheet.painted(), sheet.at(0)
    assert sheet.box(target).collidepoint(at)
    assert share(surface, around(at, 2), LIGHT.ink) == 1.0
    assert share(surface, sheet.box(target).inflate(30, 30), LIGHT.off) == 0.0


@pytest.mark.parametrize(("late_ms", "verdict"), [(80.0, Verdict.LATE), (-80.0, Verdict.EARLY)])
def test_a_hit_off_time_is_an_open_ring_with_a_line_to_its_box(sheet, late_ms, verdict):
    target = numbered(sheet.targets, "kick")
    target = next(t for t in range(target + 1, 99) if sheet.targets.names[t] == "kick")
    event = VerdictEvent(
        verdict=verdict, target=target, hit=0, error_ms=late_ms, loudness=Loudness.RIGHT
    )
    sheet.say(event, answering(sheet.targets, target, late_ms))
    surface, (x, y), box = sheet.painted(), sheet.at(0), sheet.box(target)
    assert not box.collidepoint(x, y)
    assert is_like(surface, (x, y), LIGHT.row)
    between = box.right if late_ms > 0 else box.left - 1
    radius = sheet.painting.radius
    edge = x - radius - 1 if late_ms > 0 else x + radius + 1
    line = pygame.Rect(min(between, edge), y, abs(between - edge) + 1, 1)
    assert share(surface, line, LIGHT.off) == 1.0


@pytest.mark.parametrize(("velocity", "loudness"), [(90.0, Loudness.TOO_LOUD)])
def test_a_ghost_note_too_loud_is_a_ring_above_its_box(sheet, velocity, loudness):
    target = numbered(sheet.targets, "snare", Dynamic.GHOST)
    event = VerdictEvent(
        verdict=Verdict.ON_TIME, target=target, hit=0, error_ms=0.0, loudness=loudness
    )
    sheet.say(event, answering(sheet.targets, target, 0.0, velocity=velocity))
    surface, (x, y), box = sheet.painted(), sheet.at(0), sheet.box(target)
    assert y < box.top
    assert is_like(surface, (x, y), LIGHT.row)
    assert is_like(surface, (x, (y + box.top) // 2 + 2), LIGHT.off)


def test_an_extra_is_a_cross_in_its_row(sheet):
    sheet.say(VerdictEvent(verdict=Verdict.EXTRA, target=None, hit=0), Hit(1.03, "kick", 60.0))
    surface, at = sheet.painted(), sheet.at(0)
    assert share(surface, around(at, 1), LIGHT.off) > 0.3
    # Nothing lies above, below or beside the middle of a cross, near its ends.
    for x, y in ((0, -4), (0, 4), (-4, 0), (4, 0)):
        assert is_like(surface, (at[0] + x, at[1] + y), LIGHT.row)


def test_a_wrong_drum_joins_its_cross_to_the_hatched_box(sheet):
    target = numbered(sheet.targets, "kick")
    hit = Hit(float(sheet.targets.time_s[target]), "floor-tom", 60.0)
    sheet.say(VerdictEvent(verdict=Verdict.WRONG_DRUM, target=target, hit=0), hit)
    surface, (x, y), box = sheet.painted(), sheet.at(0), sheet.box(target)
    assert y < box.top
    assert share(surface, pygame.Rect(x, y, 1, box.top - y), LIGHT.off) == 1.0
    assert share(surface, box, LIGHT.off) > 0.1


def test_an_optional_target_has_a_broken_outline(sheet):
    optional = int(np.flatnonzero(sheet.targets.optional)[0])
    plain = numbered(sheet.targets, "kick")
    surface = sheet.painted(pieces=9)
    for target, whole in ((optional, False), (plain, True)):
        box = sheet.box(target)
        side = share(surface, pygame.Rect(box.left, box.top, 1, box.height), LIGHT.ahead_edge)
        assert (side == 1.0) is whole
        assert side > 0.4


def test_grace_strokes_stand_left_of_the_box(sheet):
    graced = int(np.flatnonzero(sheet.targets.graces)[0])
    surface, box = sheet.painted(pieces=9), sheet.box(graced)
    left_of = pygame.Rect(box.left - 9, box.centery - 2, 8, 4)
    right_of = pygame.Rect(box.right + 1, box.centery - 2, 8, 4)
    assert share(surface, left_of, LIGHT.ahead_edge) > 0.1
    assert share(surface, right_of, LIGHT.ahead_edge) == 0.0


def test_a_grace_stroke_is_a_smaller_dot_and_leaves_its_target_waiting(sheet):
    graced = int(np.flatnonzero(sheet.targets.graces)[0])
    grace = VerdictEvent(verdict=Verdict.ON_TIME, target=graced, hit=0, error_ms=-30.0, grace=True)
    sheet.say(grace, answering(sheet.targets, graced, -60.0))
    surface, at, radius = sheet.painted(pieces=9), sheet.at(0), sheet.painting.radius
    assert is_like(surface, at, LIGHT.ink)
    assert not is_like(surface, (at[0] - radius, at[1]), LIGHT.ink)
    assert share(surface, sheet.box(graced).inflate(-4, -4), LIGHT.ahead) == 1.0


def test_an_open_hi_hat_has_a_circle_above_its_box(sheet):
    def circled(target: int) -> bool:
        box = sheet.box(target)
        above = pygame.Rect(box.centerx - 6, box.top - 12, 12, 11)
        return share(surface, above, LIGHT.ahead_edge) > 0.05

    surface = sheet.painted(pieces=9)
    hats = [t for t in range(len(sheet.targets)) if sheet.targets.names[t] == "hi-hat"][:8]
    assert [circled(hat) for hat in hats] == [False] * 7 + [True]


@pytest.mark.parametrize("unit", [0.75, 1.0, 2.0])
def test_pieces_meet_without_a_seam(theme, unit):
    """The same stretch, once in the middle of a piece and once across two, is the same."""
    sheet = Sheet(theme, unit=unit)
    for target, verdict in enumerate((Verdict.MISSED, Verdict.ON_TIME, Verdict.LATE) * 4):
        hit = None if verdict is Verdict.MISSED else answering(sheet.targets, target, 70.0)
        number = None if hit is None else target
        sheet.say(
            VerdictEvent(
                verdict=verdict, target=target, hit=number, error_ms=70.0, loudness=Loudness.RIGHT
            ),
            hit,
        )
    reference = pygame.surfarray.array3d(sheet.painted(0, 8))
    for shift in range(8, PIECE, 24):
        other = pygame.surfarray.array3d(sheet.painted(shift, 7))
        assert np.array_equal(other, reference[shift : shift + other.shape[0]])


def heard_at(sheet: Sheet, hit: int) -> tuple[int, int]:
    event = sheet.answers.of_hit[hit]
    x, y = sheet.painting.heard_at(sheet.answers.played[hit], event)
    return x + PIECE, y


@pytest.mark.parametrize("velocity", [20.0, 60.0, 120.0])
@pytest.mark.parametrize("loudness", list(Loudness))
def test_a_mark_lies_as_loudness_is_heard_whatever_the_kit_sends(sheet, velocity, loudness):
    """In its box, above it or below it: loudness is heard against the player's own strokes."""
    target = numbered(sheet.targets, "kick")
    event = VerdictEvent(
        verdict=Verdict.ON_TIME, target=target, hit=0, error_ms=0.0, loudness=loudness
    )
    sheet.say(event, answering(sheet.targets, target, 0.0, velocity=velocity))
    (_, y), box = heard_at(sheet, 0), sheet.box(target)
    where = Loudness.TOO_LOUD if y < box.top else Loudness.TOO_SOFT
    assert (Loudness.RIGHT if box.top <= y < box.bottom else where) is loudness


def test_the_boxes_of_fast_notes_are_narrow(theme):
    """As wide as their tolerance: two fifths of the way to a neighbour at most."""
    strokes = [Stroke(at=Fraction(step, 32), voice="snare") for step in range(4)]
    sheet = Sheet(theme, a_pattern([groove_bar(), Bar(METER, tuple(strokes), (8, 1, 1, 1))]))
    fast = [t for t in range(len(sheet.targets)) if sheet.targets.bar[t] == 1]
    tolerance = tolerances(sheet.targets, RULES.tolerance_ms) / HALF_NS_PER_S
    assert len(fast) == 4
    assert tolerance[fast[0]] < RULES.tolerance_ms / 1000.0
    for target in fast:
        assert sheet.box(target).width == pytest.approx(2 * tolerance[target] * PX_PER_S, abs=2)


@pytest.mark.parametrize("hi_hat", [HiHat.NOT_OPEN, HiHat.NOT_CLOSED])
def test_a_hi_hat_not_as_written_has_a_mark_of_its_own_above_it(sheet, hi_hat):
    """A circle where open was played, a plus where closed was: shape tells, not colour alone."""
    target = numbered(sheet.targets, "hi-hat")
    event = VerdictEvent(
        verdict=Verdict.ON_TIME, target=target, hit=0, error_ms=0.0, loudness=Loudness.RIGHT
    )
    sheet.say(event, answering(sheet.targets, target))
    right = sheet.painted()
    sheet.say(replace(event, hi_hat=hi_hat))
    wrong, (x, y) = sheet.painted(), heard_at(sheet, 0)
    assert is_like(right, (x, y), LIGHT.ink)
    assert not is_like(wrong, (x, y), LIGHT.ink)  # a ring
    changed = pygame.surfarray.array3d(right) != pygame.surfarray.array3d(wrong)
    columns, lines = np.nonzero(changed.any(axis=2))
    above = lines < y - sheet.painting.radius - 1
    columns, lines = columns[above], lines[above]
    assert abs(columns - x).max() < 8
    middle = (round(columns.mean()), round((lines.min() + lines.max()) / 2))
    # A plus is filled in its middle, a circle is not.
    assert is_like(wrong, middle, LIGHT.off) is (hi_hat is HiHat.NOT_OPEN)


def test_grace_strokes_not_as_they_should_be_are_rings_and_missing_ones_gaps(theme):
    sheet = Sheet(
        theme,
        a_pattern([Bar(METER, (Stroke(at=Fraction(1, 4), voice="snare", graces=1),), (1,) * 4)]),
    )
    main = VerdictEvent(
        verdict=Verdict.ON_TIME,
        target=0,
        hit=1,
        error_ms=0.0,
        loudness=Loudness.RIGHT,
        ornament=Ornament.RIGHT,
    )
    grace = VerdictEvent(verdict=Verdict.ON_TIME, target=0, hit=0, error_ms=-40.0, grace=True)
    at_s = float(sheet.targets.time_s[0])
    sheet.say(grace, Hit(at_s - 0.04, "snare", 40.0))
    sheet.say(main, Hit(at_s, "snare", 84.0))
    at = sheet.at(0)
    assert is_like(sheet.painted(), at, LIGHT.ink)
    sheet.say(replace(main, ornament=Ornament.WIDE))
    assert not is_like(sheet.painted(), at, LIGHT.ink)
    assert share(sheet.painted(), around(at, 4), LIGHT.off) > 0.0
    box = sheet.box(0)
    tick = pygame.Rect(box.left - 6, box.centery - box.height // 4, 5, box.height // 2)
    whole = share(sheet.painted(), tick, LIGHT.off)
    sheet.say(replace(main, ornament=Ornament.GRACE_MISSING))
    assert whole == 0.0 < share(sheet.painted(), tick, LIGHT.off)


@pytest.mark.parametrize("left_handed", [False, True])
def test_the_hand_that_plays_stands_under_its_stroke(theme, written, left_handed):
    strokes = [
        Stroke(at=Fraction(step, 4), voice="snare", hand=Hand("RRLR"[step])) for step in range(4)
    ]
    sheet = Sheet(theme, a_pattern([Bar(METER, tuple(strokes), (1,) * 4)]))
    sheet.answers.rules = replace(RULES, left_handed=left_handed)
    row = sheet.painting
    written.clear()
    surface = pygame.Surface((PIECE, HEIGHT))
    row.prepare(surface, 0)
    row.paint(surface, 0)
    shown = {(one.words, one.rect.centerx) for one in written if one.words in ("R", "L")}
    for target, hand in enumerate("LLRL" if left_handed else "RRLR"):
        box = sheet.painting.box(target)
        if box.right < PIECE:
            assert any(word == hand and abs(x - box.centerx) <= 2 for word, x in shown)
    assert shown


def test_the_dark_sheet_shows_the_same_in_its_own_colours(fonts):
    sheet = Sheet(Theme.load(fonts, dark=True))
    target = numbered(sheet.targets, "kick")
    sheet.say(
        VerdictEvent(
            verdict=Verdict.ON_TIME, target=target, hit=0, error_ms=0.0, loudness=Loudness.RIGHT
        ),
        answering(sheet.targets, target),
    )
    assert share(sheet.painted(), around(sheet.at(0), 2), DARK.ink) == 1.0


@pytest.mark.parametrize("unit", [0.76, 1.0, 2.0])
def test_no_word_of_the_count_touches_another(theme, written, unit):
    pattern = a_pattern([groove_bar(), crowded_bar()])
    sheet = Sheet(theme, pattern, unit)
    surface = pygame.Surface((PIECE, HEIGHT))
    for number in range(12):
        written.clear()
        sheet.painting.prepare(surface, number * PIECE)
        sheet.painting.paint(surface, number * PIECE)
        for place, one in enumerate(written):
            for other in written[place + 1 :]:
                assert not one.rect.colliderect(other.rect), (one.words, other.words)


def test_a_strip_paints_a_piece_again_only_where_it_was_touched():
    prepared, painted = [], []

    def prepare(surface: pygame.Surface, first: int) -> None:
        prepared.append(first)
        surface.fill((0, 0, first // PIECE % 256))

    def paint(surface: pygame.Surface, first: int) -> None:
        painted.append(first)
        assert surface.get_at((1, 1))[:3] == (0, 0, first // PIECE % 256)  # upon fresh paper
        surface.set_at((1, 1), (9, 9, 9))

    strip, surface = Strip(10, prepare, paint), pygame.Surface((3 * PIECE, 10))
    show = partial(strip.show, surface, surface.get_rect())
    show(0)
    show(0)
    assert painted == [0, PIECE, 2 * PIECE]
    strip.touch(PIECE + 3, PIECE + 9)
    show(0)
    assert painted[3:] == [PIECE]
    assert prepared == [0, PIECE, 2 * PIECE]
    show(PIECE // 2)
    assert painted[4:] == [3 * PIECE]
    assert surface.get_at((0, 5))[2] == 0
    assert surface.get_at((PIECE // 2, 5))[2] == 1
    show(-PIECE)
    assert surface.get_at((PIECE + 1, 5))[2] == 0


def test_a_strip_stays_inside_its_rectangle():
    def grey_all(piece: pygame.Surface, _: int) -> None:
        piece.fill((9, 9, 9))

    strip, surface = Strip(10, grey_all, lambda *_: None), pygame.Surface((600, 30))
    rect = pygame.Rect(100, 10, 333, 10)
    strip.show(surface, rect, 77)
    grey = (pygame.surfarray.array3d(surface)[..., 0] == 9).T
    assert grey[10:20, 100:433].all()
    assert grey.sum() == rect.width * rect.height
