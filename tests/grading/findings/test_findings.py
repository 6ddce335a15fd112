"""Findings name the fault that was made: its voice, place and figure, in a teacher's words."""

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from playalong.grading.findings.candidate import Candidate, Mend
from playalong.grading.findings.offsets import _who
from playalong.grading.findings.text import leads_to_latency, sentence
from playalong.grading.grade import Code, Finding, Grade, Spot
from playalong.grading.levels import DEFAULT_LEVEL, LEVELS, Level
from playalong.grading.text import as_json
from playalong.grading.verdicts import Rules
from playalong.midi.hits import Hits
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, LIMBS, lay_out
from playalong.pattern.voices import BY_NAME, STAFF_ORDER, Limb
from playalong.simulation.human_touch import velocities
from playalong.simulation.skills import SKILLS
from tests.grading.making import groove, groove_of
from tests.helpers.exact_takes import faultless
from tests.helpers.fault_table import ROWS
from tests.helpers.grooves import grooves
from tests.helpers.played import Played
from tests.helpers.shipped import SHIPPED
from tests.helpers.told import codes, graded
from tests.long.faults import Asked, Told, first_of_faultless, told

PATTERN = groove(
    hi_hat="x-x- x-x- x-x- x-x-", snare="--g- X--g ---- X---", kick="x--- --x- x--- ----"
)
TARGETS = lay_out(PATTERN, PATTERN.tempo, 8)

#: By simulated players only (even numbers), so that the same is tested with and without takes.
CASES = (0, 2, 4)


@cache
def clear_cases() -> tuple[Told, ...]:
    """The clear faults of the table, a few cases each."""
    every = (
        told(Asked(row=row, small=False, case=case, seed=7))
        for row, own in enumerate(ROWS)
        if own.clear
        for case in CASES
    )
    return tuple(one for one in every if one is not None)


def grade_of(hits: Hits) -> Grade:
    return graded(PATTERN, TARGETS, hits)


def late(rows: np.ndarray, by_ms: float) -> Hits:
    hits = faultless(TARGETS)
    moved = hits.time_s + np.where(rows, by_ms / 1000.0, 0.0)
    return Hits.sorted(moved, hits.voice, hits.velocity)


def of(voice: str, count: str | None = None) -> np.ndarray:
    """Which targets are of a voice, at one spoken count if it is given."""
    meter = PATTERN.meter
    counts = [meter.count(TARGETS.places[place].stroke.at) for place in TARGETS.place]
    own = TARGETS.voice == STAFF_ORDER[voice]
    return own & np.array([count in (None, each) for each in counts])


def test_clear_faults_are_what_is_told_first() -> None:
    """Each fault by people who are fitted to drummers; 95 of 100 are asked."""
    cases = clear_cases()
    assert len(cases) > 2 * len(ROWS)
    wrong = [(ROWS[one.asked.row].name, one.said) for one in cases if one.said[0] not in one.honest]
    assert len(wrong) <= 0.06 * len(cases), wrong


def test_every_fault_of_the_table_is_found_at_least_twice_in_three() -> None:
    found: dict[str, list[bool]] = {}
    for one in clear_cases():
        name = ROWS[one.asked.row].name
        found.setdefault(name, []).append(bool(one.honest & {*one.said[:3]}))
    assert {name: hits for name, hits in found.items() if 3 * sum(hits) < 2 * len(hits)} == {}


def test_a_faultless_take_is_clean_and_says_so() -> None:
    grade = grade_of(faultless(TARGETS))
    assert [finding.code for finding in grade.findings] == ["clean"]
    assert grade.advice == grade.findings[0].text
    assert grade.findings[0].gain == 0.0


def test_everything_off_by_as_much_is_one_finding_and_leads_to_the_latency() -> None:
    """40 ms is inside the capture window, 110 ms is not: then pairs are sought anew."""
    everything = np.ones(len(TARGETS), np.bool_)
    for by_ms, code in ((40.0, "all_late"), (-40.0, "all_early"), (110.0, "all_late")):
        grade = grade_of(late(everything, by_ms))
        assert [finding.code for finding in grade.findings] == [code]
        assert grade.findings[0].value == pytest.approx(by_ms, abs=1.0)
        assert "latency" in grade.advice


def test_one_place_of_one_voice_has_its_place_and_its_figure() -> None:
    grade = grade_of(late(of("kick", "& of 2"), 60.0))
    first = grade.findings[0]
    assert (first.code, first.voice) == ("stroke_late", "kick")
    assert [(place.bar, place.count) for place in first.places] == [(1, "& of 2")]
    assert (first.n, first.of) == (8, 8)
    assert first.value == pytest.approx(60.0, abs=1.0)
    assert first.low <= first.value <= first.high
    assert "& of 2" in first.text


def test_what_mending_wins_is_in_points_and_the_dearest_comes_first() -> None:
    for one in clear_cases()[:20]:
        assert one.said
    grade = grade_of(late(of("kick"), 60.0))
    gains = [finding.gain for finding in grade.findings]
    assert all(0.0 <= gain <= 100.0 for gain in gains)
    assert gains[0] == max(gains)
    assert grade.score.total + gains[0] == pytest.approx(100.0, abs=1.0), "nothing else is wrong"


def all_findings() -> list[Finding]:
    kinds = (
        late(of("kick"), 60.0),
        late(of("hi-hat"), -60.0),
        late(of("snare", "2"), 70.0),
        Hits.of([]),
        faultless(TARGETS),
        late(np.ones(len(TARGETS), np.bool_), 40.0),
    )
    return [finding for hits in kinds for finding in grade_of(hits).findings]


def test_the_words_are_whole_sentences_and_no_foot_has_a_stick() -> None:
    for finding in all_findings():
        assert finding.text[0] == finding.text[0].upper()
        assert finding.text[-1] in ".?"
        assert "{" not in finding.text
        if finding.voice is not None and BY_NAME[finding.voice].limb is Limb.KICK_FOOT:
            assert "stick" not in finding.text
        if finding.code in ("limb_late", "limb_early", "all_late", "all_early"):
            assert "rush" not in finding.text
            assert "drag" not in finding.text


def test_the_json_of_a_finding_has_what_a_script_may_rely_on() -> None:
    (finding,) = as_json(grade_of(Hits.of([])))["findings"]
    assert finding["code"] == "nothing_played"
    assert set(finding) == {
        "code", "voice", "limb", "places", "n", "of", "value", "unit", "low", "high", "gain",
        "text",
    }  # fmt: skip


def test_a_take_without_a_habit_is_not_called_clean_where_strokes_were_missed() -> None:
    hits = faultless(TARGETS)
    kept = np.arange(len(hits)) != 40
    (finding,) = grade_of(
        Hits.sorted(hits.time_s[kept], hits.voice[kept], hits.velocity[kept])
    ).findings
    assert finding.code == "clean"
    assert "one stroke was missed" in finding.text


@pytest.mark.parametrize(("written", "played"), [(57, 66), (60, 68), (66, 74)])
def test_a_swing_played_further_is_not_told_as_written_straight(written: int, played: int) -> None:
    """The text of ``played_swung`` says that straight eighths are written, which is not so here."""
    lines = {"hi-hat": "xx xx xx xx", "snare": "-- x- -- x-", "kick": "x- -- x- --"}
    pattern, further = (groove_of(lines, swing=swing) for swing in (written, played))
    targets = lay_out(pattern, 100.0, 8)
    hits = faultless(lay_out(further, 100.0, 8))
    told_codes = [finding.code for finding in graded(pattern, targets, hits).findings]
    assert "played_swung" not in told_codes
    assert "played_straight" not in told_codes


@pytest.mark.parametrize("skill", ["professional", "advanced"])
def test_players_without_habits_are_clean(skill: str) -> None:
    """One in twenty may be told something by chance; ``tests.long faults`` has the full count."""
    names = sorted(grooves())[::4]
    items = [(skill, name, case, DEFAULT_LEVEL) for case, name in enumerate(names)]
    said = [first_of_faultless(item) for item in items]
    assert said.count("clean") >= len(said) - 1, said


@pytest.mark.parametrize("skill", ["intermediate", "beginner"])
def test_players_without_habits_are_clean_at_their_own_level(skill: str) -> None:
    """Of a beginner too, who misses strokes and strikes other drums now and then."""
    items = [(skill, name, case, Level(skill)) for case, name in enumerate(sorted(grooves()))]
    said = [first_of_faultless(item) for item in items]
    assert said.count("clean") >= 0.95 * len(said), said


def test_a_place_fails_by_chance_where_strokes_fail_everywhere() -> None:
    """Three of eight are told where nothing else is missed, and not where one in eight is."""
    place = np.flatnonzero(of("kick", "& of 2"))
    once = np.zeros(len(TARGETS), np.bool_)
    once[place[::3]] = True
    everywhere = once.copy()
    everywhere[np.random.default_rng(2).choice(len(TARGETS), len(TARGETS) // 8, replace=False)] = 1
    hits = faultless(TARGETS)

    def told_without(gone: np.ndarray) -> list[str]:
        kept = ~gone
        return codes(
            grade_of(Hits.sorted(hits.time_s[kept], hits.voice[kept], hits.velocity[kept]))
        )

    assert told_without(once)[0] == "missed_stroke"
    assert "missed_stroke" not in told_without(everywhere)


def candidate(code: Code, **figures: Any) -> Candidate:
    return Candidate(code=code, mend=Mend(), points=0.0, beside=0.0, **figures)


def test_a_place_has_its_bar_where_the_pattern_has_several() -> None:
    spots = (Spot(1, "e of 3"), Spot(2, "4"))
    told_of = {"voice": "kick", "n": 8, "of": 8, "value": 24.0}
    late_there = candidate(Code.STROKE_LATE, places=spots[:1], **told_of)
    assert (
        "the kick on the e of 3 comes 24 ms later than the strokes around it, every time"
        in sentence(late_there).lower()
    )
    assert "on the e of 3 of bar 1 comes" in sentence(replace(late_there, bars=2))
    both = candidate(Code.STROKE_LATE, places=spots, bars=2, **told_of)
    assert "on the e of 3 of bar 1 and on 4 of bar 2" in sentence(both)


def test_a_voice_that_is_silent_may_be_its_pad_and_a_double_trigger_is() -> None:
    silent = candidate(Code.MISSED_VOICE, voice="kick", n=32, of=32, value=100.0)
    assert "if its pad sounds" in sentence(silent)
    twice = candidate(Code.DOUBLE_TRIGGER, voice="snare", n=6, of=40, value=15.0)
    assert "the pad, not you" in sentence(twice)


@pytest.mark.parametrize(
    "code", [Code.STROKE_LOUD, Code.STROKE_SOFT, Code.GHOST_LOUD, Code.UNEVEN_LOUDNESS]
)
def test_a_foot_is_told_of_the_foot(code: Code) -> None:
    for voice in ("kick", "hi-hat-pedal"):
        words = sentence(candidate(code, voice=voice, n=8, of=8, value=8.0))
        assert "foot" in words
        assert "stick" not in words


def test_the_limb_that_is_off_is_not_one_of_those_that_agree() -> None:
    """Two hands beside each other on the click: that is a little late for drummers, who lie before
    it, and yet it is the foot that is early."""
    hits = faultless(TARGETS)
    by_ms = np.select([of("hi-hat"), of("snare"), of("kick")], [-0.7, 2.3, -14.4])
    grade = grade_of(Hits.sorted(hits.time_s + by_ms / 1000.0, hits.voice, hits.velocity))
    assert grade.findings[0].code is Code.LIMB_EARLY
    assert grade.findings[0].limb == Limb.KICK_FOOT.value


def test_a_limb_of_which_little_is_known_hides_no_other() -> None:
    """A few strokes of the hi-hat foot lie anywhere: the hand that is early for certain is told."""
    names = (Limb.HAT_HAND, Limb.SNARE_HAND, Limb.KICK_FOOT, Limb.HAT_FOOT)
    playing = np.array([LIMBS.index(limb) for limb in names])
    mean_ms, error_ms = np.array([-25.0, -8.2, -7.0, 30.0]), np.array([1.5, 2.0, 2.0, 12.0])
    assert LIMBS[_who(playing, mean_ms, error_ms)[0]] is Limb.HAT_HAND
    assert LIMBS[_who(playing, mean_ms, np.full(4, 1.5))[0]] is Limb.HAT_FOOT


def test_ghost_notes_are_as_far_under_the_others_as_the_level_asks() -> None:
    hits, chance = faultless(TARGETS), np.random.default_rng(4)
    ghost = TARGETS.dynamic == DYNAMICS.index(Dynamic.GHOST)
    level = np.where(ghost, -11.0, np.where(of("snare"), -3.0, -8.0))
    level += chance.normal(0.0, 1.0, len(level)) * np.where(ghost, 7.0, 2.5)
    played = Hits.sorted(hits.time_s, hits.voice, velocities(level))

    def told_at(level: Level) -> list[str]:
        return codes(graded(PATTERN, TARGETS, played, rules=Rules.at(level)))

    assert "ghost_loud" in told_at(Level.INTERMEDIATE)
    assert "ghost_loud" not in told_at(Level.BEGINNER)


def test_one_bar_says_nothing_of_a_limb() -> None:
    """However far it lies from the others: there are no other bars in which it came back."""
    pattern = grooves()["chairs-to-the-hall"]
    targets = lay_out(pattern, pattern.tempo, 1)
    for seed in range(6):
        hits = Played.by(targets, SKILLS["beginner"], seed).hits()
        said = codes(graded(pattern, targets, hits))
        assert not {"limb_late", "limb_early"} & {*said}


def uneven_of_twelve(bars: int, sd_ms: float, *, places_ms: float) -> int:
    """How many of twelve players are told that their time is uneven: every stroke of theirs is
    moved by chance, with this standard deviation, and every second place is early, the others late.
    """
    targets = lay_out(PATTERN, PATTERN.tempo, bars)
    at_ms = places_ms * np.where(targets.place % 2 == 0, 1.0, -1.0)
    told = 0
    for seed in range(12):
        played = Played.by(targets, SKILLS["professional"].without_habits(), seed)
        by_ms = at_ms + sd_ms * np.random.default_rng(seed).standard_normal(len(targets))
        grade = graded(PATTERN, targets, played.moved(by_ms / 1000.0).hits())
        told += codes(grade)[0] == "uneven_time"
    return told


def test_strokes_that_fall_anywhere_are_told_whatever_habits_their_places_have() -> None:
    assert uneven_of_twelve(16, 20.0, places_ms=0.0) >= 9
    assert uneven_of_twelve(16, 20.0, places_ms=14.0) >= 8


def test_a_few_strokes_scatter_by_chance() -> None:
    assert uneven_of_twelve(3, 18.0, places_ms=0.0) <= 4


def test_of_two_limbs_the_one_that_is_off_for_certain_is_told() -> None:
    """The kick lies before the hands anyway, so that of two limbs apart either may be the one."""
    playing = np.array([LIMBS.index(limb) for limb in (Limb.HAT_HAND, Limb.KICK_FOOT)])
    both = _who(playing, np.array([-2.0, -13.0]), np.array([2.0, 2.0]))
    assert {LIMBS[limb] for limb in both} == {Limb.HAT_HAND, Limb.KICK_FOOT}
    one = _who(playing, np.array([4.0, -44.0]), np.array([2.0, 2.0]))
    assert [LIMBS[limb] for limb in one] == [Limb.KICK_FOOT]


def test_flams_that_are_far_late_are_as_late_as_their_main_strokes() -> None:
    """Grace strokes lie nearer to the click than the main strokes, which left their windows."""
    pattern = SHIPPED["flam"]
    targets = lay_out(pattern, 60.0, 8)
    played = Played.by(targets, SKILLS["professional"].without_habits(), 3)
    usual_ms = float(np.nanmean(played.error_ms))
    late_by = graded(pattern, targets, played.warped(lambda at_s: at_s + 0.11).hits())
    first = late_by.findings[0]
    assert first.code == "all_late"
    assert first.value == pytest.approx(110.0 + usual_ms, abs=5.0)
    assert first.low is not None
    assert first.high is not None
    assert first.low < first.value < first.high


def test_a_level_takes_an_offset_that_lies_well_within_what_is_on_time() -> None:
    hits = late(np.ones(len(TARGETS), np.bool_), 10.0)

    def told_at(level: Level) -> list[str]:
        return codes(graded(PATTERN, TARGETS, hits, rules=Rules.at(level)))

    assert told_at(Level.INTERMEDIATE)[0] == "all_late"
    assert told_at(Level.BEGINNER) == ["clean"]


def test_nobody_is_uneven_who_spreads_far_less_than_the_level_asks() -> None:
    """Strokes that share no waves are the more uneven, but not that much more."""
    pattern = SHIPPED["flam"]
    targets = lay_out(pattern, pattern.tempo, 12)
    for seed in range(1, 11):
        told_of = graded(pattern, targets, Played.by(targets, SKILLS["intermediate"], seed).hits())
        uneven = [one for one in told_of.findings if one.code is Code.UNEVEN_TIME]
        asked_ms = LEVELS[DEFAULT_LEVEL].spread_ms
        assert all(one.value is not None and one.value >= 0.8 * asked_ms for one in uneven)


@pytest.mark.parametrize("late_s", [-0.2, 0.06, 0.1, 0.2, 0.8])
@pytest.mark.parametrize("percent", [2.0, 5.0, -4.0])
def test_another_tempo_is_told_of_who_begins_beside_the_click_as_well(
    late_s: float, percent: float
) -> None:
    played = Played.by(TARGETS, SKILLS["intermediate"], 5).hits()
    fast = replace(played, time_s=played.time_s / (1.0 + percent / 100.0) + late_s)
    assert codes(grade_of(fast))[0] == ("faster" if percent > 0 else "slower")


@pytest.mark.parametrize("late_s", [0.0, 0.1, -0.1, 0.3])
@pytest.mark.parametrize("percent", [4.0, -4.0])
def test_a_tempo_that_creeps_is_told_of_who_begins_beside_the_click_as_well(
    late_s: float, percent: float
) -> None:
    targets = lay_out(PATTERN, PATTERN.tempo, 16)
    played = Played.by(targets, SKILLS["intermediate"], 5).hits()
    gone = played.time_s**2 / (2.0 * targets.end_s) * percent / 100.0
    told = graded(PATTERN, targets, replace(played, time_s=played.time_s - gone + late_s))
    assert codes(told)[0] == ("speeding_up" if percent > 0 else "slowing_down")


@pytest.mark.parametrize("late_s", [0.0, 0.2, 0.5])
def test_far_too_fast_in_slow_quarters_is_told_without_a_warning(late_s: float) -> None:
    """Strokes lie so far apart that the middle of their delays is between two of them."""
    pattern = groove(
        hi_hat="x--- x--- x--- x---", snare="---- x--- ---- x---", kick="x--- ---- x--- ----"
    )
    targets = lay_out(pattern, 60.0, 4)
    exact = faultless(targets)
    told = graded(pattern, targets, replace(exact, time_s=exact.time_s * 0.88 + late_s))
    assert codes(told)[0] == "faster"
    assert np.isfinite([told.findings[0].low, told.findings[0].high]).all()


def test_where_all_is_played_it_is_no_other_pattern() -> None:
    """A second stroke beside each is too many, but what is written is all there."""
    hits = faultless(TARGETS)
    sixteenth_s = TARGETS.seconds_per_whole / 16.0
    twice = Hits.sorted(
        np.append(hits.time_s, hits.time_s + 0.5 * sixteenth_s),
        np.tile(hits.voice, 2),
        np.tile(hits.velocity, 2),
    )
    assert "other_pattern" not in codes(grade_of(twice))


def test_a_tempo_that_creeps_back_to_the_click_is_told_as_creeping() -> None:
    """From two per cent fast to two per cent slow: ahead on the whole, but never evenly."""
    targets = lay_out(PATTERN, PATTERN.tempo, 16)
    played = Played.by(targets, SKILLS["professional"], 5).hits()
    share = played.time_s / targets.end_s
    told = graded(
        PATTERN, targets, replace(played, time_s=played.time_s * (1.0 - 0.02 * (1.0 - share)))
    )
    assert codes(told)[0] == "slowing_down"


@pytest.mark.parametrize("percent", [-2.0, 2.0])
def test_half_the_tempo_is_told_where_it_is_a_little_faster_or_slower(percent: float) -> None:
    targets = lay_out(PATTERN, PATTERN.tempo, 16)
    half = faultless(lay_out(PATTERN, PATTERN.tempo / 2.0, 16))
    told = graded(PATTERN, targets, replace(half, time_s=half.time_s * (1.0 + percent / 100.0)))
    assert codes(told)[0] == "half_tempo"


def test_who_hurries_and_stops_has_not_missed_the_voices_after_it() -> None:
    pattern = grooves()["bucket-chain"]
    targets = lay_out(pattern, pattern.tempo, 16)
    played = Played.by(targets, SKILLS["professional"], 5).hits()
    until = played.time_s < targets.bar_starts_s[4] - 0.1
    hits = Hits.sorted(played.time_s[until] * 0.98, played.voice[until], played.velocity[until])
    assert codes(graded(pattern, targets, hits))[0] in ("stopped", "faster")


@pytest.mark.parametrize(("beats", "words"), [(1, "came in late"), (-1, "came in early")])
def test_who_comes_in_on_another_beat_is_not_sent_to_measure_the_latency(
    beats: int, words: str
) -> None:
    hits = faultless(TARGETS)
    by_s = beats * TARGETS.seconds_per_whole / 4.0
    told = grade_of(replace(hits, time_s=hits.time_s + by_s))
    assert codes(told)[0] == ("all_late" if beats > 0 else "all_early")
    assert words in told.findings[0].text
    assert not leads_to_latency(told)


def test_a_voice_that_is_all_on_another_pad_is_sent_to_the_kit() -> None:
    hits = faultless(TARGETS)
    moved = hits.voice == STAFF_ORDER["hi-hat"]
    voice = np.where(moved, STAFF_ORDER["ride"], hits.voice).astype(hits.voice.dtype)
    told = grade_of(Hits.sorted(hits.time_s, voice, hits.velocity))
    assert codes(told)[0] == "wrong_drum"
    assert "tell which pad it is" in told.findings[0].text


@pytest.mark.parametrize(
    ("under_db", "words"),
    [(0.0, "as loud as the other"), (6.0, "6 dB under the other"), (16.0, "Some ghost notes")],
)
def test_ghost_notes_far_under_the_others_are_too_loud_now_and_then(
    under_db: float, words: str
) -> None:
    told = Candidate(
        code=Code.GHOST_LOUD,
        voice="snare",
        mend=Mend(),
        points=1.0,
        beside=0.0,
        n=7,
        of=12,
        value=-under_db,
        unit="dB",
        low=-under_db - 2.0,
        high=-under_db + 2.0,
    )
    assert words in sentence(told)
    assert ("too near" in sentence(told)) == (under_db < 12.0)


def test_a_tempo_is_told_once() -> None:
    pattern = grooves()["gate-and-latch"]
    targets = lay_out(pattern, pattern.tempo, 8)
    played = Played.by(targets, SKILLS["beginner"], 9).hits()
    told = graded(pattern, targets, replace(played, time_s=played.time_s * 1.05 - 0.1))
    assert codes(told).count("slower") == 1


def test_half_the_tempo_is_not_another_pattern_as_well() -> None:
    pattern = grooves()["barrel-roll"]
    targets = lay_out(pattern, pattern.tempo, 8)
    played = Played.by(targets, SKILLS["beginner"], 9).hits()
    told = codes(graded(pattern, targets, replace(played, time_s=played.time_s * 2.06)))
    assert told[0] == "half_tempo"
    assert "other_pattern" not in told
