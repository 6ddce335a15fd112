"""The sound device: sounds go in at times on the program's clock, and are heard at these times.

A device that vanishes is followed by another, in the background: the same one if it is back, else
the default one, else the null device; while another stands in, the lost one is looked for. The
sounds stay on the program's clock, so that they go on where they would be by then.
"""

import gc
import sys
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from operator import itemgetter
from threading import Event, Lock, Thread
from typing import NamedTuple, Protocol

import numpy as np

from playalong.sound.device.devices import (
    BUFFER_MS,
    GONE_S,
    LONGEST_MS,
    SHORTEST_MS,
    Line,
    OutputError,
    Way,
    defaults,
    named,
    null,
    opened,
)
from playalong.sound.mix import EVEN, Mix, Part
from playalong.sound.synth.click import Click
from playalong.sound.synth.notes import Note
from playalong.sound.timeline import QUIET_DB, Frames, Placed, Source, Stream, Timeline, gain
from playalong.sound.voice import Word
from playalong.support.system.quiet_stderr import quiet_stderr

#: The level may be set between these, against full scale, in steps of that size. The loudest
#: leaves room for strokes that fall together; for more there is the volume of the device.
SOFTEST_DB, LOUDEST_DB, STEP_DB = -60.0, -6.0, 3.0

#: Sounds are placed on the timeline this long before they are heard, so that a drifting device is
#: followed from one to the next.
AHEAD_S = 0.5

#: A short sound that can only be heard later than this is left out: a late click is a wrong one.
LATE_S = 0.02

#: How long it takes at most until a stroke is noticed, as a rule: it is looked for every 2 ms.
NOTICED_S = 0.003

#: A sound system that has not answered by then is not waited for: some wait for a server that is
#: stuck, for ever.
ANSWERS_S = 0.3

NO_ANSWER = "the sound does not answer yet: the click is seen, not heard"
NO_CARD = "no sound card: the click is seen, not heard"

#: How long a sound that is ended takes to fall silent.
FADE_S = 0.03

#: How long the window may keep the lock of the interpreter from the device, which waits for
#: frames. Python's own 5 ms are half of a buffer.
SWITCH_S = 0.0005

#: How long ``tend`` sleeps, so that the device gets the lock. Who draws without a pause lets go of
#: the lock for moments only, and has it again before a waiting thread is awake: each time that
#: thread waits anew, and never long enough to be given its turn.
GIVE_WAY_S = 0.0001

#: The same where its request is overdue: it is not through yet, as on a busy machine.
GIVE_MORE_S = 0.001

#: How often a device that was lost is looked for while another stands in, in seconds.
LOOK_S = 1.0

#: How long a device that is to be closed may take.
_CLOSING_S = 1.0


class Sound(Protocol):
    """What can be scheduled: a click, a note of the drum kit, a recording."""

    @property
    def time_s(self) -> float:
        """When it begins, in seconds from the start of what it belongs to."""
        ...

    def frames(self, rate: int) -> Source:
        """What is heard at ``rate`` frames a second: mono (n,), stereo (n, 2), or a stream."""
        ...


@dataclass(frozen=True, slots=True)
class Panned:
    """A sound with a gain for each side: oneself on the left, the pattern on the right."""

    sound: Sound
    left: float
    right: float

    @property
    def time_s(self) -> float:
        """When it begins, as the sound itself."""
        return self.sound.time_s

    def frames(self, rate: int) -> Source:
        """What is heard, (n, 2) or a stream."""
        sides = np.array([self.left, self.right], np.float32)
        source = self.sound.frames(rate)
        if isinstance(source, np.ndarray):
            return (source[:, np.newaxis] if source.ndim == 1 else source) * sides
        return _PannedStream(source, sides)


class _PannedStream(NamedTuple):
    source: Stream
    sides: Frames

    def read(self, begin: int, count: int) -> Frames:
        """Its frames, a gain on each side."""
        return self.source.read(begin, count) * self.sides


def part_of(sound: Sound) -> Part:
    """Which part of the mix a sound belongs to."""
    own = sound.sound if isinstance(sound, Panned) else sound
    if isinstance(own, Click | Word):
        return Part.CLICK
    return Part.DRUMS if isinstance(own, Note) else Part.RECORDING


class Output(Protocol):
    """Something that plays sounds at times on the program's clock."""

    #: Whether nothing is heard; ``notice`` then says why, where the player should know. Both
    #: may change while it plays.
    silent: bool
    notice: str

    #: The level of everything, in decibel against full scale.
    level_db: float

    #: How loud click, drums and recording are beside one another.
    mix: Mix

    @property
    def latency_s(self) -> float:
        """How long it takes from ``now`` until the sound is heard, on the average."""
        ...

    def louder(self) -> None:
        """One step up."""
        ...

    def softer(self) -> None:
        """One step down."""
        ...

    def schedule(self, start_s: float, sounds: Sequence[Sound]) -> None:
        """Let ``sounds``, whose second 0 is at ``start_s`` on the clock, be heard.

        They join those that wait already.
        """
        ...

    def now(self, sound: Sound) -> Placed:
        """Let ``sound``, of whatever time, be heard as soon as can be."""
        ...

    @property
    def answer_s(self) -> float:
        """The least constant time from a stroke to its sound, see ``answer``."""
        ...

    def answer(self, struck_s: float, sound: Sound) -> Placed:
        """Let ``sound``, of whatever time, be heard ``answer_s`` after ``struck_s`` on the clock.

        A constant delay is felt as one; one that wavers with the device's requests is not. What
        comes too late for that is heard as soon as can be.
        """
        ...

    def fade(self, sound: Placed, seconds: float = FADE_S) -> None:
        """End what ``now`` or ``answer`` began, smoothly, from now on."""
        ...

    def tend(self) -> None:
        """Place what is due; called many times a second."""
        ...

    def clear(self) -> None:
        """Take away all that has not begun to sound, and end what is long."""
        ...

    def close(self) -> None:
        """Let go of the device."""
        ...


class _Levelled:
    """The level of a timeline, kept within what is safe."""

    def __init__(self, timeline: Timeline, level_db: float) -> None:
        self.timeline = timeline
        self._level_db = level_db
        self._mix = EVEN

    @property
    def mix(self) -> Mix:
        """How loud click, drums and recording are beside one another."""
        return self._mix

    @mix.setter
    def mix(self, mix: Mix) -> None:
        self._mix = mix
        self._set_groups()

    def _set_groups(self) -> None:
        for part, level_db in self._mix.as_levels().items():
            self.timeline.set_group(part, gain(level_db))

    @property
    def level_db(self) -> float:
        """The level, against full scale; ``SOFTEST_DB`` to ``LOUDEST_DB``."""
        return self._level_db

    @level_db.setter
    def level_db(self, level_db: float) -> None:
        self._level_db = _safe_db(level_db)
        self.timeline.level = gain(self._level_db)

    def louder(self) -> None:
        """One step up."""
        self.level_db += STEP_DB

    def softer(self) -> None:
        """One step down."""
        self.level_db -= STEP_DB


def _safe_db(level_db: float) -> float:
    return min(max(level_db, SOFTEST_DB), LOUDEST_DB)


class SilentOutput(_Levelled):
    """No device: for the stepped clock, on which nothing can be heard.

    What would be heard can be rendered from ``timeline``; its frame 0 is at ``origin_s``.
    """

    silent = True
    notice = ""
    latency_s = 0.0

    def __init__(self, origin_s: float = 0.0) -> None:
        super().__init__(Timeline(), QUIET_DB)
        self._origin_s = origin_s

    def frame_at(self, time_s: float) -> int:
        """The frame that would be heard at ``time_s`` on the program's clock."""
        return round((time_s - self._origin_s) * self.timeline.rate)

    def schedule(self, start_s: float, sounds: Sequence[Sound]) -> None:
        """Place ``sounds``, whose second 0 is at ``start_s`` on the clock."""
        for sound in sounds:
            frame = self.frame_at(start_s + sound.time_s)
            source = sound.frames(self.timeline.rate)
            self.timeline.place(frame, source, group=part_of(sound))

    def now(self, sound: Sound) -> Placed:
        """Place it on a timeline of its own: the stepped clock has no now."""
        rate = self.timeline.rate
        return Timeline(rate).place(None, sound.frames(rate))

    answer_s = 0.0

    def answer(self, struck_s: float, sound: Sound) -> Placed:
        """As ``now``."""
        return self.now(sound)

    def fade(self, sound: Placed, seconds: float = FADE_S) -> None:
        """Nothing is to be ended."""

    def tend(self) -> None:
        """Nothing is due: all was placed at once."""

    def clear(self) -> None:
        """Take away all that has not begun to sound."""
        self.timeline.clear()

    def close(self) -> None:
        """Nothing is open."""


class _PlacedSound(NamedTuple):
    """A sound that was placed, and when on the clock it begins."""

    at_s: float
    sound: Sound
    placed: Placed


class DeviceOutput(_Levelled):
    """A sound device; where there is none, miniaudio's null device, which runs in real time."""

    def __init__(
        self,
        part: str | None = None,
        level_db: float = QUIET_DB,
        buffer_ms: float = BUFFER_MS,
        *,
        clock: Callable[[], float] = time.perf_counter,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        """Open the device that has ``part`` in its name, or the default one.

        ``buffer_ms`` is what the device asks for at once, ``SHORTEST_MS`` to ``LONGEST_MS``;
        ``clock`` the program's, on which ``sleep`` sleeps. OutputError, with the names there
        are, when a device was asked for and cannot be had.
        """
        if not SHORTEST_MS <= buffer_ms <= LONGEST_MS:
            raise OutputError(
                f"A sound buffer is {SHORTEST_MS:g} to {LONGEST_MS:g} ms long, not {buffer_ms:g}."
            )
        self._part, self._buffer_ms, self._clock, self._sleep = part, buffer_ms, clock, sleep
        self._waiting: deque[tuple[float, Sound]] = deque()
        self._given: list[_PlacedSound] = []
        #: The search for another device, and what it found.
        self._search: Thread | None = None
        self._found: Line | None = None
        self._closed = False
        #: One that was heard is lost; another stands in for it, and when it was last looked for.
        self._is_missed = self._stands_in = False
        self._looked_s = clock()
        self._underruns_before = 0
        level_db = _safe_db(level_db)
        self.notice = ""
        line = self._opened_soon(part, gain(level_db))
        if line is None:
            raise OutputError(
                f'The sound device "{part or "default"}" does not play: '
                "choose another with --sound."
            )
        super().__init__(line.timeline, level_db)
        self._take(line)
        if self.silent:
            self._stands_in = self._search is not None
            self.notice = NO_ANSWER if self._stands_in else NO_CARD
        self._switch_s = sys.getswitchinterval()
        sys.setswitchinterval(min(SWITCH_S, self._switch_s))
        # Looking through all objects for garbage takes longer than a buffer lasts, and nothing
        # else runs meanwhile: those that are there by now are not looked through again.
        gc.collect()
        gc.freeze()

    def _opened_soon(self, part: str | None, level: float) -> Line | None:
        """The device that is asked for; the null device, meanwhile, where it does not answer."""
        found: list[Line | None] = []
        failed: list[OutputError] = []
        lock, is_late, opening = Lock(), Event(), Thread(target=lambda: open_it(), daemon=True)

        def open_it() -> None:
            line = None
            try:
                with quiet_stderr():
                    ways = [*defaults(), null()] if part is None else named(part)
                    line = opened(ways, level, self._buffer_ms, now=self._clock)
            except OutputError as error:
                failed.append(error)
            with lock:
                found.append(line)
                if is_late.is_set():
                    self._has_answered(line)

        opening.start()
        opening.join(ANSWERS_S)
        with lock:
            if not found:
                is_late.set()
                self._search = opening
        if is_late.is_set():
            return opened([null()], level, self._buffer_ms, now=self._clock)
        if failed:
            raise failed[0]
        return found[0]

    def _has_answered(self, line: Line | None) -> None:
        """A sound system has answered late."""
        if line is not None and not self._closed and not line.is_silent:
            self._found = line
            return
        if line is not None:
            line.close()
        self.notice, self._stands_in, self._search = NO_CARD, False, None

    def _take(self, line: Line) -> None:
        self._line, self.timeline, self.clock = line, line.timeline, line.clock
        self.device_name, self.silent = line.name, line.is_silent

    @property
    def underruns(self) -> int:
        """How often a device ran dry; see ``devices.Line`` for the rule."""
        return self._underruns_before + self._line.underruns

    @property
    def latency_s(self) -> float:
        """From ``now`` to hearing: half a buffer until the device asks, and what waits there."""
        return self._line.buffer_s / 2 + self._line.waits_s

    def frame_at(self, time_s: float) -> int:
        """The frame that is heard at ``time_s`` on the program's clock."""
        return self.clock.frame_at(time_s)

    def schedule(self, start_s: float, sounds: Sequence[Sound]) -> None:
        """Let ``sounds``, whose second 0 is at ``start_s`` on the clock, be heard."""
        self._wait([(start_s + sound.time_s, sound) for sound in sounds])
        self.tend()

    def _wait(self, sounds: Sequence[tuple[float, Sound]]) -> None:
        self._waiting = deque(sorted((*self._waiting, *sounds), key=itemgetter(0)))

    def now(self, sound: Sound) -> Placed:
        """Let ``sound`` be heard as soon as can be, ``latency_s`` from now."""
        source = sound.frames(self.timeline.rate)
        return self.timeline.place(None, source, group=part_of(sound))

    @property
    def answer_s(self) -> float:
        """A buffer until the device asks at the latest, what waits there, and what we need."""
        return self._line.buffer_s + self._line.waits_s + NOTICED_S

    def answer(self, struck_s: float, sound: Sound) -> Placed:
        """Let ``sound`` be heard ``answer_s`` after ``struck_s``, or as soon as can be."""
        frame = max(self.frame_at(struck_s + self.answer_s), self.timeline.rendered)
        source = sound.frames(self.timeline.rate)
        return self.timeline.place(frame, source, group=part_of(sound))

    def fade(self, sound: Placed, seconds: float = FADE_S) -> None:
        """End what ``now`` or ``answer`` began, smoothly, from now on."""
        self.timeline.fade(sound, None, seconds)

    def tend(self) -> None:
        """Place what is heard soon, look after the device, and give way to it."""
        self._sleep(GIVE_MORE_S if self._line.is_overdue() else GIVE_WAY_S)
        if self._search is None and self._line.is_gone():
            self._look_for_another()
        elif self._search is None and self._stands_in:
            self._look_for_the_lost_one()
        if self._found is not None:
            self._go_on(self._found)
        if self._search is not None and not self._stands_in:
            return
        soon_s = self._clock() + AHEAD_S
        self._given = [given for given in self._given if not given.placed.is_over]
        while self._waiting and self._waiting[0][0] < soon_s:
            self._place(*self._waiting.popleft())

    def _place(self, at_s: float, sound: Sound) -> None:
        frame, source = self.frame_at(at_s), sound.frames(self.timeline.rate)
        is_late = frame < self.timeline.rendered - LATE_S * self.timeline.rate
        if is_late and isinstance(source, np.ndarray):
            return
        placed = self.timeline.place(frame, source, group=part_of(sound))
        self._given.append(_PlacedSound(at_s, sound, placed))

    def choose(self, part: str | None) -> None:
        """From now on the device that has ``part`` in its name plays, None for the default one.

        It is opened in the background, as one that is sought; where it does not play, the default
        one does.
        """
        self._part = part
        if self._search is None:
            self._look_for_another()
            self.notice = f"{self._wished} is opened"

    def _look_for_another(self) -> None:
        """The device is gone: what it has not played waits again while another is sought."""
        self._wait([(given.at_s, given.sound) for given in self._given if not given.placed.is_over])
        self._given, self._stands_in = [], False
        if not self.silent:
            self._is_missed = True
            self.notice = f"{self._wished} is gone: looking for it, or for another"
        self._search = Thread(
            target=self._seek, args=(self._line, gain(self.level_db)), daemon=True
        )
        self._search.start()

    def _look_for_the_lost_one(self) -> None:
        """Another stands in: the lost one is tried now and then, while that plays on."""
        now_s = self._clock()
        if now_s - self._looked_s < LOOK_S:
            return
        self._looked_s = now_s
        self._search = Thread(target=self._try_again, args=(gain(self.level_db),), daemon=True)
        self._search.start()

    def _try_again(self, level: float) -> None:
        """Open the lost device if it is back."""
        ways = defaults()
        if self._part is not None:
            try:
                ways = named(self._part)
            except OutputError:
                ways = []
        with quiet_stderr():
            found = opened(ways, level, self._buffer_ms, now=self._clock)
        if found is not None and self._closed:
            found.close()
        elif found is not None:
            self._found = found
        else:
            self._search = None

    @property
    def _wished(self) -> str:
        return "the sound device" if self._part is None else f'the sound device "{self._part}"'

    def _seek(self, gone: Line, level: float) -> None:
        """Find a device that plays; at last the null device does."""
        # A device that is broken may hold whoever closes it.
        closing = Thread(target=gone.close, daemon=True)
        closing.start()
        closing.join(_CLOSING_S)
        found: Line | None = None
        while found is None and not self._closed:
            with quiet_stderr():
                found = opened(self._ways_on(), level, self._buffer_ms, now=self._clock)
            if found is None:
                time.sleep(GONE_S)
        if found is not None and self._closed:
            found.close()
        else:
            self._found = found

    def _ways_on(self) -> list[Way]:
        """The ways to be tried when a device is gone, in order."""
        wished: list[Way] = []
        if self._part is not None:
            with suppress(OutputError):
                wished = named(self._part)
        return [*wished, *defaults(), null()]

    def _go_on(self, found: Line) -> None:
        """Another device plays: its frames have times of their own."""
        was_silent, before = self.silent, self._line
        if self._stands_in:  # what it has not played waits for the one that is back
            waiting = [given for given in self._given if not given.placed.is_over]
            self._wait([(given.at_s, given.sound) for given in waiting])
            self._given = []
            Thread(target=before.close, daemon=True).start()
        self._underruns_before += self._line.underruns
        self._take(found)
        self.timeline.level = gain(self.level_db)  # it may have been changed meanwhile
        self._set_groups()
        self._search = self._found = None
        self._looked_s = self._clock()
        wished = self._part is None or self._part.casefold() in self.device_name.casefold()
        self._is_missed &= self.silent
        self._stands_in = self._is_missed or not wished
        if self.silent and not was_silent:
            self.notice = f"{self._wished} is gone, and no other plays: the click is not heard"
        elif not self.silent:
            self.notice = "" if wished else f"{self._wished} is gone: the default one plays"

    def clear(self) -> None:
        """Take away all that has not begun to sound, and end what is long."""
        self._waiting.clear()
        self._given = []
        self.timeline.clear()

    def close(self) -> None:
        """Let go of the device."""
        self._closed = True
        sys.setswitchinterval(self._switch_s)
        gc.unfreeze()
        if self._search is None:
            self._line.close()
            return
        self._search.join(_CLOSING_S)
        if self._found is not None:
            self._found.close()
