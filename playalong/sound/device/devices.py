"""Sound devices by miniaudio: which there are, and one that is open and plays a timeline.

miniaudio is imported when a device is asked for, so that what opens none does not pay for it.
"""

import ctypes
import time
from collections.abc import Callable, Generator, Sequence
from contextlib import suppress
from functools import cache
from math import inf
from typing import Any, NamedTuple

from playalong.sound.device.device_clock import WINDOW_S, DeviceClock
from playalong.sound.timeline import Frames, Timeline
from playalong.support.errors import UserError
from playalong.support.system.quiet_stderr import quiet_stderr

#: How much is asked for at once.
BUFFER_MS = 10.0

#: The same where pads sound through the program: a constant delay is then no longer than one that
#: wavered was on the average.
PADS_BUFFER_MS = 6.0

SHORTEST_MS, LONGEST_MS = 5.0, 100.0

#: Buffers in the device: one is heard while another is filled.
BUFFERS = 2

#: A request that comes no sooner than so many buffers after the one before is overdue.
OVERDUE = 1.5

#: How long a device may take until it asks for its first frames.
FIRST_REQUEST_S = 1.0

#: A device that asks for nothing for so long is gone.
GONE_S = 0.5

#: A look that comes later than this after the one before it says more about us than about the
#: device: it counts for no more.
_LOOK_S = 0.1

#: The null device looks at the time no oftener: its requests are as late as that by themselves
#: (measured).
_NULL_LATE_S = 0.0105

_NULL = "Null"

#: Names, or parts of them, of devices that nobody can hear: ALSA's null device, and what PulseAudio
#: and PipeWire put in the place of a card that is not there (from memory of their listings).
_UNHEARD = ("discard all samples", "dummy output", "auto_null", "null output")

#: A device that has asked for so much more than there was time for is heard by nobody, in seconds;
#: how long it is looked at for that before it is taken.
_RACING_S, _LOOKED_AT_S = 0.5, 0.03


#: What JACK's library is called on Linux, macOS and Windows, as miniaudio looks for it.
_JACK = ("libjack.so.0", "libjack.so", "libjack.0.dylib", "libjack.dylib", "libjack.dll",
         "libjack64.dll")  # fmt: skip


class OutputError(UserError):
    """A sound device that cannot be had."""


class Way(NamedTuple):
    """A way to a device; ``device_id`` None is the default one of the backend."""

    name: str
    backend: Any
    device_id: Any = None


def device_names() -> list[str]:
    """The sound devices that can be heard."""
    with quiet_stderr():
        return list(dict.fromkeys(way.name for way in _found()))


def named(part: str) -> list[Way]:
    """The ways to devices with ``part`` in their name; OutputError where there is none."""
    found = _found()
    fitting = [way for way in found if part.casefold() in way.name.casefold()]
    if not fitting:
        listed = ", ".join(f'"{name}"' for name in dict.fromkeys(way.name for way in found))
        raise OutputError(f'No sound device has "{part}" in its name; there is {listed or "none"}.')
    return fitting


def defaults() -> list[Way]:
    """The ways to a default device, in the order to be tried.

    miniaudio itself tries one backend only, so that a system whose first one has no card would
    stay silent.
    """
    return [Way("default", backend) for backend in _backends()]


def null() -> Way:
    """The way to the null device, which runs in real time where there is nothing to hear it."""
    import miniaudio

    return Way("none", miniaudio.Backend.NULL)


def _backends() -> list[Any]:
    import miniaudio

    _hold_libraries()
    enabled = miniaudio.get_enabled_backends() - {miniaudio.Backend.CUSTOM, miniaudio.Backend.NULL}
    return [backend for backend in miniaudio.Backend if backend in enabled]


@cache
def _hold_libraries() -> None:
    """Let JACK's library stay loaded, where there is one.

    miniaudio loads it anew each time it asks for a device. Each time it makes keys for its threads
    that it never gives back: after some hundred times the system has none left, and the process
    dies inside it.
    """
    for name in _JACK:
        with suppress(OSError):
            ctypes.CDLL(name)
            return


def _found() -> list[Way]:
    import miniaudio

    found = []
    for backend in _backends():
        try:
            devices = miniaudio.Devices([backend]).get_playbacks()
        except miniaudio.MiniaudioError:
            continue
        found += [Way(device["name"], backend, device["id"]) for device in devices]
    return [way for way in found if not is_unheard(way.name)]


def is_unheard(name: str) -> bool:
    """Whether a device of that name is one that nobody can hear."""
    return any(part in name.casefold() for part in _UNHEARD)


class Line:
    """An open device, the timeline it plays, and the clock of its frames.

    ``underruns`` counts how often it ran dry. By the device clock every request has a time when
    it is due; what waits in the device then lasts for a buffer more. Frames handed over later
    than that come too late, however it was: a request that could not get through, or rendering
    that took too long. What is late within a second of the last such frames is the same underrun:
    the clock needs so long to follow a device that stood still. The null device is given the time
    by which it is late of itself.
    """

    def __init__(
        self, way: Way, level: float, buffer_ms: float, *, now: Callable[[], float]
    ) -> None:
        """Open the device and start it; miniaudio.MiniaudioError where that fails."""
        import miniaudio

        self.name = way.name
        self.timeline = Timeline(level=level)
        self.clock = DeviceClock(self.timeline.rate, 0.0)
        self.buffer_s = buffer_ms / 1000.0
        self.requests = 0
        self.underruns = 0
        self._now = now
        self._requested_s = self._opened_s = now()
        self._dry_s = -inf
        self._stopped = False
        self._seen, self._silent_s, self._looked_s = 0, 0.0, now()
        self._device = miniaudio.PlaybackDevice(
            output_format=miniaudio.SampleFormat.FLOAT32,
            nchannels=2,
            sample_rate=self.timeline.rate,
            buffersize_msec=round(buffer_ms),
            callback_periods=BUFFERS,
            device_id=way.device_id,
            backends=[way.backend],
            app_name="playalong",
        )
        self.is_silent: bool = self._device.backend == _NULL
        self._device.stop_callback = self._has_stopped
        frames = self._frames()
        next(frames)
        try:
            self._device.start(frames)
        except miniaudio.MiniaudioError:
            self.close()
            raise

    @property
    def waits_s(self) -> float:
        """How long what waits in the device lasts when it asks for more."""
        return self.buffer_s * (BUFFERS - 1)

    def _frames(self) -> Generator[Frames | bytes, int, None]:
        wanted = yield b""
        while True:
            if not self.requests:  # the device may have another buffer than was asked for
                self.buffer_s = wanted / self.timeline.rate
                self.clock.latency_s = self.waits_s
            frame = self.timeline.rendered
            self._requested_s = self._now()
            self.clock.add_request(frame, self._requested_s)
            self.requests += 1
            block = self.timeline.render(wanted)
            self._handed(frame, self._now())
            wanted = yield block

    def _handed(self, frame: int, at_s: float) -> None:
        allowed_s = self.waits_s + (_NULL_LATE_S if self.is_silent else 0.0)
        if self.clock.late_s(frame, at_s) > allowed_s:
            self.underruns += at_s > self._dry_s + WINDOW_S
            self._dry_s = at_s

    def _has_stopped(self) -> None:
        self._stopped = True

    def is_asking(self) -> bool:
        """Wait for the first request; whether one came."""
        until_s = time.perf_counter() + FIRST_REQUEST_S
        while not self.requests and time.perf_counter() < until_s:
            time.sleep(0.002)
        return self.requests > 0

    def is_racing(self) -> bool:
        """Whether it takes sound far faster than that can be heard: nobody hears it."""
        lasted_s = self._now() - self._opened_s
        return self.timeline.rendered / self.timeline.rate > lasted_s + _RACING_S

    def is_overdue(self) -> bool:
        """Whether its next request should have come by now: it may wait for the interpreter."""
        return self._now() - self._requested_s > OVERDUE * self.buffer_s

    def is_gone(self) -> bool:
        """Whether the device has stopped, asked for nothing for ``GONE_S``, or races.

        To be asked many times a second.
        """
        now_s = self._now()
        if self.requests != self._seen:
            self._seen, self._silent_s = self.requests, 0.0
        else:
            self._silent_s += min(now_s - self._looked_s, _LOOK_S)
        self._looked_s = now_s
        return self._stopped or self._silent_s > GONE_S or self.is_racing()

    def close(self) -> None:
        """Let go of the device."""
        self._device.stop_callback = None  # that it stops now is no news
        self._device.close()


def opened(
    ways: Sequence[Way], level: float, buffer_ms: float, *, now: Callable[[], float]
) -> Line | None:
    """The first of ``ways`` that plays, None where none does."""
    import miniaudio

    for way in ways:
        try:
            line = Line(way, level, buffer_ms, now=now)
        except miniaudio.MiniaudioError:
            continue
        if line.is_asking():
            time.sleep(0.0 if line.is_silent else _LOOKED_AT_S)
            if not line.is_racing():
                return line
        line.close()
    return None
