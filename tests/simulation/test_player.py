"""The simulated player: what it sends, what it says it did, and how it plays over many strokes."""

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from playalong.grading.loudness import level_db
from playalong.midi.mapping import Mapper
from playalong.midi.port import Arrival
from playalong.pattern.model import Dynamic
from playalong.pattern.reader import read
from playalong.pattern.targets import DYNAMICS, Targets, lay_out
from playalong.pattern.voices import BY_NAME, STAFF_ORDER, TOMS, VOICES, Limb, note_of
from playalong.simulation.human_timing import tempo_factor
from playalong.simulation.human_touch import levels_db
from playalong.simulation.player import Performance, SimulatedPort, Truth, perform, send
from playalong.simulation.skills import SKILLS, Habit, Skill
from tests.helpers.steady_player import EXACT, STEADY, WILD

BEGINNER = SKILLS["beginner"]

HEAD = 'title = "T"\nmeter = "4/4"\ntempo = 60\n'
#: A stroke each second and voice, and every dynamic: room for every error.
ROOMY = HEAD + (
    '[[bar]]\nhi-hat = "x X g x"\nsnare = "g X x x"\nkick = "x x X g"\nhi-hat-pedal = "x x x x"\n'
)
#: Everything that a line can say.
RICH = HEAD + (
    '[[bar]]\nhi-hat = "xo xO xx x?o"\nsnare = "--g- f-g- --d- X--g?"\n'
    'kick = "x--x --x?- x-x- -x--"\ncrash = "F - - -"\n'
)


def targets_of(text: str, bars: int, tempo_bpm: float = 60.0, *, start_s: float = 0.0) -> Targets:
    return lay_out(read(text, "t"), tempo_bpm, bars, start_s=start_s)


def notes_on(performance: Performance) -> list[tuple[float, int, int]]:
    """(seconds, note, velocity) of the strokes."""
    return [(at_s, data[1], data[2]) for at_s, data in performance.messages if data[0] == 0x99]


def played(targets: Targets, truth: Truth) -> np.ndarray:
    """Which targets were played as written."""
    return ~np.isnan(truth.error_ms)


def test_the_same_seed_plays_the_same_and_another_does_not():
    targets = targets_of(RICH, 8)
    one, again, other = (perform(targets, BEGINNER, seed) for seed in (3, 3, 4))
    assert one.messages == again.messages
    np.testing.assert_array_equal(one.truth.error_ms, again.truth.error_ms)
    assert (one.truth.missed, one.truth.wrong_drum) == (again.truth.missed, again.truth.wrong_drum)
    assert one.messages != other.messages


@pytest.mark.parametrize("skill", [STEADY, BEGINNER, WILD], ids=["steady", "beginner", "wild"])
@pytest.mark.parametrize("seed", range(5))
def test_the_messages_are_those_that_the_truth_tells_of(skill, seed):
    targets = targets_of(RICH, 16, start_s=2.0)
    performance = perform(targets, skill, seed)
    truth = performance.truth
    as_written = played(targets, truth)
    wrong = np.zeros(len(targets), np.bool_)
    wrong[list(truth.wrong_drum)] = True
    missed = np.zeros(len(targets), np.bool_)
    missed[list(truth.missed)] = True
    assert (as_written.astype(int) + wrong + missed == 1).all()

    strokes = notes_on(performance)
    expected = Counter()
    for number in np.flatnonzero(as_written).tolist():
        at_s = targets.time_s[number] + truth.error_ms[number] / 1000.0
        open_hat = targets.places[targets.place[number]].stroke.is_open
        voice = "hi-hat-open" if open_hat else targets.names[number]
        expected[round(at_s, 9), note_of(voice)] += 1
    sent = Counter((round(at_s, 9), note) for at_s, note, _ in strokes)
    assert expected <= sent
    graces = int(targets.graces[as_written].sum())
    assert sum((sent - expected).values()) == graces + len(truth.wrong_drum) + truth.extra


@pytest.mark.parametrize("seed", range(3))
def test_messages_come_in_order_and_every_stroke_ends(seed):
    messages = perform(targets_of(RICH, 16), WILD, seed).messages
    times = [at_s for at_s, _ in messages]
    assert times == sorted(times)
    kinds = Counter((data[0] & 0xF0, data[1]) for _, data in messages)
    for (kind, note), count in kinds.items():
        assert kinds[0x80 if kind == 0x90 else 0x90, note] == count
    assert all(1 <= data[2] <= 127 for _, data in messages if data[0] == 0x99)


@pytest.mark.parametrize("tempo_bpm", [60.0, 240.0])
def test_strokes_of_a_voice_keep_their_order_and_stay_in_reach(tempo_bpm):
    """In reach: nearer to its own place than to any other, and within 100 ms, graces and all."""
    targets = targets_of(RICH, 40, tempo_bpm)
    truth = perform(targets, WILD, 1).truth
    played_s = targets.time_s + truth.error_ms / 1000.0
    assert np.abs(truth.error_ms).max() > 50.0
    for voice in np.unique(targets.voice):
        own = targets.voice == voice
        assert (np.diff(played_s[own]) > 0.0).all()
        half_s = np.diff(targets.time_s[own]) / 2.0
        assert (truth.error_ms[own][:-1] / 1000.0 < half_s).all()
        assert (-truth.error_ms[own][1:] / 1000.0 < half_s).all()
    assert np.abs(truth.error_ms).max() < 100.0


def before_main_ms(skill: Skill, seed: int) -> dict[int, list[list[tuple[float, int]]]]:
    """Of every flam and drag the grace strokes, each with its distance to the next and velocity,
    under the number of its grace strokes, the main stroke last."""
    targets = targets_of(HEAD + '[[bar]]\nsnare = "f d f d"\n', 200)
    performance = perform(targets, skill, seed)
    strokes = iter(notes_on(performance))
    found: dict[int, list[list[tuple[float, int]]]] = {1: [], 2: []}
    for graces in targets.graces.tolist():
        own = [next(strokes) for _ in range(graces + 1)]
        times = [at_s for at_s, _, _ in own]
        gaps = [*(1000.0 * np.diff(times)), 0.0]
        found[graces].append([(gap, own[n][2]) for n, gap in enumerate(gaps)])
    assert next(strokes, None) is None
    return found


def test_grace_strokes_lie_as_the_skill_says():
    """The professional's 42 ms are those of the Groove MIDI Dataset, see ``skills``."""
    for graces, groups in before_main_ms(SKILLS["professional"], 2).items():
        gaps = [gap for group in groups for gap, _ in group[:-1]]
        assert len(gaps) == 400 * graces
        # Where two have to go into the window they lie a little closer.
        assert np.mean(gaps) == pytest.approx(42.0 if graces == 1 else 36.0, abs=1.5)
        assert 12.0 <= min(gaps) < 30.0 < 45.0 < max(gaps) <= 80.0
        softer = [group[-1][1] - grace for group in groups for _, grace in group[:-1]]
        assert min(softer) >= 0
        assert np.median(softer) > 20


def test_grace_strokes_stay_in_reach():
    for groups in before_main_ms(WILD, 2).values():
        for group in groups:
            assert sum(gap for gap, _ in group) < 100.0


def test_an_optional_stroke_is_never_missed_nor_put_elsewhere():
    targets = targets_of(RICH, 200)
    careless = replace(STEADY, miss=0.5, wrong_drum=0.5)
    truth = perform(targets, careless, 1).truth
    assert targets.optional.any()
    assert played(targets, truth)[targets.optional].all()
    gone = set(truth.missed) | set(truth.wrong_drum)
    assert len(gone) > len(targets) / 2


def test_nothing_to_play_is_nothing_played():
    targets = targets_of(RICH, 1).until(0.0)
    performance = perform(targets, BEGINNER, 1)
    assert performance.messages == ()
    assert performance.truth.extra == 0


def test_over_many_strokes_the_errors_are_those_of_the_skill():
    """Five standard errors of mean and spread: one seed in some hundred thousand would fail."""
    targets = targets_of(ROOMY, 1000)
    truth = perform(targets, STEADY, 7).truth
    limbs = np.array([BY_NAME[voice].limb for voice in targets.names])
    for limb, (mean, sd) in STEADY.error_ms.items():
        errors = truth.error_ms[(limbs == limb) & played(targets, truth)]
        assert errors.mean() == pytest.approx(mean, abs=5.0 * sd / len(errors) ** 0.5)
        assert errors.std() == pytest.approx(sd, abs=5.0 * sd / (2 * len(errors)) ** 0.5)


def levels_by(performance: Performance, targets: Targets) -> dict[tuple[str, Dynamic], list[float]]:
    """The levels, in dB, of all strokes of a voice and dynamic."""
    numbers = {
        (round(at_s, 6), note_of(voice)): (voice, DYNAMICS[code])
        for at_s, voice, code in zip(
            targets.time_s + performance.truth.error_ms / 1000.0,
            targets.names,
            targets.dynamic,
            strict=True,
        )
    }
    found: dict[tuple[str, Dynamic], list[float]] = {}
    for at_s, note, velocity in notes_on(performance):
        if (round(at_s, 6), note) in numbers:  # else on another drum, or extra
            found.setdefault(numbers[round(at_s, 6), note], []).append(level_db(velocity))
    return found


def test_over_many_strokes_the_levels_are_those_of_the_skill():
    """A wave over some beats widens the standard errors; what lies beyond 127 is cut off."""
    targets = targets_of(ROOMY, 1000)
    for (voice, dynamic), levels in levels_by(perform(targets, STEADY, 8), targets).items():
        has_accents = voice in ("hi-hat", "snare", "kick")
        mean, sd = STEADY.touch[BY_NAME[voice].limb].of(dynamic, has_accents)
        assert np.median(levels) == pytest.approx(mean, abs=0.3)
        assert np.std(levels) == pytest.approx(sd, rel=0.15)


def test_ghost_notes_lie_as_far_under_the_others_as_drummers_play_them():
    """Groove MIDI Dataset (Gillick et al., ICML 2019), 184 takes: ghost notes 21 dB under the
    other snare strokes, 12 to 39 from take to take; measured by ``tests.long players``."""
    row = '[[bar]]\nsnare = "--gx --gx"\nkick = "x--- x---"\nhi-hat = "xxxx xxxx"\n'
    targets = targets_of(HEAD.replace("4/4", "2/4") + row, 200)
    for name, low, high in (("professional", 18.0, 25.0), ("beginner", 4.0, 16.0)):
        levels = levels_by(perform(targets, SKILLS[name].without_habits(), 1), targets)
        plain, ghost = (levels["snare", kind] for kind in (Dynamic.NORMAL, Dynamic.GHOST))
        assert low < np.median(plain) - np.median(ghost) < high


#: The same on the hi-hat and on the toms, on beats and between.
HAT_AND_TOMS = 'title = "T"\nmeter = "4/4"\ntempo = 60\n' + (
    '[[bar]]\nhi-hat = "xx xx xx xx"\n[[bar]]\nhigh-tom = "xx xx -- --"\n'
    'floor-tom = "-- -- xx xx"\n'
)


def test_toms_hardly_lean_on_the_beats_as_a_hi_hat_does():
    """The Groove MIDI Dataset (Gillick et al., ICML 2019), 75 takes with toms on and between beats:
    the former 2 dB over the latter, the median; hi-hats 5 dB, half of the takes beyond -0.2 to
    12 dB."""
    targets = targets_of(HAT_AND_TOMS, 40)
    on = np.array([(place.stroke.at * 4).denominator == 1 for place in targets.places])
    on_beat = on[targets.place]
    is_tom = np.isin(targets.voice, [STAFF_ORDER[voice] for voice in TOMS])
    leans_db: dict[bool, list[float]] = {True: [], False: []}
    for seed in range(30):
        skill = SKILLS["professional"]
        level = levels_db(targets, skill.touch_of, np.random.default_rng(seed))
        for toms, rows in ((True, is_tom), (False, ~is_tom)):
            apart = level[rows & on_beat].mean() - level[rows & ~on_beat].mean()
            leans_db[toms].append(abs(float(apart)))
    assert np.median(leans_db[True]) < 4.0
    assert np.median(leans_db[False]) > 2.0 * np.median(leans_db[True])


def test_who_plays_accents_on_one_tom_plays_the_others_softer():
    """Toms are played as one row of drums (common practice)."""

    def mid_tom_db(high_tom: str) -> float:
        text = HEAD + f'[[bar]]\nhigh-tom = "{high_tom}"\nmid-tom = "- - x x"\n'
        targets = targets_of(text, 50)
        rows = targets.voice == STAFF_ORDER["mid-tom"]
        skill = SKILLS["professional"]
        levels = [
            levels_db(targets, skill.touch_of, np.random.default_rng(seed))[rows].mean()
            for seed in range(20)
        ]
        return float(np.mean(levels))

    assert mid_tom_db("x x - -") - mid_tom_db("X x - -") == pytest.approx(4.5, abs=1.5)


@pytest.mark.parametrize("name", SKILLS)
def test_people_differ_but_a_seed_is_one_person(name):
    """From one seed to the next spreads differ by a factor, 0.15 as a standard deviation of the
    logarithm; what is left of 0.05 comes from the waves."""
    targets = targets_of(HEAD + '[[bar]]\nhi-hat = "x x x x"\nsnare = "x - x -"\n', 100)
    skill = SKILLS[name].without_habits()
    spreads = [np.nanstd(perform(targets, skill, seed).truth.error_ms) for seed in range(40)]
    assert 0.08 < np.std(np.log(spreads)) < 0.25
    usual = np.hypot(skill.shared_ms, skill.error_ms[Limb.HAT_HAND][1]) * tempo_factor(1.0)
    assert np.median(spreads) == pytest.approx(usual, rel=0.15)


def test_skills_are_in_order():
    """A better player is narrower, misses less, and keeps ghost notes softer."""
    ranked = [SKILLS[n] for n in ("beginner", "intermediate", "advanced", "professional")]
    for worse, better in pairwise(ranked):
        assert worse.shared_ms > better.shared_ms
        assert worse.miss >= better.miss
        assert set(worse.error_ms) == set(better.error_ms) >= {voice.limb for voice in VOICES}
        for limb in worse.error_ms:
            assert worse.error_ms[limb][1] > better.error_ms[limb][1]
            assert worse.touch[limb].ghost_db > better.touch[limb].ghost_db
            assert worse.touch[limb].spread_db > better.touch[limb].spread_db


def test_a_habit_shows_where_it_should():
    targets = targets_of(ROOMY, 8)
    late = Habit(limb=Limb.KICK_FOOT, nth=1, late_ms=40.0, louder_db=-6.0)
    gone = Habit(voice="hi-hat", every=10, leaves_out=True)
    habitual = replace(EXACT, habits=(late, gone))
    with_habits, without = (
        perform(targets, skill, 3) for skill in (habitual, habitual.without_habits())
    )
    assert without.truth.missed == ()
    lead = np.flatnonzero(np.array(targets.names) == "hi-hat")
    assert with_habits.truth.missed == tuple(lead[5::10].tolist())
    second = np.array([p.stroke.at == Fraction(1, 4) for p in targets.places])[targets.place]
    moved = (np.array(targets.names) == "kick") & second
    expected = np.where(moved, 40.0, 0.0)
    expected[list(with_habits.truth.missed)] = np.nan
    np.testing.assert_allclose(with_habits.truth.error_ms, expected)
    levels, usual = (levels_by(p, targets)["kick", Dynamic.NORMAL] for p in (with_habits, without))
    softer = np.array(usual) - np.array(levels)
    assert sorted(np.round(softer / 6.0).astype(int).tolist()) == [0] * 8 + [1] * 8


@pytest.mark.parametrize("name", SKILLS)
def test_habits_can_be_in_any_pattern(name):
    for text in (RICH, ROOMY, HEAD + '[[bar]]\nride = "x - - -"\n'):
        targets = targets_of(text, 3)
        for habit in SKILLS[name].habits:
            assert habit.at(targets).shape == (len(targets),)
        perform(targets, SKILLS[name], 1)


def test_over_many_strokes_the_faults_are_those_of_the_skill():
    targets = targets_of(ROOMY, 2000)
    truth = perform(targets, BEGINNER, 9).truth
    count = len(targets)
    for found, share in (
        (len(truth.missed), BEGINNER.miss),
        (len(truth.wrong_drum), BEGINNER.wrong_drum),
    ):
        assert found == pytest.approx(share * count, abs=5.0 * (share * count) ** 0.5)
    # Extras near a missed target are left out, so that they cannot be meant for it.
    assert 0 < truth.extra < BEGINNER.extra * count


def test_a_drift_makes_the_whole_run_shorter():
    targets = targets_of(ROOMY, 10, start_s=3.0)
    strokes = notes_on(perform(targets, replace(EXACT, drift_percent=25.0), 1))
    at_s = sorted({round(stroke[0], 9) for stroke in strokes})
    np.testing.assert_allclose(at_s, 3.0 + np.arange(40) * 0.8, atol=1e-9)


def test_a_half_open_hi_hat_is_told_by_the_pedal():
    """Controller 4 before each stroke on the hi-hat, since no number means half open."""
    rows = 'hi-hat = "x- --"\nhi-hat-half = "-x --"\nhi-hat-open = "-- x-"\nsnare = "-- -x"\n'
    targets = lay_out(read(HEAD.replace("4/4", "2/4") + "[[bar]]\n" + rows, "t"), 60.0, 3)
    mapper = Mapper()
    hits = [mapper.hit(at_s, data) for at_s, data in perform(targets, EXACT, 1).messages]
    found = [(hit.time_s, hit.voice) for hit in hits if hit]
    assert found == list(zip(targets.time_s.tolist(), targets.names, strict=True))


def test_the_pedal_stands_still_where_the_note_number_is_enough():
    sent = {data[0] & 0xF0 for _, data in perform(targets_of(RICH, 4), STEADY, 1).messages}
    assert sent == {0x90, 0x80}


@pytest.mark.parametrize("name", BY_NAME)
def test_every_voice_can_be_played(name):
    row = f'[[bar]]\n{name} = "x x x x"\n'
    assert len(notes_on(perform(targets_of(HEAD + row, 2), STEADY, 1))) == 8


def test_a_simulated_port_hands_out_what_is_due():
    performance = perform(targets_of(RICH, 4), BEGINNER, 1)
    clock = [90.0]
    port = SimulatedPort(performance, 100.0, lambda: clock[0])
    assert port.poll() == []
    found: list[Arrival] = []
    for tick in range(200):
        before_s, clock[0] = clock[0], 99.5 + tick * 0.1
        fresh = port.poll()
        assert all(before_s < arrival.stamp_s <= clock[0] for arrival in fresh)
        found += fresh
        assert port.poll() == []
    assert found == [
        Arrival(stamp_s=100.0 + at_s, arrival_s=100.0 + at_s, data=data)
        for at_s, data in performance.messages
    ]
    assert port.is_there()
    port.close()


def test_a_performance_is_sent_when_its_time_comes():
    performance = perform(targets_of(RICH, 2), STEADY, 1)
    now_s, sent = [50.0], []

    class Output:
        def send(self, data: bytes) -> None:
            sent.append((now_s[0], data))

    def wait(seconds: float) -> None:
        assert seconds >= 0.0
        now_s[0] += seconds

    send(performance, Output(), 51.0, now=lambda: now_s[0], wait=wait)
    assert [data for _, data in sent] == [data for _, data in performance.messages]
    np.testing.assert_allclose(
        [at_s for at_s, _ in sent], [51.0 + at_s for at_s, _ in performance.messages], atol=1e-9
    )
