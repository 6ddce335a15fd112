"""The simulated player: what it sends, what it says it did, and how it plays over many strokes."""

from collections import Counter

import numpy as np
import pytest

from playalong.midi.mapping import Mapper
from playalong.midi.port import Arrival
from playalong.pattern.model import Dynamic
from playalong.pattern.reader import read
from playalong.pattern.targets import DYNAMICS, GRACE_S, Targets, lay_out
from playalong.pattern.voices import BY_NAME, Limb, note_of
from playalong.simulation.player import (
    SKILLS,
    Performance,
    SimulatedPort,
    Skill,
    Truth,
    perform,
    send,
)

STEADY, LEARNING = SKILLS["steady"], SKILLS["learning"]
WILD = Skill(
    dict.fromkeys(Limb, (0.0, 300.0)),
    dict.fromkeys(Dynamic, (64.0, 200.0)),
)

HEAD = 'title = "T"\nmeter = "4/4"\ntempo = 60\n'
#: A stroke each second and voice, and every dynamic: room for every error.
ROOMY = HEAD + (
    '[[bar]]\nhi-hat = "x X g x"\nsnare = "g X x x"\nkick = "x x X g"\nhi-hat-pedal = "x x x x"\n'
)
#: Everything that a line can say.
RICH = HEAD + (
    '[[bar]]\nhi-hat = "xo xO xx (x)o"\nsnare = "--g- f-g- --d- X--(g)"\n'
    'kick = "x--x --(x)- x-x- -x--"\ncrash = "F - - -"\n'
)


def targets_of(text: str, bars: int, tempo_bpm: float = 60.0, start_s: float = 0.0) -> Targets:
    return lay_out(read(text, "t"), tempo_bpm, bars, start_s=start_s)


def notes_on(performance: Performance) -> list[tuple[float, int, int]]:
    """(seconds, note, velocity) of the strokes."""
    return [(at_s, data[1], data[2]) for at_s, data in performance.messages if data[0] == 0x99]


def played(targets: Targets, truth: Truth) -> np.ndarray:
    """Which targets were played as written."""
    return ~np.isnan(truth.error_ms)


def test_the_same_seed_plays_the_same_and_another_does_not():
    targets = targets_of(RICH, 8)
    one, again, other = (perform(targets, LEARNING, seed) for seed in (3, 3, 4))
    assert one.messages == again.messages
    np.testing.assert_array_equal(one.truth.error_ms, again.truth.error_ms)
    assert (one.truth.missed, one.truth.wrong_drum) == (again.truth.missed, again.truth.wrong_drum)
    assert one.messages != other.messages


@pytest.mark.parametrize("skill", [STEADY, LEARNING, WILD], ids=["steady", "learning", "wild"])
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
        for grace in range(1, targets.graces[number] + 1):
            note = note_of(targets.names[number])
            expected[round(at_s - grace * GRACE_S, 9), note] += 1
    sent = Counter((round(at_s, 9), note) for at_s, note, _ in strokes)
    assert expected <= sent
    assert sum((sent - expected).values()) == len(truth.wrong_drum) + truth.extra


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


def test_grace_strokes_stay_in_reach():
    targets = targets_of(RICH, 200)
    truth = perform(targets, WILD, 2).truth
    first_s = truth.error_ms / 1000.0 - targets.graces * GRACE_S
    assert (targets.graces > 0).any()
    assert first_s[targets.graces > 0].min() >= -0.1


def test_an_optional_stroke_is_never_missed_nor_put_elsewhere():
    targets = targets_of(RICH, 200)
    careless = Skill(STEADY.error_ms, STEADY.velocity, miss=0.5, wrong_drum=0.5)
    truth = perform(targets, careless, 1).truth
    assert targets.optional.any()
    assert played(targets, truth)[targets.optional].all()
    gone = set(truth.missed) | set(truth.wrong_drum)
    assert len(gone) > len(targets) / 2


def test_nothing_to_play_is_nothing_played():
    targets = targets_of(RICH, 1).until(0.0)
    performance = perform(targets, LEARNING, 1)
    assert performance.messages == ()
    assert performance.truth.extra == 0


@pytest.mark.parametrize("name", SKILLS)
def test_over_many_strokes_the_errors_are_those_of_the_skill(name):
    """Five standard errors of mean and spread: one seed in some hundred thousand would fail."""
    skill, targets = SKILLS[name], targets_of(ROOMY, 1000)
    truth = perform(targets, skill, 7).truth
    limbs = np.array([BY_NAME[voice].limb for voice in targets.names])
    for limb, (mean, sd) in skill.error_ms.items():
        errors = truth.error_ms[(limbs == limb) & played(targets, truth)]
        assert errors.mean() == pytest.approx(mean, abs=5.0 * sd / len(errors) ** 0.5)
        assert errors.std() == pytest.approx(sd, abs=5.0 * sd / (2 * len(errors)) ** 0.5)


@pytest.mark.parametrize("name", SKILLS)
def test_over_many_strokes_the_velocities_are_those_of_the_skill(name):
    skill, targets = SKILLS[name], targets_of(ROOMY, 1000)
    performance = perform(targets, skill, 8)
    dynamic_at = {
        (round(at_s, 9), note_of(voice)): DYNAMICS[code]
        for at_s, voice, code in zip(
            targets.time_s + performance.truth.error_ms / 1000.0,
            targets.names,
            targets.dynamic,
            strict=True,
        )
        if not np.isnan(at_s)
    }
    found: dict[Dynamic, list[int]] = {dynamic: [] for dynamic in Dynamic}
    for at_s, note, velocity in notes_on(performance):
        dynamic = dynamic_at.get((round(at_s, 9), note))
        if dynamic:
            found[dynamic].append(velocity)
    for dynamic, (mean, sd) in skill.velocity.items():
        velocities = np.array(found[dynamic])
        # What would lie beyond 127 is cut off, which takes a little from the loudest.
        cut = 0.0 if mean + 4.0 * sd < 127.0 else 1.0
        error = 5.0 * sd / len(velocities) ** 0.5
        assert velocities.mean() == pytest.approx(mean, abs=error + cut)
        assert velocities.std() == pytest.approx(sd, abs=error + cut)


def test_over_many_strokes_the_faults_are_those_of_the_skill():
    targets = targets_of(ROOMY, 2000)
    truth = perform(targets, LEARNING, 9).truth
    count = len(targets)
    for found, share in (
        (len(truth.missed), LEARNING.miss),
        (len(truth.wrong_drum), LEARNING.wrong_drum),
    ):
        assert found == pytest.approx(share * count, abs=5.0 * (share * count) ** 0.5)
    # Extras near a missed target are left out, so that they cannot be meant for it.
    assert 0 < truth.extra < LEARNING.extra * count


def test_a_steady_player_is_the_published_professional():
    """Fujii et al., Music Perception 28(5), 2011: hi-hat about 2 ms, snare and kick 10 ahead."""
    means = {limb: STEADY.error_ms[limb][0] for limb in Limb}
    assert means[Limb.HAT_HAND] == -2.0
    assert means[Limb.SNARE_HAND] == means[Limb.KICK_FOOT] == -10.0
    assert STEADY.miss == STEADY.extra == STEADY.wrong_drum == 0.0


def test_a_drift_makes_the_whole_run_shorter():
    exact = dict.fromkeys(Limb, (0.0, 0.0))
    targets = targets_of(ROOMY, 10, start_s=3.0)
    strokes = notes_on(perform(targets, Skill(exact, STEADY.velocity, drift_percent=25.0), 1))
    at_s = sorted({round(stroke[0], 9) for stroke in strokes})
    np.testing.assert_allclose(at_s, 3.0 + np.arange(40) * 0.8, atol=1e-9)


def test_a_half_open_hi_hat_is_told_by_the_pedal():
    """Controller 4 before each stroke on the hi-hat, since no number means half open."""
    exact = Skill(dict.fromkeys(Limb, (0.0, 0.0)), STEADY.velocity)
    rows = 'hi-hat = "x- --"\nhi-hat-half = "-x --"\nhi-hat-open = "-- x-"\nsnare = "-- -x"\n'
    targets = lay_out(read(HEAD.replace("4/4", "2/4") + "[[bar]]\n" + rows, "t"), 60.0, 3)
    mapper = Mapper()
    hits = [mapper.hit(at_s, data) for at_s, data in perform(targets, exact, 1).messages]
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
    performance = perform(targets_of(RICH, 4), LEARNING, 1)
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
        Arrival(100.0 + at_s, 100.0 + at_s, data) for at_s, data in performance.messages
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

    send(performance, Output(), 51.0, lambda: now_s[0], wait)
    assert [data for _, data in sent] == [data for _, data in performance.messages]
    np.testing.assert_allclose(
        [at_s for at_s, _ in sent], [51.0 + at_s for at_s, _ in performance.messages], atol=1e-9
    )
