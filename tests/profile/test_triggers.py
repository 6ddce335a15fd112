"""Double triggers and crosstalk: those that are there are found, and nothing that was meant."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hit, Hits
from playalong.midi.pads import Guard, pad_of
from playalong.pattern.reader import read
from playalong.pattern.targets import GRACE_S, Targets, lay_out
from playalong.pattern.voices import STAFF_ORDER
from playalong.profile.triggers import (
    MOST_MASK_MS,
    OFTEN,
    SOFT_SHARE,
    STROKES,
    Findings,
    Strokes,
    find,
    proposals,
)

TOUCH = [24.0] * 8 + [80.0] * 8 + [116.0] * 8


def strokes_on(voice: str, velocities: list[float] = TOUCH, apart_s: float = 0.5) -> list[Hit]:
    return [Hit(1.0 + row * apart_s, voice, v) for row, v in enumerate(velocities)]


def after(hits: list[Hit], voice: str, delay_ms: float, *, share: float) -> list[Hit]:
    """A hit of ``voice`` after each of ``hits``, at a share of its velocity."""
    return [Hit(h.time_s + delay_ms / 1000.0, voice, h.velocity * share) for h in hits]


def calibrated(struck: str, hits: list[Hit]) -> Findings:
    return find([Strokes.calibrating(Hits.of(hits), struck)])


def targets_of(lines: str, bars: int = 8, tempo_bpm: float = 80.0) -> Targets:
    text = f'title = "T"\nmeter = "4/4"\ntempo = 80\n[[bar]]\n{lines}\n'
    return lay_out(read(text, "t"), tempo_bpm, bars)


def as_written(targets: Targets, velocity: float = 90.0) -> list[Hit]:
    """Every target played exactly, grace strokes at half the velocity."""
    return [
        Hit(at_s - grace * GRACE_S, voice, velocity / 2 if grace else velocity)
        for at_s, voice, graces in zip(
            targets.time_s.tolist(), targets.names, targets.graces.tolist(), strict=True
        )
        for grace in range(graces + 1)
    ]


def test_double_triggers_are_counted_with_delay_and_level():
    strokes = strokes_on("snare")
    bounced = after(strokes[10:15], "snare", 21.0, share=0.5)
    (found,) = calibrated("snare", strokes + bounced).doubles
    assert (found.voice, found.strokes) == ("snare", 24)
    assert found.share == pytest.approx(5 / 24)
    np.testing.assert_allclose(found.delay_ms, 21.0)
    # Downloadable Sounds Level 1: half the velocity is 40 * log10(2) = 12.04 dB less.
    np.testing.assert_allclose(found.change_db, -12.04, atol=0.01)
    np.testing.assert_allclose(found.velocity, [hit.velocity for hit in bounced])


def test_crosstalk_is_counted_with_where_it_comes_from():
    strokes = strokes_on("kick")
    heard = after(strokes[16:], "floor-tom", 3.0, share=0.1)
    heard += after(strokes[8:12], "floor-tom", -2.0, share=0.1)
    told = calibrated("kick", strokes + heard)
    (found,) = told.crosstalk
    assert (found.source, found.voice, found.strokes) == ("kick", "floor-tom", 24)
    assert found.share == pytest.approx(12 / 24)
    np.testing.assert_allclose(np.sort(found.delay_ms), [-2.0] * 4 + [3.0] * 8)
    np.testing.assert_allclose(found.change_db, -40.0)  # a tenth of the velocity, same formula
    assert told.doubles == ()


@pytest.mark.parametrize(("times", "told"), [(OFTEN - 1, 0), (OFTEN, 1)])
def test_what_happens_once_or_twice_is_no_fault_of_the_kit(times, told):
    strokes = strokes_on("snare")
    assert (
        len(calibrated("snare", strokes + after(strokes[:times], "snare", 20.0, share=0.4)).doubles)
        == told
    )
    assert (
        len(calibrated("snare", strokes + after(strokes[:times], "ride", 2.0, share=0.1)).crosstalk)
        == told
    )


def test_a_clean_kit_has_nothing_to_tell():
    told = calibrated("snare", strokes_on("snare"))
    assert (told.doubles, told.crosstalk) == ((), ())
    assert proposals(told) == ()
    (pad,) = told.pads
    assert (pad.voice, pad.strokes, pad.softest) == ("snare", 24, 24.0)
    assert pad.fastest_ms == pytest.approx(500.0)
    assert find([]) == Findings((), (), ())
    assert calibrated("snare", []).pads == ()


def test_a_rim_and_its_drum_are_one_pad():
    strokes = strokes_on("rim-shot")
    (found,) = calibrated("rim-shot", strokes + after(strokes, "snare", 4.0, share=0.3)).doubles
    assert (found.voice, found.strokes) == ("snare", 24)
    assert calibrated("rim-shot", strokes).crosstalk == ()


@pytest.mark.parametrize(
    ("name", "delays_ms", "shares"),
    [
        ("flam", [-30.0], [0.4]),
        ("drag", [-60.0, -30.0], [0.4, 0.4]),
        ("double", [70.0], [0.9]),
        ("even double", [55.0], [1.0]),
        ("buzz", [28.0, 55.0, 84.0, 110.0], [0.5, 0.45, 0.4, 0.3]),
    ],
)
def test_strokes_close_together_that_are_meant_are_no_double_triggers(name, delays_ms, shares):
    strokes = strokes_on("snare", [100.0] * 12)
    close = [
        after(strokes, "snare", delay_ms, share=share)
        for delay_ms, share in zip(delays_ms, shares, strict=True)
    ]
    hits = strokes + [hit for part in close for hit in part]
    assert calibrated("snare", hits).doubles == ()


@pytest.mark.parametrize("share", [0.7, 1.0, 1.2])
def test_two_pads_struck_together_are_no_crosstalk(share):
    """Nothing asks for the snare here: at the level of a stroke it is meant all the same."""
    strokes = strokes_on("hi-hat", [90.0] * 16)
    hits = strokes + after(strokes, "snare", 4.0, share=share)
    assert calibrated("hi-hat", hits).crosstalk == ()


def test_soft_strokes_that_the_pattern_asks_for_are_no_crosstalk():
    """Ghost notes exactly under the hi-hat and the bass drum, every time."""
    targets = targets_of('hi-hat = "X X X X"\nsnare = "g g g g"\nkick = "X X X X"')
    hits = [
        Hit(at_s, voice, 22.0 if voice == "snare" else 118.0)
        for at_s, voice in zip(targets.time_s.tolist(), targets.names, strict=True)
    ]
    told = find([Strokes.of_run(targets, Hits.of(hits), Rules())])
    assert (told.doubles, told.crosstalk) == ((), ())
    # The same hits where only the hi-hat is written: the snare is then the hi-hat's crosstalk.
    alone = targets_of('hi-hat = "X X X X"')
    hits = [hit for hit in hits if hit.voice != "kick"]
    (found,) = find([Strokes.of_run(alone, Hits.of(hits), Rules())]).crosstalk
    assert (found.source, found.voice) == ("hi-hat", "snare")


def test_crosstalk_is_laid_to_the_pad_that_makes_it_and_not_to_what_is_struck_with_it():
    """The hi-hat plays on with the kick, and louder; only where the kick plays is the tom heard."""
    targets = targets_of('hi-hat = "xx xx xx xx"\nkick = "x- -x -- x-"')
    hits = [
        Hit(hit.time_s, hit.voice, 120.0 if hit.voice == "hi-hat" else 100.0)
        for hit in as_written(targets)
    ]
    heard = after([hit for hit in hits if hit.voice == "kick"], "floor-tom", 2.0, share=0.1)
    (found,) = find([Strokes.of_run(targets, Hits.of(hits + heard), Rules())]).crosstalk
    assert (found.source, found.voice, found.share) == ("kick", "floor-tom", 1.0)


def test_flams_and_drags_of_a_run_are_asked_for():
    targets = targets_of('snare = "f d F D"')
    told = find([Strokes.of_run(targets, Hits.of(as_written(targets)), Rules())])
    assert told.doubles == ()
    assert told.pads[0].strokes == int(len(targets) + targets.graces.sum()) == 8 * (4 + 6)


@pytest.mark.parametrize("early_ms", [0.0, 18.0])
def test_the_louder_of_two_is_the_stroke_whichever_lies_nearer(early_ms):
    targets = targets_of('snare = "x x x x"')
    strokes = [Hit(hit.time_s - early_ms / 1000.0, "snare", 90.0) for hit in as_written(targets)]
    hits = Hits.of(strokes + after(strokes, "snare", 20.0, share=0.4))
    (found,) = find([Strokes.of_run(targets, hits, Rules())]).doubles
    assert len(found.delay_ms) == found.strokes == len(targets)
    np.testing.assert_allclose(found.delay_ms, 20.0)


def test_hits_that_are_not_judged_prove_nothing():
    targets = targets_of('kick = "x x x x"')
    hits = as_written(targets)
    outside = [Hit(targets.end_s + 5.0 + t, "kick", v) for t in range(9) for v in (90.0, 30.0)]
    pedal = after(hits, "hi-hat-pedal", 2.0, share=0.1)
    told = find([Strokes.of_run(targets, Hits.of(hits + outside + pedal), Rules())])
    assert (told.doubles, told.crosstalk) == ((), ())
    assert told.pads[0].strokes == len(targets)


def test_what_several_playings_show_is_added_up():
    playing = []
    for voice in ("snare", "kick"):
        strokes = strokes_on(voice)
        bounced = after(strokes[:4], voice, 15.0, share=0.3)
        playing += [Strokes.calibrating(Hits.of(strokes + bounced), voice)] * 2
    doubles = find(playing).doubles
    assert [(found.voice, found.strokes, len(found.delay_ms)) for found in doubles] == [
        ("snare", 48, 8),
        ("kick", 48, 8),
    ]


def test_a_mask_time_covers_what_was_seen():
    strokes = strokes_on("snare")
    hits = (
        strokes
        + after(strokes[:4], "snare", 12.0, share=0.5)
        + after(strokes[9:12], "snare", 19.0, share=0.5)
    )
    (told,) = proposals(calibrated("snare", hits))
    assert told.voice == "snare"
    assert 19.0 < told.guard.mask_ms <= 25.0
    assert told.guard.threshold == 0.0
    assert "7 of 24 strokes on the snare sounded twice, 12 to 19 ms later" in told.words
    assert f"mask time of {told.guard.mask_ms:.0f} ms" in told.words


def test_a_threshold_lies_between_the_crosstalk_and_the_softest_stroke():
    kick, tom = strokes_on("kick"), strokes_on("floor-tom")
    heard = after(kick[12:], "floor-tom", 2.0, share=0.08)
    playing = [
        Strokes.calibrating(Hits.of(kick + heard), "kick"),
        Strokes.calibrating(Hits.of(tom), "floor-tom"),
    ]
    (told,) = proposals(find(playing))
    assert told.voice == "floor-tom"
    assert max(hit.velocity for hit in heard) < told.guard.threshold <= SOFT_SHARE * 24.0
    assert told.guard.mask_ms == 0.0
    assert "12 of 24 strokes on the kick sounded the floor tom too" in told.words


def test_crosstalk_as_loud_as_soft_strokes_is_for_the_module():
    kick, tom = strokes_on("kick"), strokes_on("floor-tom")
    playing = [
        Strokes.calibrating(Hits.of(kick + after(kick, "floor-tom", 2.0, share=0.2)), "kick"),
        Strokes.calibrating(Hits.of(tom), "floor-tom"),
    ]
    (told,) = proposals(find(playing))
    assert told.guard == Guard()
    assert "crosstalk cancellation" in told.words
    # Without soft strokes of the tom to compare with, there is no bound and no threshold.
    (told,) = proposals(find(playing[:1]))
    assert told.guard == Guard()
    assert "Strike the floor tom as well" in told.words


def test_late_double_triggers_are_for_the_module():
    strokes = strokes_on("kick")
    (told,) = proposals(calibrated("kick", strokes + after(strokes, "kick", 52.0, share=0.5)))
    assert told.guard == Guard()
    assert "retrigger" in told.words


def test_the_players_own_fast_strokes_bound_the_mask():
    strokes = strokes_on("snare", [100.0] * 12)
    bounced = strokes + after(strokes[:6], "snare", 30.0, share=0.4)
    (told,) = proposals(calibrated("snare", bounced))
    assert told.guard.mask_ms > 30.0
    # The same player's drags, as a run asks for them: two grace strokes alike, 30 ms apart.
    targets = targets_of('snare = "D D D D"')
    drags = Strokes.of_run(targets, Hits.of(as_written(targets)), Rules())
    (told,) = proposals(find([Strokes.calibrating(Hits.of(bounced), "snare"), drags]))
    assert told.guard == Guard()


velocities = st.floats(4.0, 127.0)
gaps = st.floats(0.01, 0.4)
pads_struck = st.sampled_from(["snare", "rim-shot", "hi-hat", "hi-hat-open", "kick"])


@st.composite
def playings(draw: st.DrawFn) -> Strokes:
    """Strokes at any time and level that were asked for; pads that bounce and knock, and which
    hits nobody asked for."""
    rows = draw(st.lists(st.tuples(gaps, pads_struck, velocities), min_size=4, max_size=24))
    strokes, at_s = [], 0.0
    for gap_s, voice, velocity in rows:
        at_s += gap_s
        strokes.append(Hit(at_s, voice, velocity))
    often = draw(st.lists(st.booleans(), min_size=len(rows), max_size=len(rows)))
    struck = [hit for hit, bounces in zip(strokes, often, strict=True) if bounces]
    delay_ms, share = draw(st.floats(1.0, 59.0)), draw(st.floats(0.02, 0.7))
    added = [one for hit in struck for one in after([hit], hit.voice, delay_ms, share=share)]
    added += after(struck, "snare", draw(st.floats(-7.0, 7.0)), share=share / 3.0)
    added = [hit for hit in added if hit.velocity >= 1.0]
    told = [(hit, True) for hit in strokes] + [(hit, False) for hit in added]
    told.sort(key=lambda one: (one[0].time_s, STAFF_ORDER[one[0].voice], -one[0].velocity))
    return Strokes(Hits.of([hit for hit, _ in told]), np.array([a for _, a in told], np.bool_))


def swallowed(guard: Guard, strokes: list[Hit]) -> list[Hit]:
    """By the rule of ``Guard``: under the threshold, or within the mask and not louder."""
    gone, last = [], None
    for hit in strokes:
        near = last is not None and (hit.time_s - last.time_s) * 1000.0 < guard.mask_ms
        if hit.velocity < guard.threshold or (near and hit.velocity <= last.velocity):
            gone.append(hit)
        else:
            last = hit
    return gone


@given(st.lists(playings(), max_size=3))
def test_no_guard_swallows_what_was_asked_for(playing):
    for proposal in proposals(find(playing)):
        assert proposal.words
        assert proposal.guard.mask_ms <= MOST_MASK_MS
        for part in playing:
            asked = [part.hits[row] for row in np.flatnonzero(part.expected).tolist()]
            own = [hit for hit in asked if pad_of(hit.voice) == proposal.voice]
            assert swallowed(proposal.guard, own) == []


@given(st.lists(playings(), max_size=3))
def test_what_is_told_keeps_to_its_definition(playing):
    told = find(playing)
    for double in told.doubles:
        assert len(double.delay_ms) >= OFTEN
        assert (double.delay_ms >= 0.0).all()
        assert (double.delay_ms <= 60.0 + 1e-6).all()
        assert (double.change_db <= -4.0).all()
    for talk in told.crosstalk:
        assert talk.source != talk.voice
        assert (np.abs(talk.delay_ms) <= 8.0 + 1e-6).all()
        assert (talk.change_db <= -10.0).all()


def left_after(hits: list[Hit]) -> int:
    return Strokes.calibrating(Hits.of(hits), "snare").left("snare")


def test_more_strokes_are_asked_for_where_one_or_two_were_doubled():
    """Binomial: of 32 strokes 97 % of pads that double one in ten show it, 63 % three times; of 64
    94 % of all."""
    strokes = strokes_on("snare", [90.0] * 2 * STROKES)
    assert left_after([]) == STROKES
    assert left_after(strokes[:20]) == STROKES - 20
    assert left_after(strokes[:STROKES]) == left_after(strokes[: STROKES + 2]) == 0
    for times, expected in ((1, STROKES), (OFTEN - 1, STROKES), (OFTEN, 0)):
        hits = strokes[:STROKES] + after(strokes[:times], "snare", 20.0, share=0.4)
        assert left_after(hits) == expected
    seen = binom.sf(0, STROKES, 0.1)
    often = binom.sf(OFTEN - 1, STROKES, 0.1)
    later = sum(binom.pmf(n, STROKES, 0.1) * binom.sf(OFTEN - 1 - n, STROKES, 0.1) for n in (1, 2))
    assert (round(seen, 2), round(often, 2), round(often + later, 2)) == (0.97, 0.63, 0.94)


@pytest.mark.parametrize("gaps_ms", [(42.0,), (40.0, 45.0), (70.0, 50.0), (30.0, 85.0)])
def test_ornaments_in_place_of_single_strokes_are_no_double_triggers(gaps_ms):
    """The second grace stroke of a drag may be the softer one, and lie nearer to the first."""
    main = strokes_on("snare", [100.0] * STROKES)
    graces = after(main, "snare", -gaps_ms[-1], share=0.3)
    if len(gaps_ms) > 1:
        graces += after(main, "snare", -sum(gaps_ms), share=0.6)
    assert calibrated("snare", main + graces).doubles == ()
