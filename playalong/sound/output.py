"""The sound device: sounds go in at times on the program's clock, and are heard at these times."""

import time
from collections import deque
from collections.abc import Generator, Sequence
from operator import itemgetter
from typing import Any, NamedTuple, Protocol

from playalong.plain import PlainError
from playalong.quiet import quiet
from playalong.sound.device_clock import DeviceClock
from playalong.sound.timeline import Frames, Timeline

BUFFER_MS = 10
PERIODS = 2

#: What waits in the device when it asks for more: all its periods but the one that is empty.
LATENCY_S = BUFFER_MS / 1000.0 * (PERIODS - 1)

#: Sounds are placed on the timeline this long before they are heard, so that a drifting device is
#: followed from one to the next.
AHEAD_S = 0.5

#: How long a device may take until it asks for its first frames.
FIRST_REQUEST_S = 1.0

_NULL = "Null"


class OutputError(PlainError):
    """A sound device that cannot be had."""


class Sound(Protocol):
    """What can be scheduled: a click, or a note of the drum kit."""

    @property
    def time_s(self) -> float:
        """When it begins, in seconds from the start of what it belongs to."""
        ...

    def frames(self, rate: int) -> Frames:
        """What is heard, mono (n,) at ``rate`` frames a second."""
        ...


class Output(Protocol):
    """Something that plays sounds at times on the program's clock."""

    #: Whether nothing is heard; ``message`` then says why, where the player should know.
    silent: bool
    message: str

    def schedule(self, start_s: float, sounds: Sequence[Sound]) -> None:
        """Let ``sounds``, whose second 0 is at ``start_s`` on the clock, be heard.

        They join those that wait already.
        """
        ...

    def tend(self) -> None:
        """Place what is due; called many times a second."""
        ...

    def clear(self) -> None:
        """Take away all that has not begun to sound."""
        ...

    def close(self) -> None:
        """Let go of the device."""
        ...


class SilentOutput:
    """No device: for the stepped clock, on which nothing can be heard.

    What would be heard can be rendered from ``timeline``; its frame 0 is at ``origin_s``.
    """

    silent = True
    message = ""

    def __init__(self, origin_s: float = 0.0) -> None:
        self.timeline = Timeline()
        self._origin_s = origin_s

    def frame_at(self, time_s: float) -> int:
        """The frame that would be heard at ``time_s`` on the program's clock."""
        return round((time_s - self._origin_s) * self.timeline.rate)

    def schedule(self, start_s: float, sounds: Sequence[Sound]) -> None:
        """Place ``sounds``, whose second 0 is at ``start_s`` on the clock."""
        for sound in sounds:
            frame = self.frame_at(start_s + sound.time_s)
            self.timeline.place(frame, sound.frames(self.timeline.rate))

    def tend(self) -> None:
        """Nothing is due: all was placed at once."""

    def clear(self) -> None:
        """Take away all that has not begun to sound."""
        self.timeline.clear()

    def close(self) -> None:
        """Nothing is open."""


class DeviceOutput:
    """A sound device; where there is none, miniaudio's null device, which runs in real time."""

    def __init__(self, part: str | None = None) -> None:
        """Open the device that has ``part`` in its name, or the default one.

        OutputError, with the names there are, when a device was asked for and cannot be had.
        """
        import miniaudio

        self.timeline = Timeline()
        self.clock = DeviceClock(self.timeline.rate, LATENCY_S)
        self._waiting: deque[tuple[float, Sound]] = deque()
        with quiet():
            self.device_name, self._device = self._opened(miniaudio, part)
        self.silent = self._device.backend == _NULL
        self.message = "no sound card: the click is seen, not heard" if self.silent else ""

    def _opened(self, miniaudio: Any, part: str | None) -> tuple[str, Any]:
        """The first way to a device that plays, and the device's name."""
        for way in _ways(miniaudio, part):
            try:
                device = miniaudio.PlaybackDevice(
                    output_format=miniaudio.SampleFormat.FLOAT32,
                    nchannels=2,
                    sample_rate=self.timeline.rate,
                    buffersize_msec=BUFFER_MS,
                    callback_periods=PERIODS,
                    device_id=way.device_id,
                    backends=[way.backend],
                    app_name="playalong",
                )
                frames = self._frames()
                next(frames)
                device.start(frames)
            except miniaudio.MiniaudioError:
                continue
            if self._is_asked():
                return way.name, device
            device.close()
        raise OutputError(
            f'The sound device "{part or "default"}" does not play: choose another with --sound.'
        )

    def _frames(self) -> Generator[Frames | bytes, int, None]:
        wanted = yield b""
        while True:
            self.clock.asked(self.timeline.rendered, time.perf_counter())
            wanted = yield self.timeline.render(wanted)

    def _is_asked(self) -> bool:
        until_s = time.perf_counter() + FIRST_REQUEST_S
        while not self.clock.is_running and time.perf_counter() < until_s:
            time.sleep(0.002)
        return self.clock.is_running

    def frame_at(self, time_s: float) -> int:
        """The frame that is heard at ``time_s`` on the program's clock."""
        return self.clock.frame_at(time_s)

    def schedule(self, start_s: float, sounds: Sequence[Sound]) -> None:
        """Let ``sounds``, whose second 0 is at ``start_s`` on the clock, be heard."""
        coming = ((start_s + sound.time_s, sound) for sound in sounds)
        self._waiting = deque(sorted((*self._waiting, *coming), key=itemgetter(0)))
        self.tend()

    def tend(self) -> None:
        """Place what is heard soon."""
        soon_s = time.perf_counter() + AHEAD_S
        while self._waiting and self._waiting[0][0] < soon_s:
            at_s, sound = self._waiting.popleft()
            self.timeline.place(self.frame_at(at_s), sound.frames(self.timeline.rate))

    def clear(self) -> None:
        """Take away all that has not begun to sound."""
        self._waiting.clear()
        self.timeline.clear()

    def close(self) -> None:
        """Let go of the device."""
        self._device.close()


class _Way(NamedTuple):
    """A way to a device; ``device_id`` None is the default one of the backend."""

    name: str
    backend: Any
    device_id: Any = None


def _ways(miniaudio: Any, part: str | None) -> list[_Way]:
    """The ways to try, in order: devices with ``part`` in their name, or the defaults.

    miniaudio itself tries one backend only, so that a system whose first one has no card would
    stay silent.
    """
    enabled = miniaudio.get_enabled_backends() - {miniaudio.Backend.CUSTOM, miniaudio.Backend.NULL}
    backends = [backend for backend in miniaudio.Backend if backend in enabled]
    if part is None:
        return [_Way("default", backend) for backend in [*backends, miniaudio.Backend.NULL]]
    found = []
    for backend in backends:
        try:
            devices = miniaudio.Devices([backend]).get_playbacks()
        except miniaudio.MiniaudioError:
            continue
        found += [_Way(device["name"], backend, device["id"]) for device in devices]
    fitting = [way for way in found if part.casefold() in way.name.casefold()]
    if not fitting:
        listed = ", ".join(f'"{way.name}"' for way in found) or "none"
        raise OutputError(f'No sound device has "{part}" in its name; there is {listed}.')
    return fitting
