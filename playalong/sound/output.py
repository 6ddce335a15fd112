"""The sound device, and how its frames lie on the program's clock.

The device asks for frames when it has room. When frame n is asked for, it will be heard not
before what is already waiting in the device has been played. A request may come late, when
Python was busy, but never early: so the smallest (clock - n / rate) seen lately ties frames and
clock together, and follows a device whose clock drifts.
"""

import time
from collections import deque
from collections.abc import Generator, Sequence
from typing import Any, Protocol

from playalong.plain import PlainError
from playalong.quiet import quiet
from playalong.sound.click import Click, sample
from playalong.sound.timeline import Frames, Timeline

BUFFER_MS = 10
PERIODS = 2

#: What waits in the device when it asks for more: all its periods but the one that is empty.
LATENCY_S = BUFFER_MS / 1000.0 * (PERIODS - 1)

#: Clicks are placed on the timeline this long before they sound, so that a drifting device is
#: followed from click to click.
AHEAD_S = 0.5

_NULL = "Null"
_KEPT = 1000  # requests remembered: ten seconds


class OutputError(PlainError):
    """A sound device that cannot be had."""


class Output(Protocol):
    """Something that sounds clicks at times on the program's clock."""

    message: str

    def schedule(self, start_s: float, clicks: Sequence[Click]) -> None:
        """Sound ``clicks``, whose second 0 is at ``start_s`` on the clock."""
        ...

    def tend(self) -> None:
        """Place what is due; called many times a second."""
        ...

    def clear(self) -> None:
        """Stop all that was scheduled."""
        ...

    def close(self) -> None:
        """Let go of the device."""
        ...


class SilentOutput:
    """No sound at all: for the stepped clock, on which nothing can be heard."""

    message = ""

    def schedule(self, start_s: float, clicks: Sequence[Click]) -> None:
        """Nothing sounds."""

    def tend(self) -> None:
        """Nothing is due."""

    def clear(self) -> None:
        """Nothing was scheduled."""

    def close(self) -> None:
        """Nothing is open."""


class DeviceOutput:
    """A sound device; where there is none, miniaudio's null device, which runs in real time."""

    def __init__(self, part: str | None = None) -> None:
        """Open the device that has ``part`` in its name, or the default one."""
        import miniaudio

        self.timeline = Timeline()
        self._requests: deque[tuple[int, float]] = deque(maxlen=_KEPT)
        self._waiting: deque[tuple[float, Click]] = deque()
        with quiet():
            self._device: Any = _opened(miniaudio, part, self.timeline.rate)
            frames = self._frames()
            next(frames)
            self._device.start(frames)
        self.silent = self._device.backend == _NULL
        self.message = "no sound card: the click is seen, not heard" if self.silent else ""
        self._wait_for_first_request()

    def _frames(self) -> Generator[Frames | bytes, int, None]:
        wanted = yield b""
        while True:
            self._requests.append((self.timeline.rendered, time.perf_counter()))
            wanted = yield self.timeline.render(wanted)

    def _wait_for_first_request(self) -> None:
        until_s = time.perf_counter() + 1.0
        while not self._requests and time.perf_counter() < until_s:
            time.sleep(0.002)
        if not self._requests:
            self.close()
            raise OutputError("The sound device does not play: choose another with --sound.")

    def frame_at(self, time_s: float) -> int:
        """The frame that is heard at ``time_s`` on the program's clock."""
        rate = self.timeline.rate
        offset_s = min(at_s - frame / rate for frame, at_s in list(self._requests))
        return round((time_s - LATENCY_S - offset_s) * rate)

    def schedule(self, start_s: float, clicks: Sequence[Click]) -> None:
        """Sound ``clicks``, whose second 0 is at ``start_s`` on the clock."""
        self._waiting.extend((start_s + click.time_s, click) for click in clicks)
        self.tend()

    def tend(self) -> None:
        """Place the clicks that sound soon."""
        soon_s = time.perf_counter() + AHEAD_S
        while self._waiting and self._waiting[0][0] < soon_s:
            at_s, click = self._waiting.popleft()
            self.timeline.place(self.frame_at(at_s), sample(click.kind, self.timeline.rate))

    def clear(self) -> None:
        """Stop all that was scheduled."""
        self._waiting.clear()
        self.timeline.clear()

    def close(self) -> None:
        """Let go of the device."""
        self._device.close()


def _opened(miniaudio: Any, part: str | None, rate: int) -> Any:
    """The device with ``part`` in its name; or the default, or else the null device."""
    ways: list[dict[str, Any]] = [{}, {"backends": [miniaudio.Backend.NULL]}]
    if part is not None:
        ways = [{"device_id": _chosen(miniaudio, part)}]
    for way in ways:
        try:
            return miniaudio.PlaybackDevice(
                output_format=miniaudio.SampleFormat.FLOAT32,
                nchannels=2,
                sample_rate=rate,
                buffersize_msec=BUFFER_MS,
                callback_periods=PERIODS,
                app_name="playalong",
                **way,
            )
        except miniaudio.MiniaudioError:
            continue
    raise OutputError(
        f'The sound device "{part or "default"}" does not open: choose another with --sound.'
    )


def _chosen(miniaudio: Any, part: str) -> Any:
    try:
        found = miniaudio.Devices().get_playbacks()
    except miniaudio.MiniaudioError:
        found = []
    fitting = [device["id"] for device in found if part.lower() in device["name"].lower()]
    if not fitting:
        listed = ", ".join(f'"{device["name"]}"' for device in found) or "none"
        raise OutputError(f'No sound device has "{part}" in its name; there is {listed}.')
    return fitting[0]
