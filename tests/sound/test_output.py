"""Clicks and notes on the way to the device; real callbacks come from miniaudio's null device."""

import gc
import sys
import threading
import time
from fractions import Fraction

import miniaudio
import numpy as np
import pytest
from scipy.signal import correlate

from playalong.pattern.meter import Meter, Tempo
from playalong.sound.device import devices, output
from playalong.sound.device.output import (
    GIVE_MORE_S,
    GIVE_WAY_S,
    LOOK_S,
    LOUDEST_DB,
    NOTICED_S,
    SOFTEST_DB,
    DeviceOutput,
    OutputError,
    Panned,
    SilentOutput,
    part_of,
)
from playalong.sound.mix import SOFT_CLICK_DB, Mix, Part
from playalong.sound.synth.click import Click, Kind, clicks, sample
from playalong.sound.synth.drums import stroke
from playalong.sound.synth.notes import Note
from playalong.sound.timeline import QUIET_DB, RISE_S, gain

BUFFER, RATE = 480, 48_000
BUFFER_S = BUFFER / RATE


@pytest.fixture(autouse=True)
def _little_to_look_through():
    """A device looks once through all objects for garbage: not through those of all tests."""
    gc.freeze()
    yield
    gc.freeze()


class Now:
    """A clock that the test sets."""

    def __init__(self):
        self.s = 1000.0

    def __call__(self):
        return self.s


class Cards:
    """Devices of made-up names, as miniaudio would list them."""

    def __init__(self, names):
        self.names = names

    def __call__(self, backends):
        return self

    def get_playbacks(self):
        return [{"name": name, "id": name} for name in self.names]


class MadeDevice:
    """A device that asks for frames once, when it is started, and then when the test lets it."""

    backend = "made"
    stop_callback = None
    is_closed = False

    def __init__(self, **options):
        self.options = options

    def start(self, frames):
        self._frames = frames
        self.ask()

    def ask(self):
        return self._frames.send(round(self.options["buffersize_msec"] * RATE / 1000))

    def close(self):
        self.is_closed = True


class StuckDevice(MadeDevice):
    """A device that opens but does not start."""

    def start(self, frames):
        raise miniaudio.MiniaudioError("failed to start audio device")


class Machine:
    """A machine whose cards can be pulled out: ``Desk Box``, and the default one.

    On no more than one backend, so that there is one default device; its null device asks when
    the test lets it. ``opened`` are the devices that were opened, in order, ``tried`` the names of
    those that were asked for; nothing opens but ``plays``, of a card's name, "default" and "null".
    """

    def __init__(self, monkeypatch):
        self.opened, self.plays = [], {"Desk Box", "default", "null"}
        self.tried = []
        self.may_open = threading.Event()
        self.may_open.set()
        self.cards = Cards(["Desk Box"])
        backend = next(b for b in miniaudio.Backend if b != miniaudio.Backend.NULL)
        monkeypatch.setattr(miniaudio, "get_enabled_backends", lambda: {backend})
        monkeypatch.setattr(miniaudio, "Devices", self.cards)
        monkeypatch.setattr(miniaudio, "PlaybackDevice", self._open)
        monkeypatch.setattr(output, "ANSWERS_S", 20.0)  # however slow the tests are

    def _open(self, **options):
        self.may_open.wait(20.0)
        is_null = options["backends"] == [miniaudio.Backend.NULL]
        name = "null" if is_null else options["device_id"] or "default"
        self.tried.append(name)
        if name not in self.plays:
            raise miniaudio.MiniaudioError("failed to init device")
        device = MadeDevice(**options)
        device.backend = "Null" if is_null else "made"
        device.name = name
        self.opened.append(device)
        return device

    @property
    def now_open(self):
        return self.opened[-1]


@pytest.fixture
def machine(monkeypatch):
    return Machine(monkeypatch)


def let_pass(now, device, machine, *, seconds):
    """Time in which no device asks for anything, while the program tends it; none opens yet."""
    machine.may_open.clear()
    for _ in range(round(seconds / 0.02)):
        now.s += 0.02
        device.tend()


def play(now, device, machine, *, until_s):
    """What the open device plays until then, its times on the clock, (n,), and frames, (n, 2)."""
    times, parts = [], []
    while now.s < until_s:
        now.s += BUFFER_S
        parts.append(machine.now_open.ask())
        times.append(now.s + BUFFER_S + np.arange(BUFFER) / RATE)
        device.tend()
    return np.concatenate(times), np.concatenate(parts)


def wait_for_another(device, machine, gone):
    """Let a device open, and tend ``device`` until it plays another timeline than ``gone``."""
    machine.may_open.set()
    until_s = time.perf_counter() + 20.0
    while device.timeline is gone and time.perf_counter() < until_s:
        device.tend()
        time.sleep(0.002)
    assert device.timeline is not gone


def onsets(times, frames):
    """The times at which clicks begin: something after 20 ms of nothing."""
    sounding = np.flatnonzero(frames[:, 0])
    first = np.diff(sounding, prepend=-RATE) > RATE // 50
    return times[sounding[first]]


@pytest.fixture
def cards(monkeypatch):
    """A machine with two cards."""
    monkeypatch.setattr(miniaudio, "Devices", Cards(["Desk Box", "USB Headphones"]))
    monkeypatch.setattr(miniaudio, "PlaybackDevice", MadeDevice)


@pytest.fixture
def no_card(monkeypatch):
    """A machine without a card that works: only the null device starts."""
    real = miniaudio.PlaybackDevice

    def opened(**options):
        is_null = options["backends"] == [miniaudio.Backend.NULL]
        return real(**options) if is_null else StuckDevice(**options)

    monkeypatch.setattr(miniaudio, "Devices", Cards(["Desk Box"]))
    monkeypatch.setattr(miniaudio, "PlaybackDevice", opened)


def test_without_a_card_it_runs_in_real_time_and_says_so(no_card):
    device = DeviceOutput()
    try:
        assert device.silent
        assert "no sound card" in device.notice
        before, at_s = device.timeline.rendered, time.perf_counter()
        # 600 ms of sound: loosely held to the clock, since a busy machine may stumble.
        while device.timeline.rendered < before + 28_800 and time.perf_counter() < at_s + 20.0:
            time.sleep(0.005)
        assert device.timeline.rendered >= before + 28_800
        assert time.perf_counter() - at_s > 0.15
    finally:
        device.close()


def test_silent_output_places_every_click_at_its_frame():
    """A count-in and two bars, found again by cross-correlation (scipy.signal.correlate)."""
    meter = Meter.parse("2+2+3/8")
    tempo = Tempo(97.0, meter.unit)
    silent = SilentOutput(origin_s=3.0)
    rate, start_s = silent.timeline.rate, 8.5
    silent.schedule(start_s, clicks([meter] * 2, tempo))
    heard = silent.timeline.render(12 * rate)[:, 0]
    beat_s = Fraction(60, 97)
    bar_s = beat_s * Fraction(7, 2)  # in beats of two eighths
    expected = [
        round((Fraction(start_s) - 3 + bar * bar_s + beats * beat_s) * rate)
        for bar in (-1, 0, 1)
        for beats in (0, 1, 2)
    ]
    kinds = [Kind.COUNT_ONE, *[Kind.COUNT] * 2, *[Kind.ONE, Kind.BEAT, Kind.BEAT] * 2]
    for kind, frame in zip(kinds, expected, strict=True):
        click = sample(kind, rate)
        around = heard[frame - 1000 : frame + 1000 + len(click)]
        assert int(correlate(around, click, "valid").argmax()) == 1000
    assert np.count_nonzero(heard) <= sum(len(sample(kind, rate)) for kind in kinds)


def test_clicks_are_placed_as_they_come_near_where_the_device_then_is(cards, monkeypatch):
    now, placed = Now(), []
    device = DeviceOutput(clock=now)
    start_s = now.s
    place = device.timeline.place
    monkeypatch.setattr(
        device.timeline,
        "place",
        lambda frame, sound, **known: placed.append(frame) or place(frame, sound, **known),
    )
    device.schedule(start_s, [Click(0.1, Kind.ONE), Click(0.4, Kind.BEAT), Click(5.0, Kind.ONE)])
    assert placed == [round((at_s - BUFFER_S) * RATE) for at_s in (0.1, 0.4)]
    # Later the device has fallen behind by 5 ms.
    now.s = start_s + 4.805
    device.clock.add_request(round(4.8 * RATE), now.s)
    device.tend()
    assert placed[2:] == [round((5.0 - 0.005 - BUFFER_S) * RATE)]


def test_notes_join_the_clicks_that_wait_in_order_of_time(machine):
    """They are heard at their times, each as it is made."""
    now = Now()
    device = DeviceOutput(clock=now)
    start_s = now.s
    device.schedule(start_s, [Click(0.5, Kind.ONE), Click(1.5, Kind.BEAT)])
    device.schedule(
        start_s - 1.0,
        [
            Note(time_s=2.0, voice="kick", velocity=84.0),
            Note(time_s=1.25, voice="snare", velocity=32.0),
        ],
    )
    times, frames = play(now, device, machine, until_s=start_s + 2.0)
    expected = np.zeros(len(times) + RATE)
    for at_s, sound in (
        (0.25, stroke("snare", 32.0, RATE)),
        (0.5, sample(Kind.ONE, RATE)),
        (1.0, stroke("kick", 84.0, RATE)),
        (1.5, sample(Kind.BEAT, RATE)),
    ):
        first = round((start_s + at_s - times[0]) * RATE)
        expected[first : first + len(sound)] += sound
    assert frames[:, 0] == pytest.approx(expected[: len(times)] * gain(QUIET_DB), abs=1e-6)


def test_clicks_and_notes_sound_together():
    """Their sum, at the level of the output, is what is heard."""
    silent = SilentOutput()
    silent.schedule(1.0, [Click(0.0, Kind.BEAT)])
    silent.schedule(1.0, [Note(time_s=0.01, voice="snare", velocity=84.0)])
    heard = silent.timeline.render(2 * 48_000)[:, 0]
    alone = np.zeros(2 * 48_000)
    for frame, sound in (
        (48_000, sample(Kind.BEAT, 48_000)),
        (48_480, stroke("snare", 84.0, 48_000)),
    ):
        alone[frame : frame + len(sound)] += sound
    assert heard == pytest.approx(alone * silent.timeline.level, abs=1e-6)


def test_what_was_cleared_is_never_heard(machine):
    now = Now()
    device = DeviceOutput(clock=now)
    device.schedule(now.s, [Click(0.3, Kind.ONE), Click(0.9, Kind.ONE)])
    device.clear()
    assert not play(now, device, machine, until_s=now.s + 1.5)[1].any()


@pytest.mark.parametrize(("part", "taken"), [("phones", "USB Headphones"), ("DESK", "Desk Box")])
def test_a_device_is_chosen_by_part_of_its_name(cards, monkeypatch, part, taken):
    opened = []
    monkeypatch.setattr(
        miniaudio,
        "PlaybackDevice",
        lambda **options: opened.append(options["device_id"]) or MadeDevice(**options),
    )
    device = DeviceOutput(part)
    assert opened == [taken]
    assert device.device_name == taken
    assert not device.silent
    assert device.notice == ""


def test_a_device_that_is_not_there_is_told_with_those_that_are(cards):
    with pytest.raises(OutputError) as told:
        DeviceOutput("attic")
    for words in ('"attic"', '"Desk Box"', '"USB Headphones"'):
        assert words in str(told.value)


def test_a_device_that_was_asked_for_and_does_not_play_is_told(no_card):
    with pytest.raises(OutputError, match='"desk" does not play'):
        DeviceOutput("desk")


def test_the_devices_are_listed_each_once(cards):
    """Several backends tell of the same card."""
    assert devices.device_names() == ["Desk Box", "USB Headphones"]


@pytest.mark.parametrize("buffer_ms", [5.0, 10.0, 100.0])
def test_the_buffer_is_as_long_as_asked_and_told_as_latency(machine, buffer_ms):
    now = Now()
    device = DeviceOutput(buffer_ms=buffer_ms, clock=now)
    assert machine.now_open.options["buffersize_msec"] == buffer_ms
    # One buffer is heard before what is handed over, and a request is half of one away.
    assert device.latency_s == pytest.approx(1.5 * buffer_ms / 1000.0)
    assert device.clock.time_of(0) == pytest.approx(now.s + buffer_ms / 1000.0)


@pytest.mark.parametrize("buffer_ms", [4.0, 101.0])
def test_a_buffer_that_is_too_short_or_too_long_is_told(machine, buffer_ms):
    with pytest.raises(OutputError, match="5 to 100 ms"):
        DeviceOutput(buffer_ms=buffer_ms)


def test_a_device_with_another_buffer_than_was_asked_for_is_taken_as_it_is(monkeypatch):
    class Coarse(MadeDevice):
        def ask(self):
            return self._frames.send(2 * BUFFER)

    monkeypatch.setattr(miniaudio, "PlaybackDevice", Coarse)
    now = Now()
    device = DeviceOutput(clock=now)
    assert device.clock.time_of(0) == pytest.approx(now.s + 2 * BUFFER_S)
    assert device.latency_s == pytest.approx(3 * BUFFER_S)


@pytest.mark.parametrize("made", [SilentOutput, lambda: DeviceOutput(clock=Now())])
def test_the_level_goes_in_steps_within_what_is_safe(machine, made):
    out = made()
    assert out.level_db == QUIET_DB
    out.louder()
    assert out.level_db == QUIET_DB + 3.0
    for _ in range(50):
        out.louder()
    assert out.level_db == LOUDEST_DB
    assert out.timeline.level == gain(LOUDEST_DB)
    out.softer()
    assert out.level_db == LOUDEST_DB - 3.0
    out.level_db = -1000.0
    assert out.level_db == SOFTEST_DB
    assert 20 * np.log10(out.timeline.level) == pytest.approx(SOFTEST_DB)


def test_a_remembered_level_holds_from_the_start_and_is_kept_safe(machine):
    device = DeviceOutput(level_db=-30.0, clock=Now())
    device.now(Click(0.0, Kind.ONE))
    assert np.abs(machine.now_open.ask()).max() == pytest.approx(
        np.abs(sample(Kind.ONE, RATE)[:BUFFER]).max() * gain(-30.0)
    )
    assert DeviceOutput(level_db=12.0, clock=Now()).level_db == LOUDEST_DB


def test_now_is_what_the_device_asks_for_next_and_can_be_ended(machine):
    device = DeviceOutput(clock=Now())
    cymbal = device.now(Note(time_s=7.0, voice="crash", velocity=100.0))
    heard = machine.now_open.ask()
    expected = stroke("crash", 100.0, RATE)[:BUFFER] * np.float32(gain(QUIET_DB))
    assert np.array_equal(heard[:, 0], expected)
    device.fade(cymbal, 0.01)
    assert machine.now_open.ask().any()
    assert not machine.now_open.ask().any()


@pytest.mark.parametrize("shape", ["mono", "stereo", "stream"])
def test_a_panned_sound_has_a_gain_on_each_side(shape):
    class Tape:
        def read(self, begin, count):
            return np.ones((4, 2), np.float32)[begin : begin + count]

    class Made:
        time_s = 1.5

        def frames(self, rate):
            ones = np.ones(4, np.float32)
            return {"mono": ones, "stereo": np.stack([ones, ones], 1), "stream": Tape()}[shape]

    silent = SilentOutput()
    silent.level_db = LOUDEST_DB
    silent.timeline.render(RATE)
    silent.schedule(0.0, [Panned(Made(), 1.0, 0.25)])
    heard = silent.timeline.render(RATE)[RATE // 2 : RATE // 2 + 5]
    assert heard == pytest.approx(np.array([[1.0, 0.25]] * 4 + [[0, 0]]) * gain(LOUDEST_DB))


def test_a_device_that_vanishes_and_is_back_plays_on(machine):
    now = Now()
    device = DeviceOutput("desk", clock=now)
    gone, timeline = machine.now_open, device.timeline
    let_pass(now, device, machine, seconds=0.4)
    assert device.notice == ""
    let_pass(now, device, machine, seconds=0.2)
    assert device.notice == 'the sound device "desk" is gone: looking for it, or for another'
    let_pass(now, device, machine, seconds=5.0)  # nothing waits for the search
    wait_for_another(device, machine, timeline)
    assert gone.is_closed
    assert (device.device_name, device.notice, device.silent) == ("Desk Box", "", False)


def test_without_the_wished_device_the_default_one_plays(machine):
    now = Now()
    device = DeviceOutput("desk", level_db=-24.0, clock=now)
    timeline = device.timeline
    machine.cards.names = []
    machine.plays.discard("Desk Box")
    let_pass(now, device, machine, seconds=0.6)
    device.softer()
    wait_for_another(device, machine, timeline)
    assert machine.now_open.name == device.device_name == "default"
    assert not device.silent
    assert device.notice == 'the sound device "desk" is gone: the default one plays'
    assert device.timeline.level == gain(-27.0)


@pytest.mark.parametrize("part", [None, "desk"])
def test_where_no_other_plays_the_null_device_keeps_the_time(machine, part):
    now = Now()
    device = DeviceOutput(part, clock=now)
    timeline = device.timeline
    machine.plays = {"null"}
    let_pass(now, device, machine, seconds=0.6)
    wait_for_another(device, machine, timeline)
    assert machine.now_open.name == "null"
    assert device.silent
    assert "no other plays" in device.notice


def test_a_device_that_the_library_says_has_stopped_is_gone_at_once(machine):
    now = Now()
    device = DeviceOutput(clock=now)
    timeline = device.timeline
    machine.may_open.clear()
    machine.now_open.stop_callback()
    device.tend()
    assert "gone" in device.notice
    wait_for_another(device, machine, timeline)
    assert (len(machine.opened), device.notice) == (2, "")


def test_a_window_that_stood_still_does_not_make_the_device_gone(machine):
    now = Now()
    device = DeviceOutput(clock=now)
    for _ in range(3):
        now.s += 10.0
        device.tend()
        machine.now_open.ask()
        device.tend()
    assert len(machine.opened) == 1
    assert device.notice == ""


def test_what_is_scheduled_stays_on_the_clock_through_another_device(machine):
    """Clicks every 0.2 s: those of the silence are left out, the rest stand at their times."""
    now = Now()
    device = DeviceOutput(clock=now)
    start_s, timeline = now.s, device.timeline
    device.schedule(start_s, [Click(0.2 * beat, Kind.BEAT) for beat in range(1, 30)])
    before = onsets(*play(now, device, machine, until_s=start_s + 1.05))
    let_pass(now, device, machine, seconds=1.5)
    wait_for_another(device, machine, timeline)
    times, frames = play(now, device, machine, until_s=start_s + 5.0)
    after = onsets(times, frames)
    beats_s = start_s + 0.2 * np.arange(1, 30)
    assert np.abs(before - beats_s[: len(before)]).max() <= 1 / RATE
    assert len(before) == 5
    coming = beats_s[(beats_s > times[0]) & (beats_s < times[-1])]
    assert len(after) == len(coming) > 10
    assert np.abs(after - coming).max() <= 1 / RATE


def test_a_long_sound_goes_on_in_its_middle(machine):
    """A stream whose every frame tells its own number."""

    class Long:
        time_s = 0.25

        def frames(self, rate):
            return self

        def read(self, begin, count):
            frames = np.arange(begin, min(begin + count, 10 * RATE)) / (10 * RATE)
            return np.stack([frames, frames], axis=1).astype(np.float32)

    now = Now()
    device = DeviceOutput(clock=now)
    start_s, timeline = now.s, device.timeline
    device.schedule(start_s, [Long()])
    play(now, device, machine, until_s=start_s + 1.0)
    let_pass(now, device, machine, seconds=2.0)
    wait_for_another(device, machine, timeline)
    times, frames = play(now, device, machine, until_s=now.s + 0.5)
    place = frames[:, 0] / np.float32(gain(QUIET_DB)) * 10
    sounding = place > 0
    assert sounding[-RATE // 4 :].all()
    risen = round(RISE_S * RATE)
    place_s = times[sounding] - start_s - 0.25
    assert place[sounding][risen:] == pytest.approx(place_s[risen:], abs=1e-4)
    device.clear()
    assert not play(now, device, machine, until_s=now.s + 0.5)[1][-BUFFER:].any()


def test_a_device_that_opens_but_does_not_start_is_let_go_of(monkeypatch):
    tried = []

    def opened(**options):
        tried.append(StuckDevice(**options))
        return tried[-1]

    monkeypatch.setattr(miniaudio, "PlaybackDevice", opened)
    with pytest.raises(OutputError, match="does not play"):
        DeviceOutput(clock=Now())
    assert tried
    assert all(device.is_closed for device in tried)


def test_a_device_can_be_let_go_of_while_another_is_sought(machine):
    now = Now()
    device = DeviceOutput(clock=now)
    let_pass(now, device, machine, seconds=0.6)
    search = device._search
    letting_go = threading.Timer(0.05, machine.may_open.set)
    letting_go.start()
    device.close()
    letting_go.join()
    search.join(20.0)
    assert all(opened.is_closed for opened in machine.opened)


def test_requests_that_come_after_the_device_ran_dry_are_underruns(machine):
    """What waits lasts 10 ms: 9 ms late is heard without a gap, 11 ms late is not."""
    now = Now()
    device = DeviceOutput(clock=now)
    first_s, number = now.s, 0

    def asked(late_s):
        nonlocal number
        number += 1
        now.s = first_s + number * BUFFER_S + late_s
        machine.now_open.ask()

    for late_s in (0.0, 0.009, 0.0, 0.005):
        asked(late_s)
    assert device.underruns == 0
    asked(0.011)
    asked(0.012)
    asked(0.0)
    assert device.underruns == 1
    for _ in range(150):
        asked(0.0)
    asked(0.011)
    assert device.underruns == 2


def test_the_underruns_of_a_device_that_is_gone_are_kept(machine):
    now = Now()
    device = DeviceOutput(clock=now)
    timeline = device.timeline
    now.s += 0.1
    machine.now_open.ask()
    assert device.underruns == 1
    device.tend()
    let_pass(now, device, machine, seconds=0.6)
    wait_for_another(device, machine, timeline)
    assert device.underruns == 1


def test_the_interpreter_is_asked_to_switch_soon_while_a_device_plays(machine):
    before = sys.getswitchinterval()
    device = DeviceOutput(clock=Now())
    assert sys.getswitchinterval() <= output.SWITCH_S < BUFFER_S / 10
    device.close()
    assert sys.getswitchinterval() == before


def test_who_draws_gives_way_to_the_device_in_each_frame(machine):
    slept: list[float] = []
    now = Now()
    device = DeviceOutput(clock=now, sleep=slept.append)
    for later_s in (0.0, 0.9, 0.9):  # in buffers: the third time its request is overdue
        now.s += later_s * BUFFER_S
        device.tend()
    now.s += 0.1 * BUFFER_S
    machine.now_open.ask()
    device.tend()
    device.close()
    assert slept == [GIVE_WAY_S, GIVE_WAY_S, GIVE_MORE_S, GIVE_WAY_S]
    assert 0.0 < GIVE_WAY_S < GIVE_MORE_S <= BUFFER_S / 10


def test_what_is_there_is_not_looked_through_for_garbage_while_a_device_plays(machine):
    tracked = [[number] for number in range(1000)]
    device = DeviceOutput(clock=Now())
    assert gc.get_freeze_count() > len(tracked)
    device.close()
    assert gc.get_freeze_count() == 0


@pytest.mark.parametrize("answer", ["desk", "null"])
def test_a_sound_system_that_does_not_answer_is_not_waited_for(machine, monkeypatch, answer):
    """A server that is stuck would keep the window from opening."""
    monkeypatch.setattr(output, "ANSWERS_S", 0.01)
    answers, open_one = threading.Event(), miniaudio.PlaybackDevice

    def open_late(**options):
        if options["backends"] != [miniaudio.Backend.NULL] and not answers.wait(20.0):
            raise AssertionError
        return open_one(**options)

    monkeypatch.setattr(miniaudio, "PlaybackDevice", open_late)
    now = Now()
    device = DeviceOutput(clock=now)
    assert (device.silent, device.notice) == (True, output.NO_ANSWER)
    stands_in = device.timeline
    if answer == "null":
        machine.plays = {"null"}
    answers.set()
    until_s = time.perf_counter() + 20.0
    while device.notice == output.NO_ANSWER and time.perf_counter() < until_s:
        device.tend()
        time.sleep(0.002)
    if answer == "null":
        assert (device.silent, device.notice) == (True, output.NO_CARD)
    else:
        assert (device.silent, device.notice) == (False, "")
        assert device.timeline is not stands_in
    device.close()


def test_another_device_is_chosen_while_it_plays(machine):
    now = Now()
    device = DeviceOutput("desk", clock=now)
    before, timeline = machine.now_open, device.timeline
    machine.cards.names = ["Desk Box", "Big Cans"]
    machine.plays.add("Big Cans")
    device.choose("Big Cans")
    wait_for_another(device, machine, timeline)
    assert before.is_closed
    assert (device.device_name, device.notice) == ("Big Cans", "")
    timeline = device.timeline
    device.choose(None)
    wait_for_another(device, machine, timeline)
    assert (device.device_name, device.notice) == ("default", "")


def test_opening_says_nothing_on_standard_error(capfd):
    """ALSA and JACK complain aloud where there is no card; our own words are enough."""
    DeviceOutput().close()
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(("part", "lost"), [("desk", "Desk Box"), (None, "default")])
def test_a_device_that_was_lost_comes_back_while_another_stands_in(machine, part, lost):
    now = Now()
    device = DeviceOutput(part, clock=now)
    timeline = device.timeline
    machine.plays = {"null"}
    let_pass(now, device, machine, seconds=0.6)
    wait_for_another(device, machine, timeline)
    assert device.silent
    stands_in, timeline = machine.now_open, device.timeline
    device.schedule(now.s, [Click(0.3, Kind.BEAT)])
    machine.plays = {lost, "null"}
    now.s += LOOK_S
    stands_in.ask()
    wait_for_another(device, machine, timeline)
    assert (device.device_name, device.silent, device.notice) == (lost, False, "")
    until_s = time.perf_counter() + 20.0
    while not stands_in.is_closed and time.perf_counter() < until_s:
        time.sleep(0.002)
    assert stands_in.is_closed


def test_a_lost_device_comes_back_although_what_stood_in_for_it_was_lost_too(machine):
    now = Now()
    device = DeviceOutput("desk", clock=now)
    machine.plays = {"null"}
    for _ in range(2):
        timeline = device.timeline
        let_pass(now, device, machine, seconds=0.6)
        wait_for_another(device, machine, timeline)
    assert device.silent
    timeline = device.timeline
    machine.plays = {"Desk Box", "null"}
    now.s += LOOK_S
    machine.now_open.ask()
    wait_for_another(device, machine, timeline)
    assert (device.device_name, device.notice) == ("Desk Box", "")


def test_where_nothing_was_heard_a_null_device_that_stalls_is_replaced_and_nothing_sought(machine):
    """A busy machine lets it stall; sound systems asked again and again cost what it has left."""
    now = Now()
    machine.plays = {"null"}
    device = DeviceOutput(clock=now)
    timeline = device.timeline
    let_pass(now, device, machine, seconds=0.6)
    wait_for_another(device, machine, timeline)
    assert (device.silent, device.notice) == (True, output.NO_CARD)
    tried = len(machine.tried)
    for _ in range(5):
        now.s += LOOK_S
        machine.now_open.ask()
        device.tend()
        time.sleep(0.01)  # whoever sought would do so in a thread of its own
    assert len(machine.tried) == tried


def test_while_another_stands_in_sounds_are_played(machine):
    now = Now()
    device = DeviceOutput("desk", clock=now)
    timeline = device.timeline
    machine.plays = {"default"}
    let_pass(now, device, machine, seconds=0.6)
    wait_for_another(device, machine, timeline)
    start_s = now.s
    device.schedule(start_s, [Click(1.5 + 0.2 * beat, Kind.BEAT) for beat in range(5)])
    times, frames = play(now, device, machine, until_s=start_s + 3.0)
    assert len(onsets(times, frames)) == 5


def test_devices_that_nobody_hears_are_not_offered(cards, monkeypatch):
    names = ["Desk Box", "Discard all samples (playback) or generate zero samples (capture)"]
    monkeypatch.setattr(miniaudio, "Devices", Cards([*names, "Dummy Output"]))
    assert devices.device_names() == ["Desk Box"]
    with pytest.raises(OutputError, match="Desk Box"):
        DeviceOutput("dummy")


def test_a_device_that_races_is_taken_for_silent(monkeypatch):
    class Racing(MadeDevice):
        def start(self, frames):
            super().start(frames)
            for _ in range(80):  # 0.8 s of sound in no time
                self.ask()

    monkeypatch.setattr(miniaudio, "Devices", Cards(["Desk Box"]))
    real = miniaudio.PlaybackDevice
    monkeypatch.setattr(
        miniaudio,
        "PlaybackDevice",
        lambda **options: (
            real(**options)
            if options["backends"] == [miniaudio.Backend.NULL]
            else Racing(**options)
        ),
    )
    device = DeviceOutput()
    silent, said = device.silent, device.notice
    device.close()
    assert silent
    assert "no sound card" in said
    with pytest.raises(OutputError, match="does not play"):
        DeviceOutput("desk")


def test_an_answer_comes_a_constant_time_after_its_stroke(machine):
    """Whenever it is noticed, from the driver's stamp to the frame it is the same to a frame."""
    now, chance = Now(), np.random.default_rng(3)
    device = DeviceOutput(clock=now)
    delays = []
    for _ in range(60):
        now.s += BUFFER_S
        machine.now_open.ask()
        struck_s = now.s + float(chance.uniform(0.0, BUFFER_S))
        at_s, now.s = now.s, struck_s + float(chance.uniform(0.0, 0.003))
        placed = device.answer(struck_s, Note(time_s=0.0, voice="snare", velocity=90.0))
        delays.append(device.clock.time_of(placed.start) - struck_s)
        now.s = at_s
    assert device.answer_s == pytest.approx(2 * BUFFER_S + NOTICED_S)
    assert np.max(np.abs(np.array(delays) - device.answer_s)) <= 1.0 / RATE


def test_a_late_answer_comes_as_soon_as_can_be(machine):
    now = Now()
    device = DeviceOutput(clock=now)
    for _ in range(10):
        now.s += BUFFER_S
        machine.now_open.ask()
    placed = device.answer(now.s - 1.0, Note(time_s=0.0, voice="snare", velocity=90.0))
    assert placed.start == device.timeline.rendered


def test_each_part_has_a_level_of_its_own(machine):
    silent = SilentOutput()
    silent.mix = Mix(click_db=-12.0, drums_db=-6.0)
    click, note = Click(0.0, Kind.ONE), Note(time_s=0.5, voice="snare", velocity=100.0)
    silent.schedule(0.0, [click, Panned(note, 1.0, 1.0)])
    heard = silent.timeline.render(RATE)
    whole, level = sample(Kind.ONE, RATE), gain(silent.level_db)
    assert heard[: len(whole), 0] == pytest.approx(whole * gain(-12.0) * level, abs=1e-6)
    struck = stroke("snare", 100.0, RATE)[:2000]
    begin = RATE // 2
    assert heard[begin : begin + 2000, 1] == pytest.approx(struck * gain(-6.0) * level, abs=1e-6)


def test_the_click_is_softer_where_drums_are_played():
    mix = Mix()
    assert mix.of(Part.CLICK) == 0.0
    assert mix.under_drums(True).of(Part.CLICK) == SOFT_CLICK_DB
    moved = mix.under_drums(True).moved(Part.CLICK, 3.0)
    assert moved.of(Part.CLICK) == SOFT_CLICK_DB + 3.0
    assert moved.under_drums(False).of(Part.CLICK) == 0.0
    assert mix.moved(Part.DRUMS, 100.0).of(Part.DRUMS) == 6.0
    assert part_of(Panned(Click(0.0, Kind.ONE), 1.0, 1.0)) is Part.CLICK
