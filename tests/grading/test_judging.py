"""What is said of single hits: edges, folding, optional strokes, graces, wrong drums."""

from dataclasses import replace

import pytest

from playalong.grading.graces import Ornament
from playalong.grading.levels import Level
from playalong.grading.loudness import Loudness
from playalong.grading.matching.live_grader import Grader, judge
from playalong.grading.verdicts import HiHat, Rules, Verdict, VerdictEvent
from playalong.midi.hits import Hit, Hits
from playalong.pattern.targets import Targets, lay_out
from playalong.pattern.voices import VOICES, is_judged

from .making import groove, groove_of, placed, with_optional

RULES = Rules()


def words(targets: Targets, *hits: Hit, rules: Rules = RULES) -> list[VerdictEvent]:
    """The settled words; every test here asks both ways to them."""
    played = Hits.of(hits)
    at_once = judge(targets, played, rules).events()
    grader = Grader(targets, rules)
    for number in range(len(played)):
        grader.hit(played[number])
    assert sorted(map(repr, grader.finish())) == sorted(map(repr, at_once))
    return at_once


def told(targets: Targets, *hits: Hit, rules: Rules = RULES) -> dict[int | None, Verdict]:
    """The verdict of each hit by number."""
    return {w.hit: w.verdict for w in words(targets, *hits, rules=rules) if w.hit is not None}


def snare(time_s: float, velocity: float = 84) -> Hit:
    return Hit(time_s, "snare", velocity)


ONE = placed([(1.0, "snare")])


@pytest.mark.parametrize(
    ("error_ms", "verdict"),
    [
        (0.0, Verdict.ON_TIME),
        (45.0, Verdict.ON_TIME),
        (-45.0, Verdict.ON_TIME),
        (45.001, Verdict.LATE),
        (-45.001, Verdict.EARLY),
        (100.0, Verdict.LATE),
        (-100.0, Verdict.EARLY),
        (100.001, Verdict.EXTRA),
        (-100.001, Verdict.EXTRA),
    ],
)
def test_the_edges_of_tolerance_and_window(error_ms: float, verdict: Verdict) -> None:
    # The limits belong to what they limit: "at most" in DESIGN, both ends of a window inside.
    # Beyond the run's first window a hit is not judged, so the pattern has a stroke before it.
    targets = placed([(0.2, "kick"), (1.0, "snare"), (2.0, "kick")])
    assert told(targets, snare(1.0 + error_ms / 1000.0)) == {0: verdict}


@pytest.mark.parametrize("at_s", [0.1, 1.7, 7.3, 1234.5])
@pytest.mark.parametrize("error_s", [0.045, -0.045])
def test_the_tolerance_is_exact_wherever_it_falls(at_s: float, error_s: float) -> None:
    # Sums of decimals are not exact in binary; the verdict must not depend on that.
    assert told(placed([(at_s, "snare")]), snare(at_s + error_s)) == {0: Verdict.ON_TIME}


def test_a_hit_exactly_half_way_answers_whichever_is_free() -> None:
    targets = placed([(1.0, "snare"), (1.1, "snare")])
    assert words(targets, snare(1.05)) == [
        VerdictEvent(
            verdict=Verdict.LATE,
            target=0,
            hit=0,
            error_ms=50.0,
            loudness=Loudness.RIGHT,
            settled=True,
        ),
        VerdictEvent(verdict=Verdict.MISSED, target=1, hit=None, settled=True),
    ]
    # The first is answered better by another hit, so the one half-way has the second.
    found = words(targets, snare(1.0), snare(1.05))
    assert [(w.target, w.hit) for w in found] == [(0, 0), (1, 1)]
    # And the other way round.
    found = words(targets, snare(1.05), snare(1.1))
    assert [(w.target, w.hit) for w in found] == [(0, 0), (1, 1)]
    # Three for two: the one in the middle is left.
    assert told(targets, snare(1.0), snare(1.05), snare(1.1))[1] is Verdict.EXTRA
    # Two of them half-way: each answers one.
    found = words(targets, snare(1.05), snare(1.05))
    assert [(w.target, w.error_ms) for w in found] == [(0, 50.0), (1, -50.0)]


def test_two_hits_in_one_window() -> None:
    assert told(ONE, snare(0.96), snare(1.01)) == {0: Verdict.EXTRA, 1: Verdict.ON_TIME}
    # Equally far: the earlier.
    assert told(ONE, snare(0.98), snare(1.02)) == {0: Verdict.ON_TIME, 1: Verdict.EXTRA}
    # At once: the louder, which a retriggering pad sends first.
    found = words(ONE, snare(1.0, 20), snare(1.0, 90))
    assert {w.hit: w.verdict for w in found} == {0: Verdict.ON_TIME, 1: Verdict.EXTRA}
    assert found[0].loudness is Loudness.RIGHT


def test_every_target_is_told_once_and_every_hit_at_most_once() -> None:
    targets = placed([(0.5, "snare"), (1.0, "snare"), (1.0, "kick"), (1.5, "hi-hat")])
    found = words(targets, snare(0.51), snare(0.6), Hit(1.02, "kick", 84), Hit(1.49, "ride", 84))
    main = [word.target for word in found if word.target is not None and not word.grace]
    assert sorted(main) == [0, 1, 2, 3]
    assert sorted(word.hit for word in found if word.hit is not None) == [0, 1, 2, 3]
    assert {w.target: w.verdict for w in found if w.target is not None} == {
        0: Verdict.ON_TIME,
        1: Verdict.MISSED,
        2: Verdict.ON_TIME,
        3: Verdict.WRONG_DRUM,
    }


def test_wrong_drum_is_one_word_for_both() -> None:
    assert words(ONE, Hit(1.03, "kick", 84)) == [
        VerdictEvent(verdict=Verdict.WRONG_DRUM, target=0, hit=0, error_ms=30.0, settled=True)
    ]
    # Outside the window of the missed stroke it is two faults, not one.
    assert told(ONE, Hit(1.101, "kick", 84)) == {0: Verdict.EXTRA}


def test_a_drum_that_answers_its_own_target_is_no_wrong_drum() -> None:
    targets = placed([(1.0, "snare"), (1.0, "kick")])
    assert {w.target: w.verdict for w in words(targets, Hit(1.0, "kick", 84))} == {
        0: Verdict.MISSED,
        1: Verdict.ON_TIME,
    }


def test_optional_strokes_are_never_missed_but_judged_when_played() -> None:
    targets = with_optional(ONE, [0])
    assert words(targets) == []
    assert told(targets, snare(1.05)) == {0: Verdict.LATE}
    # Not missed, so nothing was meant for it: another drum there is an extra.
    assert told(targets, Hit(1.0, "kick", 84)) == {0: Verdict.EXTRA}


@pytest.mark.parametrize(
    ("line", "played", "verdict"),
    [
        ({"snare": "x--- ---- ---- ----"}, "rim-shot", Verdict.ON_TIME),
        ({"snare": "x--- ---- ---- ----"}, "cross-stick", Verdict.ON_TIME),
        ({"hi_hat": "x--- ---- ---- ----"}, "hi-hat-open", Verdict.ON_TIME),
        ({"ride": "x--- ---- ---- ----"}, "ride-bell", Verdict.ON_TIME),
        ({"crash": "x--- ---- ---- ----"}, "splash", Verdict.ON_TIME),
        ({"snare": "x--- ---- ---- ----"}, "kick", Verdict.WRONG_DRUM),
        ({"rim_shot": "x--- ---- ---- ----"}, "snare", Verdict.WRONG_DRUM),
    ],
)
def test_rims_edges_and_the_open_hi_hat_fold(
    line: dict[str, str], played: str, verdict: Verdict
) -> None:
    targets = lay_out(groove_of(line), 100.0, 1)
    assert told(targets, Hit(0.0, played, 84)) == {0: verdict}


def test_a_line_of_its_own_unfolds() -> None:
    both = groove(snare="x--- ---- x--- ----", rim_shot="---- x--- ---- ----")
    targets = lay_out(both, 120.0, 1)
    # On the snare's 1 a rim shot is now another drum; on its own 2 it is right.
    verdicts = told(targets, Hit(0.0, "rim-shot", 84), Hit(0.5, "rim-shot", 84), snare(1.0))
    assert verdicts == {0: Verdict.WRONG_DRUM, 1: Verdict.ON_TIME, 2: Verdict.ON_TIME}
    # A cross-stick has no line and still folds into the snare.
    assert told(targets, Hit(1.0, "cross-stick", 84)) == {0: Verdict.ON_TIME}


def test_a_line_in_a_variation_unfolds_too() -> None:
    # Both notes of one pad must mean the same whether or not the variation is chosen.
    plain = lay_out(groove(snare="x--- ---- ---- ----"), 120.0, 1)
    assert told(replace(plain, voices=("rim-shot", "snare")), Hit(0.0, "rim-shot", 84)) == {
        0: Verdict.WRONG_DRUM
    }


def test_the_pedal_is_unjudged_unless_it_is_written() -> None:
    unwritten = lay_out(groove(snare="x--- x--- x--- x---"), 120.0, 1)
    assert told(unwritten, Hit(0.25, "hi-hat-pedal", 84), Hit(0.0, "hi-hat-pedal", 84)) == {}
    written = lay_out(
        groove(snare="x--- ---- ---- ----", hi_hat_pedal="---- x--- ---- x---"), 120, 1
    )
    assert told(
        written,
        Hit(0.5, "hi-hat-pedal", 84),
        Hit(1.0, "hi-hat-pedal", 84),
    ) == {0: Verdict.ON_TIME, 1: Verdict.EXTRA}
    by_itself = {voice.name for voice in VOICES if not is_judged(voice.name, ())}
    assert by_itself == {"hi-hat-pedal", "foot-splash"}


def test_outside_the_run_nothing_is_judged() -> None:
    targets = lay_out(groove(snare="x--- ---- ---- ----"), 120.0, 1)  # ends at second 2
    assert told(targets, snare(-0.101), snare(1.95), snare(5.0)) == {}
    assert told(targets, snare(-0.1), snare(1.89)) == {0: Verdict.EARLY, 1: Verdict.EXTRA}


FLAM = lay_out(groove(snare="f--- ---- ---- ----"), 120.0, 1, start_s=1.0)
DRAG = lay_out(groove(snare="d--- ---- ---- ----"), 120.0, 1, start_s=1.0)


def test_the_grace_stroke_of_a_flam_belongs_to_its_main_stroke() -> None:
    assert words(FLAM, snare(0.975, 30), snare(1.005)) == [
        VerdictEvent(
            verdict=Verdict.ON_TIME,
            target=0,
            hit=0,
            error_ms=-30.0,
            loudness=None,
            grace=True,
            settled=True,
        ),
        VerdictEvent(
            verdict=Verdict.ON_TIME,
            target=0,
            hit=1,
            error_ms=5.0,
            loudness=Loudness.RIGHT,
            settled=True,
            ornament=Ornament.RIGHT,
        ),
    ]


def test_one_hit_alone_is_the_main_stroke() -> None:
    for at_s in (0.97, 1.0, 1.06):
        (word,) = words(FLAM, snare(at_s))
        assert not word.grace
        assert word.error_ms == pytest.approx(1000.0 * (at_s - 1.0))
    (word,) = words(DRAG, snare(0.94))
    assert not word.grace


def test_a_drag_has_two_grace_strokes() -> None:
    found = words(DRAG, snare(0.94, 30), snare(0.97, 30), snare(1.0))
    assert [(w.hit, w.grace, w.error_ms) for w in found] == [
        (0, True, -60.0),
        (1, True, -30.0),
        (2, False, 0.0),
    ]
    assert told(DRAG, *(snare(0.91 + 0.03 * step) for step in range(4))) == {
        0: Verdict.EXTRA,
        1: Verdict.ON_TIME,
        2: Verdict.ON_TIME,
        3: Verdict.ON_TIME,
    }


def test_a_flam_not_played_is_missed_once() -> None:
    assert words(FLAM) == [VerdictEvent(verdict=Verdict.MISSED, target=0, hit=None, settled=True)]
    assert words(FLAM, Hit(1.0, "kick", 84))[0].verdict is Verdict.WRONG_DRUM


@pytest.mark.parametrize(
    ("level", "tolerance_ms"),
    [
        (Level.BEGINNER, 60.0),
        (Level.INTERMEDIATE, 45.0),
        (Level.ADVANCED, 35.0),
        (Level.PROFESSIONAL, 25.0),
    ],
)
def test_a_level_is_its_tolerance(level: Level, tolerance_ms: float) -> None:
    rules = Rules.at(level)
    assert (rules.level, rules.tolerance_ms) == (level, tolerance_ms)
    targets = placed([(0.2, "kick"), (1.0, "snare"), (2.0, "kick")])
    just, beyond = (1.0 + (tolerance_ms + more) / 1000.0 for more in (0.0, 0.001))
    assert told(targets, snare(just), rules=rules) == {0: Verdict.ON_TIME}
    assert told(targets, snare(beyond), rules=rules) == {0: Verdict.LATE}


def test_fast_notes_are_judged_as_fast_notes() -> None:
    """At most two fifths of the way to the nearer neighbour of the voice is on time."""
    targets = placed([(1.0, "snare"), (1.08, "snare"), (2.0, "snare"), (1.02, "kick")])
    for at_s, verdict in (
        (1.032, Verdict.ON_TIME),
        (1.0321, Verdict.LATE),
        (0.968, Verdict.ON_TIME),
        (0.9679, Verdict.EARLY),
    ):
        assert told(targets, snare(at_s)) == {0: verdict}
    # The last one has a far neighbour only.
    assert told(targets, snare(2.045)) == {0: Verdict.ON_TIME}


HAT = lay_out(groove(hi_hat="x--- o--- ---- ----"), 120.0, 1, start_s=1.0)


@pytest.mark.parametrize(
    ("at_s", "played", "hi_hat"),
    [
        (1.0, "hi-hat", HiHat.RIGHT),
        (1.0, "hi-hat-open", HiHat.NOT_CLOSED),
        (1.0, "hi-hat-half", HiHat.RIGHT),
        (1.5, "hi-hat", HiHat.NOT_OPEN),
        (1.5, "hi-hat-open", HiHat.RIGHT),
        (1.5, "hi-hat-half", HiHat.RIGHT),
    ],
)
def test_the_hi_hat_is_open_where_open_is_written(at_s: float, played: str, hi_hat: HiHat) -> None:
    grader = Grader(HAT, RULES)
    (first,) = grader.hit(Hit(at_s, played, 84))
    assert (first.verdict, first.hi_hat) == (Verdict.ON_TIME, hi_hat)
    found = [word for word in words(HAT, Hit(at_s, played, 84)) if word.hit == 0]
    assert [(word.verdict, word.hi_hat) for word in found] == [(Verdict.ON_TIME, hi_hat)]


def test_of_other_voices_nothing_is_said_about_the_hi_hat() -> None:
    assert {word.hi_hat for word in words(ONE, snare(1.0), snare(1.5))} == {None}


# A 32nd note lasts 62.5 ms at 120 bpm, and 100 ms at 75.
@pytest.mark.parametrize(
    ("grace_ms", "velocity", "ornament"),
    [
        (-42, 50, Ornament.RIGHT),
        (-15, 50, Ornament.RIGHT),
        (-77, 50, Ornament.RIGHT),
        (-12, 50, Ornament.RIGHT),
        (-11.9, 50, Ornament.FLAT),
        (0, 83, Ornament.FLAT),
        (-80, 50, Ornament.RIGHT),
        (-80.1, 50, Ornament.WIDE),
        (-125, 50, Ornament.WIDE),  # beyond the window
        (-42, 84, Ornament.GRACE_LOUD),
        (-42, 81, Ornament.RIGHT),
        (-42, 82, Ornament.GRACE_LOUD),
        (-160, 50, Ornament.GRACE_MISSING),
    ],
)
def test_flams(grace_ms: float, velocity: float, ornament: Ornament) -> None:
    # The figures are those at the head of ``graces``; what drummers do stands there, with source.
    targets = lay_out(groove(snare="---- f--- ---- ----"), 120.0, 1, start_s=0.5)
    found = words(targets, snare(1.0 + grace_ms / 1000.0, velocity), snare(1.0))
    assert [word.ornament for word in found if word.target == 0 and not word.grace] == [ornament]
    extra = ornament is Ornament.GRACE_MISSING
    assert [word.verdict for word in found if word.hit == 0] == [
        Verdict.EXTRA if extra else Verdict.ON_TIME
    ]
    assert [word.grace for word in found if word.hit == 0] == [not extra]


@pytest.mark.parametrize(
    ("tempo_bpm", "apart_ms", "ornament"),
    [
        (120, 35, Ornament.RIGHT),
        (120, 55, Ornament.RIGHT),
        (120, 62.5, Ornament.OPEN),
        (75, 100, Ornament.OPEN),
        (100, 75, Ornament.OPEN),
        (75, 60, Ornament.RIGHT),
        (120, 8, Ornament.FLAT),
        (160, 46.9, Ornament.RIGHT),  # as fast as a drag is anyway
    ],
)
def test_drags(tempo_bpm: float, apart_ms: float, ornament: Ornament) -> None:
    beat_s = 60.0 / tempo_bpm
    targets = lay_out(groove(snare="---- d--- ---- ----"), tempo_bpm, 1, start_s=1.0 - beat_s)
    times_s = [1.0 - place * apart_ms / 1000.0 for place in (2, 1, 0)]
    found = words(targets, *(snare(at_s, 40) for at_s in times_s[:2]), snare(1.0))
    assert [(word.grace, word.ornament) for word in sorted(found, key=lambda w: w.hit or 0)] == [
        (True, None),
        (True, None),
        (False, ornament),
    ]
    bare = words(targets, snare(times_s[1], 40), snare(1.0))
    assert [word.ornament for word in bare if not word.grace] == [Ornament.GRACE_MISSING]
