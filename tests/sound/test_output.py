"""The device: real callbacks, on whatever sound device there is, or miniaudio's null device."""

import time

import miniaudio
import pytest

from playalong.sound import output
from playalong.sound.click import Click, Kind
from playalong.sound.output import LATENCY_S, DeviceOutput, OutputError


@pytest.fixture
def null(monkeypatch):
    """A machine without a sound card: only the null device opens."""
    real = miniaudio.PlaybackDevice

    def only_null(**options):
        if options.get("backends") != [miniaudio.Backend.NULL]:
            raise miniaudio.MiniaudioError("no device")
        return real(**options)

    monkeypatch.setattr(miniaudio, "PlaybackDevice", only_null)
    device = DeviceOutput()
    yield device
    device.close()


def test_without_a_card_it_runs_in_real_time_and_says_so(null):
    assert null.silent
    assert "no sound card" in null.message
    before, at_s = null.timeline.rendered, time.perf_counter()
    deadline_s = at_s + 10.0
    while null.timeline.rendered < before + 4800 and time.perf_counter() < deadline_s:
        time.sleep(0.01)
    assert null.timeline.rendered >= before + 4800
    assert time.perf_counter() - at_s > 0.05  # 100 ms of sound take their time


def test_frames_and_clock_are_tied_by_the_smallest_delay(null):
    null._requests.clear()
    null._requests.extend([(0, 100.0), (480, 100.05), (960, 100.02 + 0.0001), (1440, 100.9)])
    assert null.frame_at(100.0 + LATENCY_S) == 0
    assert null.frame_at(101.0 + LATENCY_S) == 48_000


def test_clicks_are_placed_as_they_come_near(null, monkeypatch):
    placed = []
    monkeypatch.setattr(null.timeline, "place", lambda frame, sound: placed.append(frame))
    monkeypatch.setattr(output.time, "perf_counter", lambda: 50.0)
    null._requests.clear()
    null._requests.append((0, 50.0))
    null.schedule(50.0, [Click(0.1, Kind.ONE), Click(0.4, Kind.BEAT), Click(0.9, Kind.BEAT)])
    expected = [round((t - LATENCY_S) * 48_000) for t in (0.1, 0.4)]
    assert placed == expected
    null.clear()
    monkeypatch.setattr(output.time, "perf_counter", lambda: 51.0)
    null.tend()
    assert placed == expected


def test_a_device_that_is_not_there_is_told():
    with pytest.raises(OutputError, match='No sound device has "nowhere"'):
        DeviceOutput("nowhere")
