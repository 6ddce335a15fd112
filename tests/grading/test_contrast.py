"""Loudness by contrast: what is a fault, the same for flat, straight and steep kits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from playalong.grading.contrast import Borders, _quantile
from playalong.grading.loudness import (
    DEFAULT_BANDS,
    LOUDNESSES,
    Band,
    Bands,
    Loudness,
    level_db,
    velocity_of,
)
from playalong.grading.matching.matched_run import MatchedRun
from playalong.grading.measures.dynamics import dynamics
from playalong.grading.measures.score import score
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER
from playalong.records.takes import read
from playalong.simulation.skills import SKILLS
from tests.helpers.drummers import drummer_takes, takes_folder
from tests.helpers.exact_takes import law
from tests.helpers.played import Played
from tests.helpers.transcription import Transcription

from .making import groove

Floats = NDArray[np.float64]

GHOST, NORMAL, ACCENT = (DYNAMICS.index(dynamic) for dynamic in Dynamic)
SOFT, LOUD = LOUDNESSES.index(Loudness.TOO_SOFT), LOUDNESSES.index(Loudness.TOO_LOUD)

#: The powers by which a kit's curve may bend velocities: v' = 127 (v / 127)^p.
BENDS = (0.5, 0.7, 1.5, 2.0)

GHOSTS = lay_out(groove(hi_hat="xx xx xx xx", snare="-g-- x--g -g-g x---"), 90.0, 16)
ACCENTS = lay_out(groove(snare="Xxxx xxXx xxXx xxxx", kick="x--- x--- x--- x---"), 90.0, 16)


def played(targets: Targets, middle_db: Floats, spread_db: Floats, *, seed: int = 1) -> Hits:
    """On time, levels scattered about the middle of their dynamic; velocities as kits send them."""
    chance = np.random.default_rng(seed)
    level = middle_db[targets.dynamic] + spread_db[targets.dynamic] * chance.normal(
        size=len(targets)
    )
    velocity = np.clip(np.rint(127.0 * 10.0 ** (level / 40.0)), 1.0, 127.0)
    return Hits(targets.time_s, targets.voice, velocity)


def drummer(targets: Targets, seed: int = 1) -> Hits:
    """As experienced drummers play: ghost notes 23 dB under the other strokes of the snare."""
    return played(targets, np.array([-27.0, -8.0, -2.0]), np.array([4.0, 2.5, 1.5]), seed=seed)


def bent(hits: Hits, power: float) -> Hits:
    """The same take on a kit with another curve."""
    velocity = np.maximum(1.0, np.rint(127.0 * (hits.velocity / 127.0) ** power))
    return Hits(hits.time_s, hits.voice, velocity)


def with_levels(hits: Hits, rows: NDArray[np.bool_], level: Floats | float) -> Hits:
    velocity = hits.velocity.copy()
    velocity[rows] = np.clip(np.rint(127.0 * 10.0 ** (np.asarray(level) / 40.0)), 1.0, 127.0)
    return Hits(hits.time_s, hits.voice, velocity)


def said(targets: Targets, hits: Hits, rules: Rules | None = None) -> NDArray[np.int8]:
    """The loudness verdict of each target; every target here is answered."""
    run = MatchedRun.of(targets, hits, rules or Rules())
    assert len(run.target) == len(targets)
    return run.verdicts.loudness[run.answered]


def snare(targets: Targets, dynamic: int) -> NDArray[np.bool_]:
    return (targets.voice == STAFF_ORDER["snare"]) & (targets.dynamic == dynamic)


@pytest.mark.parametrize("targets", [GHOSTS, ACCENTS], ids=["ghosts", "accents"])
def test_of_what_drummers_do_next_to_nothing_is_a_fault(targets: Targets) -> None:
    verdicts = np.concatenate([said(targets, drummer(targets, seed)) for seed in range(20)])
    assert float((verdicts != 0).mean()) < 0.01


def test_one_ghost_note_three_quarters_of_the_way_up_is_too_loud() -> None:
    hits = drummer(GHOSTS)
    ghosts, plain = snare(GHOSTS, GHOST), snare(GHOSTS, NORMAL)
    levels = level_db(hits.velocity)
    bottom, top = np.median(levels[ghosts]), np.median(levels[plain])
    one = np.zeros(len(GHOSTS), np.bool_)
    one[np.flatnonzero(ghosts)[::4]] = True  # the same one in every bar
    verdicts = said(GHOSTS, with_levels(hits, one, bottom + 0.75 * (top - bottom)))
    assert set(verdicts[one]) == {LOUD}
    assert float((verdicts[~one] != 0).mean()) < 0.02


@pytest.mark.parametrize("power", [1.0, *BENDS])
@pytest.mark.parametrize("way", [0.75, 1.0])
def test_ghost_notes_that_cannot_be_told_apart_are_all_too_loud(way: float, power: float) -> None:
    """Plain strokes that spread as widely as those of drummers with a soft touch do."""
    hits = played(GHOSTS, np.array([-27.0, -8.0, -2.0]), np.array([4.0, 5.0, 1.5]))
    ghosts, plain = snare(GHOSTS, GHOST), snare(GHOSTS, NORMAL)
    levels = level_db(hits.velocity)
    raised = levels[ghosts] + way * (np.median(levels[plain]) - levels[ghosts])
    verdicts = said(GHOSTS, bent(with_levels(hits, ghosts, raised), power))
    assert set(verdicts[ghosts]) == {LOUD}
    assert not (verdicts[plain] != 0).any()  # one of the two is to blame, not both


@pytest.mark.parametrize("power", [1.0, *BENDS])
def test_accents_softer_than_the_others_are_all_too_soft(power: float) -> None:
    hits = drummer(ACCENTS)
    accents = snare(ACCENTS, ACCENT)
    verdicts = said(ACCENTS, bent(with_levels(hits, accents, -12.0), power))
    assert set(verdicts[accents]) == {SOFT}
    assert not (verdicts[~accents] == LOUD).any()


def test_a_plain_stroke_played_as_a_ghost_note_is_too_soft() -> None:
    hits = drummer(GHOSTS)
    one = np.zeros(len(GHOSTS), np.bool_)
    one[np.flatnonzero(snare(GHOSTS, NORMAL))[::8]] = True
    verdicts = said(GHOSTS, with_levels(hits, one, -27.0))
    assert set(verdicts[one]) == {SOFT}


def test_a_hi_hat_that_breathes_is_no_fault() -> None:
    """Off-beats 18 dB under the beats, and an accent of the phrase in one bar of four."""
    hits = drummer(GHOSTS)
    hat = GHOSTS.voice == STAFF_ORDER["hi-hat"]
    off = np.isclose(GHOSTS.written * 4.0 % 1.0, 0.5)
    levels = np.where(off, -28.0, -10.0) + np.where(GHOSTS.bar % 4 == 0, 4.0, 0.0)
    assert not (said(GHOSTS, with_levels(hits, hat, levels[hat]))[hat] != 0).any()


def test_a_stroke_far_out_of_the_players_evenness_is_a_fault() -> None:
    hits = drummer(GHOSTS)
    hat = np.flatnonzero(GHOSTS.voice == STAFF_ORDER["hi-hat"])
    one = np.zeros(len(GHOSTS), np.bool_)
    one[hat[50]] = True
    assert said(GHOSTS, with_levels(hits, one, -40.0))[one].tolist() == [SOFT]


@pytest.mark.parametrize("power", BENDS)
@pytest.mark.parametrize("skill", list(SKILLS))
def test_verdicts_are_the_same_on_a_kit_with_another_curve(skill: str, power: float) -> None:
    for targets, dynamic in ((GHOSTS, GHOST), (ACCENTS, ACCENT)):
        rows = snare(targets, dynamic)
        kept = []
        for seed in range(6):
            hits = Played.by(targets, SKILLS[skill], seed).hits()
            run, other = (
                MatchedRun.of(targets, take, Rules()) for take in (hits, bent(hits, power))
            )
            own = rows[run.target]
            same = run.verdicts.loudness[run.answered] == other.verdicts.loudness[other.answered]
            kept += same[own].tolist()
        assert np.mean(kept) >= 0.97


@pytest.mark.parametrize("power", BENDS)
def test_verdicts_on_drummers_are_the_same_on_a_kit_with_another_curve(power: float) -> None:
    """Takes of the Groove MIDI Dataset (Gillick et al., ICML 2019, CC BY 4.0), each against its own
    transcription, a snare stroke of velocity 45 or less being a ghost note."""
    folder = takes_folder()
    if folder is None:
        pytest.skip("no drummers' takes: PLAYALONG_TAKES names no folder")
    kept: list[bool] = []
    for take in [take for take in drummer_takes(folder) if take.meter == "4/4"][::12]:
        written = Transcription(take.path, take.tempo_bpm)
        pattern, bars = written.pattern(16, 45)
        targets = lay_out(pattern, take.tempo_bpm, bars)
        played = read(take.path)
        hits, _ = Hits.of_notes(played.time_s, played.note, played.velocity)
        run, other = (MatchedRun.of(targets, one, Rules()) for one in (hits, bent(hits, power)))
        same = run.verdicts.loudness[run.answered] == other.verdicts.loudness[other.answered]
        kept += same[run.dynamic == GHOST].tolist()
    assert len(kept) > 100
    assert np.mean(kept) >= 0.97


@law(60)
@given(st.floats(0.5, 2.0), st.integers(0, 1000))
def test_the_score_hardly_knows_the_curve_of_the_kit(power: float, seed: int) -> None:
    hits = drummer(GHOSTS, seed)
    whole, other = (
        score(MatchedRun.of(GHOSTS, take, Rules())).total for take in (hits, bent(hits, power))
    )
    assert other == pytest.approx(whole, abs=1.0)


def test_few_strokes_say_little() -> None:
    """One ghost note and one plain stroke: wrong only where the ghost note is as loud."""
    targets = lay_out(groove(snare="x-g- ---- ---- ----"), 90.0, 1)
    for velocity, verdict in ((30.0, 0), (70.0, 0), (80.0, LOUD), (100.0, LOUD)):
        hits = Hits(targets.time_s, targets.voice, np.array([80.0, velocity]))
        assert said(targets, hits).tolist() == [0, verdict]
    # Nothing to compare with: nothing is invented.
    alone = lay_out(groove(snare="--g- ---- ---- ----"), 90.0, 1)
    for velocity in (1.0, 60.0, 127.0):
        hits = Hits(alone.time_s, alone.voice, np.array([velocity]))
        assert said(alone, hits).tolist() == [0]


def test_what_was_measured_makes_nothing_stricter() -> None:
    hits = with_levels(drummer(GHOSTS), snare(GHOSTS, GHOST), -7.0)
    ghosts = snare(GHOSTS, GHOST)
    assert set(said(GHOSTS, hits)[ghosts]) == {LOUD}
    wide = Bands(DEFAULT_BANDS.default, {("snare", Dynamic.GHOST): Band(1.0, 90.0)}, "measured")
    assert set(said(GHOSTS, hits, Rules(bands=wide))[ghosts]) == {0}
    # Bands that none of the strokes fits change nothing.
    narrow = Bands(
        DEFAULT_BANDS.default,
        {("snare", dynamic): Band(1.0, 2.0) for dynamic in Dynamic},
        "measured",
    )
    take = drummer(GHOSTS)
    np.testing.assert_array_equal(said(GHOSTS, take, Rules(bands=narrow)), said(GHOSTS, take))


def test_how_much_contrast_there_is_is_always_given() -> None:
    hits = with_levels(drummer(GHOSTS), snare(GHOSTS, GHOST), -11.0)
    told = dynamics(MatchedRun.of(GHOSTS, hits, Rules())).ghost_contrast_db["snare"]
    plain = level_db(hits.velocity[snare(GHOSTS, NORMAL)])
    velocity = np.rint(velocity_of(-11.0))
    assert told == pytest.approx(float(level_db(float(velocity)) - np.median(plain)))


@law(100)
@given(st.data())
def test_one_by_one_is_as_all_at_once(data: st.DataObject) -> None:
    """The bands by which single strokes are heard say what the arrays say."""
    kinds = st.lists(st.tuples(st.integers(0, 2), st.integers(1, 127)), min_size=1, max_size=40)
    dynamic, velocity = np.array(data.draw(kinds)).T
    voice = np.full(len(dynamic), STAFF_ORDER["snare"], np.int16)
    borders = Borders.of(
        voice, dynamic.astype(np.int8), velocity.astype(np.float64), bands=DEFAULT_BANDS
    )
    table = borders.bands()
    one_by_one = [
        LOUDNESSES.index(table[STAFF_ORDER["snare"]][kind].judge(float(level)))
        for kind, level in zip(dynamic.tolist(), velocity.tolist(), strict=True)
    ]
    found = borders.verdicts(voice, dynamic.astype(np.int8), velocity.astype(np.float64))
    assert found.tolist() == one_by_one
    lost = borders.losses(voice, dynamic.astype(np.int8), velocity.astype(np.float64))
    assert ((lost >= 0.0) & (lost < 1.0)).all()
    assert (lost[found != 0] > 0.0).all()


@law(100)
@given(st.lists(st.floats(-90.0, 0.0), min_size=1, max_size=40), st.sampled_from((0.1, 0.5, 0.9)))
def test_quantiles_are_those_of_numpy(levels: list[float], share: float) -> None:
    rising = np.sort(np.array(levels))
    assert _quantile(rising, share) == pytest.approx(float(np.quantile(rising, share)))
