"""Feel, swing, grace strokes and strokes together, against small takes worked out by hand."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from playalong.grading.grade import Pair, PlaceGrade, StrokeLevel
from playalong.grading.grade_run import judged_hits
from playalong.grading.loudness import level_db
from playalong.grading.matching.matched_run import median
from playalong.grading.verdicts import Rules, Verdict
from playalong.midi.hits import Hit, Hits
from playalong.pattern.meter import STRAIGHT, WrittenSwing
from playalong.pattern.model import Bar, Dynamic, Hand, Stroke
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import STAFF_ORDER
from tests.helpers.exact_takes import faultless

from .making import grade_and_run, graded, groove, moved, near, of_strokes

# 120 bpm would make a sixteenth 125 ms; at 100 it is 150 ms.
SMALL = groove(snare="x--- --g- X--- ----", kick="x--- ---- ---- ----")


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7, 50, 1001])
def test_the_median_is_numpys(count: int) -> None:
    """Source: numpy.median, to the last digit."""
    chance = np.random.default_rng(count)
    for values in (chance.normal(0.0, 12.0, count), np.rint(chance.normal(0.0, 2.0, count))):
        assert median(values) == np.median(values)
    assert median(np.zeros(0)) is None


def hit(time_ms: float, voice: str = "snare", velocity: float = 84) -> Hit:
    return Hit(time_ms / 1000.0, voice, velocity)


SMALL_TAKE = [
    # bar 1, from 0 ms: the 1 late, the ghost note too loud, the accent missed
    hit(50),
    hit(5, "kick"),
    hit(900, velocity=90),
    # bar 2, from 2400 ms: the 1 early, the ghost note right, the accent too soft,
    # the kick on another drum
    hit(2350),
    hit(2410, "floor-tom"),
    hit(3310, velocity=30),
    hit(3600, velocity=84),
    hit(4100),
]


def test_places_of_a_small_take() -> None:
    grade = graded(SMALL, lay_out(SMALL, 100.0, 2), Hits.of(SMALL_TAKE))
    normal = float(level_db(84.0))
    faults = ("missed", "wrong_drum", "early", "late", "too_soft", "too_loud")
    nothing = dict.fromkeys(("clean", *faults, "wrong_hi_hat", "wrong_ornament"), 0)

    def place(
        count: str, voice: str, dynamic: Dynamic, *, ms: float, db: float, **told: int
    ) -> PlaceGrade:
        return PlaceGrade(
            bar=0,
            count=count,
            voice=voice,
            dynamic=dynamic,
            targets=2,
            mean_ms=near(ms),
            mean_db=near(db),
            **(nothing | told),
        )

    ghosts = (float(level_db(90.0)) + float(level_db(30.0))) / 2
    assert grade.places == (
        place("1", "snare", Dynamic.NORMAL, ms=0.0, db=normal, early=1, late=1),
        place("1", "kick", Dynamic.NORMAL, ms=5.0, db=normal, clean=1, wrong_drum=1),
        place("& of 2", "snare", Dynamic.GHOST, ms=5.0, db=ghosts, clean=1, too_loud=1),
        place("3", "snare", Dynamic.ACCENT, ms=0.0, db=normal, missed=1, too_soft=1),
    )


def test_counts_and_levels_of_a_small_take() -> None:
    grade, run = grade_and_run(SMALL, lay_out(SMALL, 100.0, 2), Hits.of(SMALL_TAKE))
    counts = grade.counts
    assert (counts.targets, counts.matched, counts.missed, counts.wrong_drum) == (8, 6, 1, 1)
    assert (counts.on_time, counts.early, counts.late, counts.extra) == (4, 1, 1, 1)
    assert (counts.too_soft, counts.too_loud) == (1, 1)
    levels = grade.dynamics.by_voice["snare"]
    assert levels[Dynamic.ACCENT] == StrokeLevel(
        n=1, median_db=near(level_db(84.0)), sd_db=0.0, too_soft=1, too_loud=0
    )
    assert levels[Dynamic.GHOST].n == 2
    # The median ghost note lies between 90 and 30, the median of the others is 84.
    assert grade.dynamics.ghost_contrast_db == {
        "snare": pytest.approx((level_db(90.0) + level_db(30.0)) / 2 - level_db(84.0))
    }
    # One instant in each bar has two voices; in bar 2 the kick is not answered.
    assert grade.unison.n == 1
    assert grade.unison.median_ms == pytest.approx(45.0)
    assert grade.unison.p90_ms == pytest.approx(45.0)
    assert grade.unison.leads == {"kick": 1}
    assert grade.unison.pairs == (
        Pair(first="kick foot", second="snare hand", n=1, mean_ms=near(45.0), sd_ms=0.0),
    )

    listed = judged_hits(run)
    assert [item.time_s for item in listed] == sorted(item.time_s for item in listed)
    verdicts = [(round(1000 * item.time_s), item.verdict) for item in listed]
    assert verdicts == [
        (5, Verdict.ON_TIME),
        (50, Verdict.LATE),
        (900, Verdict.ON_TIME),
        (2350, Verdict.EARLY),
        (2410, Verdict.WRONG_DRUM),
        (3310, Verdict.ON_TIME),
        (3600, Verdict.ON_TIME),
        (4100, Verdict.EXTRA),
    ]


def test_hits_are_listed_as_the_voice_that_they_count_as() -> None:
    pattern = groove(snare="x--- ---- ---- ----")
    hits = Hits.of([hit(0, "rim-shot"), hit(100, "hi-hat-pedal")])
    _, run = grade_and_run(pattern, lay_out(pattern, 100.0, 1), hits)
    first, pedal = judged_hits(run)
    assert (first.voice, first.verdict) == ("snare", Verdict.ON_TIME)
    assert (pedal.voice, pedal.verdict, pedal.target) == ("hi-hat-pedal", None, None)


def test_a_voice_with_ghost_notes_only_has_no_contrast() -> None:
    pattern = groove(snare="g--- g--- g--- g---", kick="x--- x--- x--- x---")
    targets = lay_out(pattern, 100.0, 1)
    grade = graded(pattern, targets, faultless(targets))
    assert grade.dynamics.ghost_contrast_db == {"snare": None}


def test_both_lead_when_they_fall_at_once() -> None:
    pattern = groove(snare="x--- ---- ---- ----", kick="x--- ---- ---- ----")
    targets = lay_out(pattern, 100.0, 3)
    unison = graded(pattern, targets, faultless(targets)).unison
    assert unison.leads == {"snare": 3, "kick": 3}
    assert unison.median_ms == 0.0


# Swing.


@pytest.mark.parametrize("swing", [50, 55, 62, 66, 75])
@pytest.mark.parametrize("tempo", [60.0, 120.0])
def test_a_take_swung_so_is_told_so(swing: int, tempo: float) -> None:
    """The figure is what the pattern file calls swing; spread of 5 ms, 64 bars."""
    pattern = groove(swing=swing, hi_hat="xx xx xx xx", snare="-- x- -- x-")
    pattern = replace(pattern, tempo=tempo)
    targets = lay_out(pattern, tempo, 64)
    chance = np.random.default_rng(swing)
    hits = Hits.sorted(
        targets.time_s + chance.normal(0.0, 0.005, len(targets)),
        targets.voice,
        faultless(targets).velocity,
    )
    told = graded(pattern, targets, hits)
    assert told.counts.matched == len(targets)
    assert told.swing.played_percent == pytest.approx(swing, abs=0.5)
    assert told.swing.written_percent == swing


@pytest.mark.parametrize(("swing", "tempo"), [(54, 80.0), (58, 92.0), (64, 70.0)])
def test_swung_sixteenths_are_told_so(swing: int, tempo: float) -> None:
    """A pair of sixteenths at 80 bpm lasts 375 ms: its second at 58 per cent is 30 ms late."""
    line = {"hi_hat": "xxxx xxxx xxxx xxxx", "snare": "---- x--- ---- x---"}
    pattern = replace(groove(swing=swing, swung="sixteenths", **line), tempo=tempo)
    straight = replace(pattern, swing=STRAIGHT)
    asked, even = (lay_out(each, tempo, 16) for each in (pattern, straight))
    later_s = (swing - 50) / 100.0 * 0.5 * 60.0 / tempo
    odd = np.rint(even.written * 16).astype(int) % 2 == 1
    assert asked.time_s == pytest.approx(even.time_s + np.where(odd, later_s, 0.0))
    told = graded(pattern, asked, faultless(asked))
    assert told.swing.notes == "sixteenths"
    assert told.swing.played_percent == pytest.approx(swing, abs=0.5)
    assert [finding.code for finding in told.findings] == ["clean"]
    if swing >= 58:
        found = graded(pattern, asked, faultless(even))
        assert found.swing.played_percent == pytest.approx(50.0, abs=0.5)
        assert found.findings[0].code == "played_straight"


def test_swing_played_where_straight_is_written() -> None:
    """At 100 bpm a pair lasts 600 ms: its second note 72 ms late is 62 per cent."""
    pattern = groove(hi_hat="xx xx xx xx")
    targets = lay_out(pattern, 100.0, 2)
    late_s = np.where(targets.written % 0.25 > 0.0, 0.072, 0.0)
    hits = Hits.sorted(targets.time_s + late_s, targets.voice, faultless(targets).velocity)
    told = graded(pattern, targets, hits).swing
    assert told.played_percent == pytest.approx(62.0)
    assert told.written_percent == 50.0
    # The first note lasts 62 of 100 parts, the second 38.
    assert told.played_ratio == pytest.approx(62.0 / 38.0)


@pytest.mark.parametrize(
    ("meter", "line"),
    [
        ("4/4", "x x x x"),  # nothing between the beats
        ("12/8", "xxx xxx xxx xxx"),  # its beat is no quarter note
        ("2+2+3/8", "xx xx xxx"),  # nor are all of these
    ],
)
def test_no_swing_where_there_are_no_pairs(meter: str, line: str) -> None:
    pattern = groove(meter=meter, ride=line)
    targets = lay_out(pattern, 100.0, 3)
    told = graded(pattern, targets, faultless(targets)).swing
    assert told.played_percent is None
    assert told.played_ratio is None


def test_swing_over_bars_of_different_length() -> None:
    """4/4 and 3/4 in turn: the eighths are counted through."""
    long, short = groove(hi_hat="xx xx xx xx"), groove(meter="3/4", hi_hat="xx xx xx")
    pattern = replace(long, bars=(*long.bars, *short.bars), swing=WrittenSwing(Fraction(66)))
    targets = lay_out(pattern, 100.0, 6)
    assert targets.bars == 6
    grade = graded(pattern, targets, faultless(targets))
    assert grade.swing.played_percent == pytest.approx(66.0)
    assert {place.bar for place in grade.places} == {0, 1}
    assert all(place.targets == 3 for place in grade.places)


# Grace strokes.


def test_grace_strokes_are_counted_and_their_distance_told() -> None:
    pattern = groove(snare="f--- ---- d--- ----")
    targets = lay_out(pattern, 100.0, 2)
    hits = [
        hit(-22, velocity=30), hit(3),  # a flam, 25 ms apart
        hit(1130, velocity=30), hit(1165, velocity=30), hit(1200),  # a drag, 35 from each to each
        hit(2400),  # a flam without its grace stroke
    ]  # fmt: skip
    graces = graded(pattern, targets, Hits.of(hits)).graces
    assert graces is not None
    # The second drag was not played at all: nothing is asked of a missed stroke.
    assert (graces.asked, graces.played) == (4, 3)
    assert graces.median_ms == pytest.approx((25.0 + 35.0) / 2)
    assert graces.median_db == pytest.approx(level_db(30.0) - level_db(84.0))


def test_no_word_of_grace_strokes_where_none_are_written() -> None:
    pattern = groove(snare="x--- x--- x--- x---")
    targets = lay_out(pattern, 100.0, 1)
    assert graded(pattern, targets, faultless(targets)).graces is None


def test_grace_strokes_do_not_count_as_strokes() -> None:
    pattern = groove(snare="f--- f--- f--- f---")
    targets = lay_out(pattern, 100.0, 2)
    mains = faultless(targets)
    graces = moved(Hits(mains.time_s, mains.voice, np.full(len(mains), 20.0)), -0.03)
    both = Hits.sorted(
        np.concatenate([mains.time_s, graces.time_s]),
        np.concatenate([mains.voice, graces.voice]),
        np.concatenate([mains.velocity, graces.velocity]),
    )
    grade = graded(pattern, targets, both)
    assert grade.counts.matched == grade.counts.on_time == len(targets)
    assert grade.counts.extra == grade.counts.too_soft == 0
    assert grade.timing.mean_ms == 0.0
    assert grade.dynamics.by_voice["snare"][Dynamic.NORMAL].n == len(targets)


def test_an_open_hi_hat_answers_on_the_hi_hat_line() -> None:
    pattern = of_strokes(
        [
            Stroke(at=Fraction(0), voice="hi-hat"),
            Stroke(at=Fraction(1, 4), voice="hi-hat", is_open=True),
        ]
    )
    targets = lay_out(pattern, 100.0, 1)
    hits = Hits.of([hit(0, "hi-hat"), hit(600, "hi-hat-open")])
    assert graded(pattern, targets, hits).counts.on_time == 2


def test_optional_strokes_count_only_where_played() -> None:
    pattern = groove(snare="x--- x?--- x--- ----")
    targets = lay_out(pattern, 100.0, 2)
    grade = graded(pattern, targets, Hits.of([hit(0), hit(600), hit(1200), hit(2400), hit(3600)]))
    assert grade.counts.targets == grade.counts.matched == 5
    assert [place.targets for place in grade.places] == [2, 1, 2]


def test_a_bar_that_is_empty_costs_nothing() -> None:
    pattern = groove(snare="x--- x--- x--- x---")
    rest = Bar(pattern.meter, (), pattern.bars[0].divisions)
    pattern = replace(pattern, bars=(*pattern.bars, rest))
    targets = lay_out(pattern, 100.0, 4)
    assert set(targets.bar.tolist()) == {0, 2}
    assert graded(pattern, targets, faultless(targets)).score.total == 100.0
    assert STAFF_ORDER["snare"] in targets.voice


def test_limbs_are_named_by_the_sticking_and_mirrored_for_the_left_handed() -> None:
    """Hi-hat and snare hand to hand; without sticking the limb that usually plays the voice."""
    strokes = [
        Stroke(at=Fraction(0), voice="hi-hat", hand=Hand.RIGHT),
        Stroke(at=Fraction(1, 4), voice="snare", hand=Hand.LEFT),
        Stroke(at=Fraction(1, 2), voice="hi-hat", hand=Hand.LEFT),
        Stroke(at=Fraction(3, 4), voice="snare"),
        Stroke(at=Fraction(3, 4), voice="kick"),
    ]
    pattern = of_strokes(strokes)
    targets = lay_out(pattern, 100.0, 2)
    late_s = np.tile([0.001, 0.002, 0.004, 0.008, 0.016], 2)[: len(targets)]
    hits = moved(faultless(targets), late_s)
    limbs = graded(pattern, targets, hits).timing.by_limb
    assert {limb: (own.n, own.mean_ms) for limb, own in limbs.items()} == {
        "right hand": (2, near(1.0)),
        "left hand": (4, near(3.0)),
        "snare hand": (2, near(8.0)),
        "kick foot": (2, near(16.0)),
    }
    mirrored = graded(pattern, targets, hits, rules=Rules(left_handed=True)).timing.by_limb
    assert mirrored["left hand"].n == 2
    assert mirrored["right hand"] == limbs["left hand"]
    assert mirrored["kick foot"] == limbs["kick foot"]
