"""A kit with faults: the stream it sends, and the truth of what it added."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from playalong.midi.mapping import Mapper
from playalong.pattern.reader import read
from playalong.pattern.targets import lay_out
from playalong.pattern.voices import BY_NAME
from playalong.simulation.faulty_kit import ROUGH, Echo, Rough, through
from playalong.simulation.player import Performance, perform
from tests.helpers.steady_player import STEADY

GROOVE = """
title = "T"
meter = "4/4"
tempo = 100
[[bar]]
crash = "X--- ---- ---- ----"
hi-hat = "--x- xxxo x-x- x-xO"
snare  = "---- X-g- -g-- D--f"
floor-tom = "---- ---- --x- ----"
kick = "x--x --x- x--- x-x-"
hi-hat-pedal = "---- x--- ---- ----"
"""

each = pytest.mark.parametrize("name", ROUGH)


def performance(bars: int = 16, seed: int = 1) -> Performance:
    return perform(lay_out(read(GROOVE, "t"), 100.0, bars), STEADY, seed)


def strokes(messages: tuple[tuple[float, bytes], ...]) -> list[tuple[float, int, int]]:
    return [(t, d[1], d[2]) for t, d in messages if d[0] & 0xF0 == 0x90 and d[2]]


def test_a_kit_without_faults_sends_what_was_played():
    played = performance()
    sent = through(played, replace(Rough(), channel=10), 1)
    assert Counter(sent.messages) == Counter(played.messages)
    assert (sent.bounces, sent.crosstalk) == ((), ())


@each
def test_the_same_seed_is_the_same_stream_and_another_is_not(name):
    one, again, other = (through(performance(), ROUGH[name], seed) for seed in (5, 5, 6))
    assert one.messages == again.messages
    assert (one.bounces, one.crosstalk) == (again.bounces, again.crosstalk)
    assert one.messages != other.messages


@each
def test_every_stroke_is_there_in_order_and_what_was_added_is_told(name):
    played, rough = performance(), ROUGH[name]
    sent = through(played, rough, 2)
    assert sent.truth is played.truth
    times = [at_s for at_s, _ in sent.messages]
    assert times == sorted(times)
    notes = Counter(note for _, note, _ in strokes(sent.messages))
    added = Counter(BY_NAME[hit.voice].notes[0] for hit in (*sent.bounces, *sent.crosstalk))
    assert notes - added == Counter(note for _, note, _ in strokes(played.messages))
    assert bool(sent.bounces) == bool(rough.bounces)
    assert bool(sent.crosstalk) == bool(rough.crosstalk)


@each
def test_every_note_that_starts_ends_and_all_messages_are_midi(name):
    rough = ROUGH[name]
    sent = through(performance(), rough, 3).messages
    for _, data in sent:
        if data == b"\xfe":
            continue
        assert len(data) == 3
        assert max(data[1:]) < 128
        assert data[0] & 0x0F == rough.channel - 1
    ends = Counter(
        d[1] for _, d in sent if d[0] & 0xF0 == 0x80 or (d[0] & 0xF0 == 0x90 and not d[2])
    )
    assert ends == Counter(note for _, note, _ in strokes(sent))
    assert any(d[0] & 0xF0 == 0x80 for _, d in sent) != rough.ends_with_velocity_0


def test_bounces_and_knocks_are_as_often_and_as_loud_as_the_kit_says():
    rough = Rough(
        bounces={"snare": Echo(chance=0.3, least_ms=10.0, most_ms=14.0, level=0.5)},
        crosstalk={("kick", "mid-tom"): Echo(chance=0.6, least_ms=1.0, most_ms=3.0, level=0.1)},
    )
    played = performance(bars=400)
    sent = through(played, rough, 4)
    count = Counter(note for _, note, _ in strokes(played.messages))
    for found, chance, struck in ((sent.bounces, 0.3, 38), (sent.crosstalk, 0.6, 36)):
        n = count[struck]
        # Five standard deviations of a binomial count.
        assert len(found) == pytest.approx(chance * n, abs=5.0 * (n * chance * (1 - chance)) ** 0.5)
    snares = [(t, v) for t, note, v in strokes(played.messages) if note == 38]
    at_s, velocity = (np.array(column) for column in zip(*snares, strict=True))
    loudness = {round(t, 9): v for t, note, v in strokes(sent.messages) if note == 38}
    for bounce in sent.bounces:
        row = np.flatnonzero((bounce.time_s - at_s > 0.0099) & (bounce.time_s - at_s < 0.0141))
        assert loudness[round(bounce.time_s, 9)] in (velocity[row] * 0.5).astype(int)


def test_a_serial_line_sends_one_message_after_the_other():
    """MIDI 1.0: a 3-byte message takes 0.96 ms on a line of 31,250 baud."""
    targets = lay_out(read(GROOVE, "t"), 100.0, 1)
    played = perform(targets, STEADY, 1)
    at_once = replace(played, messages=tuple((2.0, data) for _, data in played.messages))
    sent = through(at_once, Rough(serial=True), 1).messages
    np.testing.assert_allclose(
        [at_s for at_s, _ in sent], 2.0 + 0.00096 * np.arange(1, len(sent) + 1), atol=1e-9
    )
    assert [data for _, data in sent] == [data for _, data in at_once.messages]


def test_active_sensing_comes_every_300_ms_and_the_pedal_streams():
    """MIDI 1.0: active sensing at most 300 ms apart; the foot controller is number 4."""
    rough = Rough(sensing=True, pedal_hz=40.0, channel=7)
    sent = through(performance(), rough, 1).messages
    sensing = [at_s for at_s, data in sent if data == b"\xfe"]
    np.testing.assert_allclose(np.diff(sensing), 0.3)
    pedal = [at_s for at_s, data in sent if data[:2] == b"\xb6\x04"]
    assert np.diff(pedal).max() <= 1.0 / 40.0 + 1e-9
    assert len(sensing) > 100
    assert pedal[0] < strokes(sent)[0][0]


@each
@pytest.mark.parametrize("seed", range(3))
def test_the_pedal_agrees_with_what_is_played(name, seed):
    """Once a kit streams the pedal it decides what is open: the hits are still those played."""
    played = performance(seed=seed)
    plain = replace(ROUGH[name], bounces={}, crosstalk={})
    heard = []
    for messages in (played.messages, through(played, plain, seed).messages):
        mapper = Mapper()
        hits = [mapper.hit(at_s, data) for at_s, data in messages]
        heard.append(Counter(hit.voice for hit in hits if hit))
        assert not mapper.unknown
    assert heard[0] == heard[1]


@given(st.floats(0.0, 30.0), st.floats(0.0, 10.0), st.booleans(), st.integers(0, 1000))
def test_a_cable_only_delays(latency_ms, jitter_ms, serial, seed):
    rough = Rough(latency_ms=latency_ms, jitter_ms=jitter_ms, serial=serial)
    played = performance(bars=1)
    sent = through(played, rough, seed).messages
    assert [data for _, data in sent] == [data for _, data in played.messages]
    late_ms = 1000.0 * np.array(
        [there[0] - here[0] for here, there in zip(played.messages, sent, strict=True)]
    )
    assert late_ms.min() >= latency_ms + (0.96 if serial else 0.0) - 1e-6
    # Never more messages wait than the strokes and ends of all voices at once.
    assert late_ms.max() <= latency_ms + jitter_ms + (0.96 * 12 if serial else 0.0) + 1e-6


@given(st.floats(0.2, 3.0), st.floats(0.0, 40.0), st.floats(60.0, 127.0))
def test_a_velocity_curve_keeps_the_order_of_loudness(curve, softest, loudest):
    rough = Rough(curve=curve, softest=softest, loudest=loudest)
    played = performance(bars=2)
    pairs = sorted(
        (here[2], there[2])
        for here, there in zip(
            strokes(played.messages), strokes(through(played, rough, 1).messages), strict=True
        )
    )
    sent = [there for _, there in pairs]
    assert sent == sorted(sent)
    assert max(1, softest - 1.0) <= sent[0] <= sent[-1] <= loudest + 1.0


@each
def test_nobody_plays_nothing_is_sent(name):
    none = perform(lay_out(read(GROOVE, "t"), 100.0, 1).until(0.0), STEADY, 1)
    sent = through(none, ROUGH[name], 1)
    assert (sent.messages, sent.bounces, sent.crosstalk) == ((), (), ())
