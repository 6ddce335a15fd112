"""Loudness bands from a take that shows two clear groups, and none from one that does not."""

import numpy as np
import pytest

from playalong.grading.bands_from_take import SOURCE, bands_found
from playalong.grading.loudness import DEFAULT_BANDS, Bands
from playalong.midi.hits import Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER

from .making import groove

PATTERN = groove(snare="-gxg xggx -gxg xggx", kick="x--- x--- x--- x---")
TARGETS = lay_out(PATTERN, 100.0, 4)
GHOST = TARGETS.dynamic == DYNAMICS.index(Dynamic.GHOST)
SNARE = TARGETS.voice == STAFF_ORDER["snare"]


def take(soft: float, strong: float, sd: float, seed: int, targets: Targets = TARGETS) -> Hits:
    chance = np.random.default_rng(seed)
    velocity = np.where(GHOST, soft, strong) + chance.normal(0.0, sd, len(targets))
    return Hits.sorted(targets.time_s, targets.voice, np.rint(velocity).clip(1, 127))


def otsu(velocity: np.ndarray) -> float:
    """The best border by its definition: the least variance left inside two groups."""
    values = np.unique(velocity)
    borders = (values[:-1] + values[1:]) / 2.0

    def inside(border: float) -> float:
        soft = velocity[velocity < border]
        strong = velocity[velocity > border]
        return len(soft) * float(np.var(soft)) + len(strong) * float(np.var(strong))

    return float(min(borders.tolist(), key=inside))


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize(("soft", "strong"), [(20.0, 80.0), (60.0, 115.0)])
def test_two_clear_groups_make_the_bands(seed: int, soft: float, strong: float) -> None:
    """Otsu 1979, by its definition."""
    hits = take(soft, strong, 4.0, seed)
    bands = bands_found(TARGETS, hits, DEFAULT_BANDS)
    border = otsu(hits.velocity[hits.voice == STAFF_ORDER["snare"]])
    assert bands.source == SOURCE
    assert bands.of("snare", Dynamic.GHOST).high == pytest.approx(border)
    assert bands.of("snare", Dynamic.NORMAL).low == pytest.approx(border)
    # A voice without ghost notes keeps its bands.
    assert bands.of("kick", Dynamic.NORMAL) == DEFAULT_BANDS.of("kick", Dynamic.NORMAL)
    for dynamic in Dynamic:
        band = bands.of("snare", dynamic)
        assert 1.0 <= band.low <= band.high <= 127.0


def even(seed: int) -> Hits:
    chance = np.random.default_rng(seed)
    return Hits.sorted(TARGETS.time_s, TARGETS.voice, chance.uniform(1, 127, len(TARGETS)))


@pytest.mark.parametrize(
    "hits",
    [
        Hits.of(()),
        take(84.0, 84.0, 0.0, 1),  # all alike
        take(84.0, 84.0, 9.0, 2),  # one group
        take(70.0, 90.0, 2.0, 3),  # two groups, but 4 dB apart only
        even(4),
        even(5),
    ],
)
def test_no_clear_groups_leave_the_bands_alone(hits: Hits) -> None:
    assert bands_found(TARGETS, hits, DEFAULT_BANDS) is DEFAULT_BANDS


def test_few_hits_show_no_groups() -> None:
    hits = Hits.sorted(
        np.arange(7.0),
        np.full(7, STAFF_ORDER["snare"], np.int16),
        np.array([20.0] * 4 + [90.0] * 3),
    )
    assert bands_found(TARGETS, hits, DEFAULT_BANDS) is DEFAULT_BANDS


def test_a_pattern_without_ghost_notes_has_no_groups() -> None:
    plain = lay_out(groove(snare="xxxx xxxx xxxx xxxx"), 100.0, 2)
    velocity = np.where(np.arange(len(plain)) % 2, 20.0, 90.0)
    hits = Hits.sorted(plain.time_s, plain.voice, velocity)
    assert bands_found(plain, hits, DEFAULT_BANDS) is DEFAULT_BANDS


def test_far_more_soft_strokes_than_ghost_notes_are_no_ghost_notes() -> None:
    # One ghost note is asked in sixteen strokes; half of the hits are soft.
    few = lay_out(groove(snare="gxxx xxxx xxxx xxxx"), 100.0, 4)
    velocity = np.where(np.arange(len(few)) % 2, 20.0, 90.0)
    hits = Hits.sorted(few.time_s, few.voice, velocity)
    bands: Bands = bands_found(few, hits, DEFAULT_BANDS)
    assert bands is DEFAULT_BANDS
