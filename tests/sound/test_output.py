"""Clicks and notes on the way to the device; real callbacks come from miniaudio's null device."""

import time
from fractions import Fraction

import miniaudio
import numpy as np
import pytest
from scipy.signal import correlate

from playalong.pattern.beats import Meter, Tempo
from playalong.sound import output
from playalong.sound.click import Click, Kind, clicks, sample
from playalong.sound.device_clock import DeviceClock
from playalong.sound.drums import stroke
from playalong.sound.notes import Note
from playalong.sound.output import LATENCY_S, DeviceOutput, OutputError, SilentOutput


class Cards:
    """Devices of made-up names, as miniaudio would list them."""

    def __init__(self, names):
        self._names = names

    def __call__(self, backends):
        return self

    def get_playbacks(self):
        return [{"name": name, "id": name} for name in self._names]


class MadeDevice:
    """A device that asks for frames once, when it is started."""

    backend = "made"

    def __init__(self, **options):
        self.options = options

    def start(self, frames):
        frames.send(480)

    def close(self):
        pass


class StuckDevice(MadeDevice):
    """A device that opens but does not start."""

    def start(self, frames):
        raise miniaudio.MiniaudioError("failed to start audio device")


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
        assert "no sound card" in device.message
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
    for number, frame in enumerate(expected):
        click = sample(Kind.BEAT if number % 3 else Kind.ONE, rate)
        around = heard[frame - 1000 : frame + 1000 + len(click)]
        assert int(correlate(around, click, "valid").argmax()) == 1000
    assert np.count_nonzero(heard) <= len(expected) * len(click)


def test_clicks_are_placed_as_they_come_near_where_the_device_then_is(cards, monkeypatch):
    device, placed = DeviceOutput(), []
    monkeypatch.setattr(device.timeline, "place", lambda frame, _: placed.append(frame))
    device.clock = DeviceClock(48_000, LATENCY_S)
    now_s = time.perf_counter()
    device.clock.asked(0, now_s)
    device.schedule(now_s, [Click(0.1, Kind.ONE), Click(0.4, Kind.BEAT), Click(5000.0, Kind.ONE)])
    assert placed == [round((at_s - LATENCY_S) * 48_000) for at_s in (0.1, 0.4)]
    # Much later the device has fallen behind by 5 ms.
    device.clock.asked(4999 * 48_000, now_s + 4999.005)
    monkeypatch.setattr(output, "AHEAD_S", 6000.0)
    device.tend()
    assert placed[2:] == [round((5000.0 - 0.005 - LATENCY_S) * 48_000)]


def test_notes_join_the_clicks_that_wait_in_order_of_time(cards, monkeypatch):
    device, placed = DeviceOutput(), []
    monkeypatch.setattr(device.timeline, "place", lambda *placing: placed.append(placing))
    device.clock = DeviceClock(48_000, LATENCY_S)
    now_s = time.perf_counter() + 5000.0
    device.clock.asked(0, now_s)
    device.schedule(now_s, [Click(0.5, Kind.ONE), Click(1.5, Kind.BEAT)])
    device.schedule(now_s - 1.0, [Note(2.0, "kick", 84.0), Note(1.25, "snare", 32.0)])
    monkeypatch.setattr(output, "AHEAD_S", 6000.0)
    device.tend()
    expected = [
        (0.25, stroke("snare", 32.0, 48_000)),
        (0.5, sample(Kind.ONE, 48_000)),
        (1.0, stroke("kick", 84.0, 48_000)),
        (1.5, sample(Kind.BEAT, 48_000)),
    ]
    assert [frame for frame, _ in placed] == [
        round((at_s - LATENCY_S) * 48_000) for at_s, _ in expected
    ]
    for (_, sound), (_, wanted) in zip(placed, expected, strict=True):
        assert np.array_equal(sound, wanted)


def test_clicks_and_notes_sound_together():
    """Their sum, at the level of the output, is what is heard."""
    silent = SilentOutput()
    silent.schedule(1.0, [Click(0.0, Kind.BEAT)])
    silent.schedule(1.0, [Note(0.01, "snare", 84.0)])
    heard = silent.timeline.render(2 * 48_000)[:, 0]
    alone = np.zeros(2 * 48_000)
    for frame, sound in (
        (48_000, sample(Kind.BEAT, 48_000)),
        (48_480, stroke("snare", 84.0, 48_000)),
    ):
        alone[frame : frame + len(sound)] += sound
    assert heard == pytest.approx(alone * silent.timeline.level, abs=1e-6)


def test_what_was_cleared_is_never_placed(cards, monkeypatch):
    device, placed = DeviceOutput(), []
    monkeypatch.setattr(device.timeline, "place", lambda frame, _: placed.append(frame))
    device.schedule(time.perf_counter() + 5000.0, [Click(0.0, Kind.ONE)])
    device.clear()
    monkeypatch.setattr(output, "AHEAD_S", 6000.0)
    device.tend()
    assert placed == []


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
    assert device.message == ""


def test_a_device_that_is_not_there_is_told_with_those_that_are(cards):
    with pytest.raises(OutputError) as told:
        DeviceOutput("attic")
    for words in ('"attic"', '"Desk Box"', '"USB Headphones"'):
        assert words in str(told.value)


def test_a_device_that_was_asked_for_and_does_not_play_is_told(no_card):
    with pytest.raises(OutputError, match='"desk" does not play'):
        DeviceOutput("desk")


def test_opening_says_nothing_on_standard_error(capfd):
    """ALSA and JACK complain aloud where there is no card; our own words are enough."""
    DeviceOutput().close()
    assert capfd.readouterr().err == ""
