"""A simulated player who does what the pages of a kit ask: by sight, by ear, and with sticks.

The player sees the page that is shown (what is lit up, which strokes are wanted), hears the click
that is scheduled, and strikes the pads of a simulated kit, whose messages come as ``kit.rough``
makes them. What only a hand can do on a page, a key press does.
"""

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from heapq import heappop, heappush
from itertools import cycle
from typing import Any

import numpy as np

from playalong.app.run.context import RunContext
from playalong.midi.messages import (
    FOOT_CONTROLLER,
    HIGHEST,
    PERCUSSION_CHANNEL,
    control_change,
    has_note,
    note_off,
    note_on,
)
from playalong.midi.port import Arrival
from playalong.pattern.model import Dynamic
from playalong.pattern.voices import BY_NAME, note_of
from playalong.profile.pad_learning import ZONES, Zone
from playalong.screen.base.keys import Press
from playalong.screen.base.overlay import Struck
from playalong.screen.base.page import Outcome, Page
from playalong.screen.kit_pages.kit_drawing import Part, Spot
from playalong.screen.kit_pages.latency import LatencyPage
from playalong.screen.kit_pages.loudness import LoudnessPage
from playalong.screen.kit_pages.overview import KitPage
from playalong.screen.kit_pages.pads import PadsPage
from playalong.screen.kit_pages.triggers import TriggersPage
from playalong.simulation.faulty_kit import Rough, through
from playalong.simulation.human_timing import shared
from playalong.simulation.human_touch import velocities
from playalong.simulation.player import Performance, Truth
from playalong.simulation.skills import Skill
from playalong.sound.device.output import Sound
from playalong.sound.synth.click import Click, Kind

#: What is gone through, in this order.
ROUTE = (Outcome.PADS, Outcome.LOUDNESS, Outcome.TRIGGERS, Outcome.LATENCY)

#: From what is seen to the stroke, and from one stroke to the next, in seconds.
_SEES_S, _STEP_S = 0.3, 0.45

#: How long the player reads a page before anything is pressed on it, for whoever looks on.
_READS_S = 2.5

#: How often a measurement is tried before it is given up.
_TRIES = 3

_HELD_S = 0.03
#: After so many clicks what the player does about them comes again.
_CLICKS = 1000
_COUNTED = (Kind.COUNT_ONE, Kind.COUNT)

#: The pedal pressed all the way down and let all the way up, twice, and how long each takes.
_WAY, _WAY_S = (0, HIGHEST, 0, HIGHEST, 0), 0.3

#: The notes of rims and edges that are no voices of their own.
_RIMS = {"hi-hat": 22, "high-tom": 50, "mid-tom": 47, "floor-tom": 58, "ride": 59, "crash": 57}


@dataclass(frozen=True)
class Kit:
    """A simulated kit: its faults, and ``notes``, which it sends in place of the usual ones.

    ``lacks`` are zones, by name (``profile.learning.ZONES``), that it does not have.
    """

    rough: Rough = field(default_factory=Rough)
    notes: Mapping[int, int] = field(default_factory=dict)
    lacks: frozenset[str] = frozenset()

    def sends(self, performance: Performance, seed: int) -> Performance:
        """``performance``, played on the usual notes, as this kit sends it."""
        sent = through(performance, self.rough, seed)
        return replace(sent, messages=tuple((at, self._own(data)) for at, data in sent.messages))

    def moves(self, values: Sequence[int], step_s: float) -> list[tuple[float, bytes]]:
        """The pedal going through ``values``, where it tells where it stands."""
        values, channel = values if self.rough.pedal_hz else (), self.rough.channel
        return [
            (at * step_s, control_change(channel, FOOT_CONTROLLER, value))
            for at, value in enumerate(values)
        ]

    def _own(self, data: bytes) -> bytes:
        if not has_note(data):
            return data
        return bytes((data[0], self.notes.get(data[1], data[1]), *data[2:]))


class KitPlayer:
    """Somebody at a simulated kit; ``port`` sends what it plays, ``context`` shows it."""

    def __init__(
        self,
        context: RunContext,
        skill: Skill,
        kit: Kit,
        *,
        seed: int,
        route: Sequence[Outcome] = ROUTE,
    ) -> None:
        self._kit, self._skill, self._seed = kit, skill, seed
        self._chance = np.random.default_rng(seed)
        self._wave = cycle(shared(np.arange(_CLICKS, dtype=np.float64), self._chance).tolist())
        self._now = context.clock.now
        self._page: Page | None = None
        self._route = deque((*route, Outcome.LEAVE))
        #: What is to be pressed on the page, and since when it is.
        self._meant: Outcome | None = None
        self._meant_s = 0.0
        self._request: object = None
        self._next_s = 0.0
        self._pressed: list[Outcome] = []
        self.port = _Sent(self._now)
        eyes: Any = _Eyes(context.window, self)
        ears: Any = _Ears(context.output, self)
        self.context = replace(context, window=eyes, output=ears)

    def sees(self, page: Page) -> None:
        """A page is shown: what it asks for is struck, a little later."""
        if page is not self._page:
            self._page, self._pressed, self._meant = page, [], None
        request, now_s = _wanted(page), self._now()
        if request != self._request:
            self._request, self._next_s = request, now_s + _SEES_S
        if request is None or now_s < self._next_s:
            return
        self._next_s = now_s + _STEP_S
        if request.zone is not None and request.zone.travels:
            self._next_s = float("inf")
            self.port.send([(now_s + at, data) for at, data in self._kit.moves(_WAY, _WAY_S)])
        elif request.zone is None or request.zone.name not in self._kit.lacks:
            self._strike(request.spot, request.dynamic or self._any(), now_s)

    def hears(self, at_s: float, click: Click) -> None:
        """A click will be heard: it is answered on the snare."""
        if click.kind not in _COUNTED:
            mean_ms, own_ms = self._skill.error_ms[BY_NAME["snare"].limb]
            together_ms = self._skill.shared_ms * next(self._wave)
            error_ms = mean_ms + together_ms + own_ms * self._chance.standard_normal()
            self._strike(Spot("snare"), Dynamic.NORMAL, at_s + error_ms / 1000.0)

    def presses(self) -> Iterator[Press]:
        """What is pressed on the page that is seen, once it has been read."""
        outcome, now_s = self._means(), self._now()
        if outcome is not self._meant:
            self._meant, self._meant_s = outcome, now_s
        if outcome is not None and now_s - self._meant_s >= _READS_S:
            self._meant = None
            if isinstance(self._page, KitPage):
                self._route.popleft()
            self._pressed.append(outcome)
            yield outcome

    def _means(self) -> Outcome | None:
        """What is to be pressed on it, None for nothing yet."""
        page, pressed = self._page, self._pressed
        if isinstance(page, KitPage):
            return self._route[0]
        if isinstance(page, LatencyPage):
            if page.offers(Outcome.ACCEPT):
                return Outcome.ACCEPT
            if page.offers(Outcome.START):
                tried = pressed.count(Outcome.START)
                return Outcome.START if tried < _TRIES else Outcome.LEAVE
            return None
        if isinstance(page, TriggersPage):
            return Outcome.LEAVE if Outcome.ACCEPT_ALL in pressed else Outcome.ACCEPT_ALL
        is_done = isinstance(page, PadsPage) or (
            isinstance(page, LoudnessPage) and page.pads and all(pad.done for pad in page.pads)
        )
        return Outcome.ACCEPT if is_done and page and page.offers(Outcome.ACCEPT) else None

    def _any(self) -> Dynamic:
        return tuple(Dynamic)[int(self._chance.integers(len(Dynamic)))]

    def _strike(self, spot: Spot, dynamic: Dynamic, at_s: float) -> None:
        level, width = self._skill.touch_of(BY_NAME[spot.voice]).of(dynamic, True)
        played_db = np.array([level + width * self._chance.standard_normal()])
        velocity = int(velocities(played_db)[0])
        note = _RIMS.get(spot.voice) if spot.part is Part.RIM else None
        note = note_of(spot.voice) if note is None else note
        stroke = (
            (at_s, note_on(PERCUSSION_CHANNEL, note, velocity)),
            (at_s + _HELD_S, note_off(PERCUSSION_CHANNEL, note)),
        )
        self._seed += 1
        nothing = Truth(error_ms=np.zeros(0), missed=(), wrong_drum=(), extra=0)
        self.port.send(self._kit.sends(Performance(stroke, nothing), self._seed).messages)


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A stroke that a page asks for: where, how loud if it says so, and the zone that it names."""

    spot: Spot
    dynamic: Dynamic | None = None
    zone: Zone | None = None


def _wanted(page: Page) -> _Wanted | None:
    """The stroke for which a page asks now."""
    if isinstance(page, PadsPage) and page.drawing.lit is not None:
        zone = next((zone for zone in ZONES if page.prompt.startswith(zone.words)), None)
        return _Wanted(page.drawing.lit, zone=zone)
    if isinstance(page, LoudnessPage) and page.voice is not None:
        return _Wanted(Spot(page.voice), page.dynamic)
    return None


class _Sent:
    """The port on which the kit's messages arrive as their times come; see ``ports.Port``."""

    name = "simulated kit"

    def __init__(self, now: Callable[[], float]) -> None:
        self._now = now
        self._waiting: list[tuple[float, int, bytes]] = []
        self._count = 0

    def send(self, messages: Sequence[tuple[float, bytes]]) -> None:
        """Let messages arrive at their times."""
        for at_s, data in messages:
            heappush(self._waiting, (at_s, self._count, data))
            self._count += 1

    def poll(self) -> list[Arrival]:
        """The messages whose time has come."""
        found = []
        while self._waiting and self._waiting[0][0] <= self._now():
            at_s, _, data = heappop(self._waiting)
            found.append(Arrival(stamp_s=at_s, arrival_s=at_s, data=data))
        return found

    def is_there(self) -> bool:
        """Always."""
        return True

    def reopen(self) -> bool:
        """Always."""
        return True

    def close(self) -> None:
        """Nothing to let go of."""


class _Eyes:
    """A window of which the player sees every page, and in which the player presses keys."""

    def __init__(self, window: Any, player: KitPlayer) -> None:
        self._window, self._player = window, player

    def __getattr__(self, name: str) -> Any:
        return getattr(self._window, name)

    def frame(self, page: Page, now_s: float) -> None:
        """Show a page."""
        self._window.frame(page, now_s)
        self._player.sees(page.page if isinstance(page, Struck) else page)

    def presses(self) -> list[Press]:
        """What was pressed, by whoever is there."""
        return [*self._window.presses(), *self._player.presses()]


class _Ears:
    """A sound output of which the player hears every click."""

    def __init__(self, output: Any, player: KitPlayer) -> None:
        self._output, self._player = output, player

    def __getattr__(self, name: str) -> Any:
        return getattr(self._output, name)

    def schedule(self, start_s: float, sounds: Sequence[Sound]) -> None:
        """Let sounds be heard."""
        self._output.schedule(start_s, sounds)
        for sound in sounds:
            if isinstance(sound, Click):
                self._player.hears(start_s + sound.time_s, sound)
