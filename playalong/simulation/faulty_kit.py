"""A simulated kit with faults: what a player does, as a cheap kit and its cable would send it.

Pads bounce and hear each other, the pedal streams its position, the module says every so often
that it is there, velocities are bent, and a serial line sends one byte after the other. ``through``
turns a performance (``player.perform``) into the stream of such a kit, and tells what was added;
the same for the same seed. The kits by name (``ROUGH``) are our own invention.

As in MIDI 1.0: the foot controller, active sensing at most 300 ms apart, note-on with velocity 0
for note-off, and 10 bits a byte on a line of 31,250 baud, 0.32 ms.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from playalong.midi.messages import (
    FOOT_CONTROLLER,
    HIGHEST,
    PERCUSSION_CHANNEL,
    SENSING,
    control_change,
    is_stroke,
    note_off,
    note_on,
)
from playalong.pattern.voices import BY_NAME, BY_NOTE
from playalong.simulation.player import Performance

BYTE_S = 10.0 / 31250.0
SENSING_S = 0.3

#: A pad that was struck this shortly before or after, in seconds, hears no knock of another.
_BUSY_S = 0.02
#: How long a note that nobody played is held, in seconds.
_HELD_S = 0.01

#: How long before a stroke on the hi-hat the foot is where it should be, in seconds.
_FOOT_S = 0.03
#: Where the foot stands, as (lowest, highest) value of the controller: it is never quite still.
_CLOSED, _OPEN = (112, 127), (0, 12)
_FOOT = {"hi-hat": _CLOSED, "hi-hat-pedal": _CLOSED, "hi-hat-open": _OPEN}


@dataclass(frozen=True, slots=True, kw_only=True)
class Echo:
    """A hit that follows a stroke: with ``chance`` (0 to 1), from ``least_ms`` to ``most_ms``
    later, at the share ``level`` (0 to 1) of its velocity.
    """

    chance: float
    least_ms: float
    most_ms: float
    level: float


@dataclass(frozen=True, kw_only=True)
class Rough:
    """The faults of one kit.

    ``bounces``: a voice's pad to the second hit it makes of a stroke; ``crosstalk``: (struck
    voice, voice that hears it) to what it makes of it. ``pedal_hz``: how often the pedal tells
    its position, 0 for never. ``sensing``: whether active sensing is sent. ``channel``: 1 to 16.
    ``curve``, ``softest``, ``loudest``: velocity v is sent as softest + (loudest - softest) *
    (v / 127) ^ curve. ``ends_with_velocity_0``: a note ends with a note-on of velocity 0.
    ``latency_ms`` later at least, and up to ``jitter_ms`` more, does everything arrive;
    ``serial``: byte after byte, on a line of 31,250 baud.
    """

    bounces: Mapping[str, Echo] = field(default_factory=dict)
    crosstalk: Mapping[tuple[str, str], Echo] = field(default_factory=dict)
    pedal_hz: float = 0.0
    sensing: bool = False
    channel: int = 10
    curve: float = 1.0
    softest: float = 0.0
    loudest: float = 127.0
    ends_with_velocity_0: bool = False
    latency_ms: float = 0.0
    jitter_ms: float = 0.0
    serial: bool = False


@dataclass(frozen=True, slots=True)
class Added:
    """A hit that nobody played: seconds at the pad, before cable and line, and its voice."""

    time_s: float
    voice: str


@dataclass(frozen=True)
class RoughPerformance(Performance):
    """A performance as a rough kit sends it; ``truth`` is still the player's alone."""

    bounces: tuple[Added, ...] = ()
    crosstalk: tuple[Added, ...] = ()


#: Kits to try things on, by name.
ROUGH: dict[str, Rough] = {
    "loose heads": Rough(
        bounces={
            "snare": Echo(chance=0.5, least_ms=6.0, most_ms=11.0, level=0.45),
            "kick": Echo(chance=0.4, least_ms=12.0, most_ms=20.0, level=0.5),
            "floor-tom": Echo(chance=0.4, least_ms=8.0, most_ms=13.0, level=0.4),
        },
    ),
    "one rack": Rough(
        crosstalk={
            ("kick", "floor-tom"): Echo(chance=0.7, least_ms=0.5, most_ms=3.0, level=0.06),
            ("snare", "high-tom"): Echo(chance=0.6, least_ms=0.5, most_ms=3.0, level=0.06),
            ("snare", "hi-hat"): Echo(chance=0.4, least_ms=1.0, most_ms=4.0, level=0.05),
            ("high-tom", "snare"): Echo(chance=0.6, least_ms=0.5, most_ms=3.0, level=0.06),
            ("floor-tom", "ride"): Echo(chance=0.4, least_ms=1.0, most_ms=4.0, level=0.05),
        },
    ),
    "old cable": Rough(
        pedal_hz=50.0,
        sensing=True,
        channel=3,
        ends_with_velocity_0=True,
        latency_ms=7.0,
        jitter_ms=1.0,
        serial=True,
    ),
    "flat pads": Rough(
        bounces={"snare": Echo(chance=0.4, least_ms=35.0, most_ms=55.0, level=0.5)},
        crosstalk={("kick", "snare"): Echo(chance=0.6, least_ms=0.5, most_ms=3.0, level=0.16)},
        curve=0.5,
        softest=20.0,
        loudest=118.0,
    ),
    "church hall": Rough(
        bounces={
            "snare": Echo(chance=0.4, least_ms=4.0, most_ms=8.0, level=0.4),
            "kick": Echo(chance=0.4, least_ms=10.0, most_ms=16.0, level=0.45),
            "hi-hat": Echo(chance=0.4, least_ms=4.0, most_ms=8.0, level=0.4),
        },
        crosstalk={
            ("kick", "floor-tom"): Echo(chance=0.5, least_ms=0.5, most_ms=3.0, level=0.06),
            ("snare", "high-tom"): Echo(chance=0.5, least_ms=0.5, most_ms=3.0, level=0.06),
        },
        pedal_hz=30.0,
        sensing=True,
        channel=1,
        ends_with_velocity_0=True,
        latency_ms=5.0,
        jitter_ms=1.0,
        serial=True,
    ),
}


@dataclass(frozen=True, slots=True)
class _Stroke:
    time_s: float
    note: int
    velocity: int

    @property
    def voice(self) -> str:
        return BY_NOTE[self.note].name


_Messages = list[tuple[float, bytes]]


def through(performance: Performance, rough: Rough, seed: int) -> RoughPerformance:
    """``performance`` as the kit ``rough`` sends it; the same for the same ``seed``."""
    chance = np.random.default_rng(seed)
    strokes = [
        _Stroke(at_s, data[1], data[2]) for at_s, data in performance.messages if is_stroke(data)
    ]
    bounces = _bounces(strokes, rough, chance)
    knocks = _knocks(strokes, rough, chance)
    added = [*bounces, *knocks]
    notes = [*performance.messages]
    notes += [(hit.time_s, note_on(PERCUSSION_CHANNEL, hit.note, hit.velocity)) for hit in added]
    notes += [(hit.time_s + _HELD_S, note_off(PERCUSSION_CHANNEL, hit.note)) for hit in added]
    messages = [(at_s, _spoken(data, rough)) for at_s, data in notes]
    if messages:
        last_s = max(at_s for at_s, _ in messages)
        first_s = min(at_s for at_s, _ in messages)
        messages += _pedal(strokes, first_s, last_s, rough=rough, chance=chance)
        messages += _signs_of_life(first_s, last_s, rough)
    return RoughPerformance(
        tuple(_sent(messages, rough, chance)),
        performance.truth,
        bounces=tuple(Added(hit.time_s, hit.voice) for hit in bounces),
        crosstalk=tuple(Added(hit.time_s, hit.voice) for hit in knocks),
    )


def _echo(stroke: _Stroke, note: int, echo: Echo, *, chance: np.random.Generator) -> _Stroke | None:
    happens = chance.random() < echo.chance
    later_ms = chance.uniform(echo.least_ms, echo.most_ms)
    velocity = int(stroke.velocity * echo.level)
    return (
        _Stroke(stroke.time_s + later_ms / 1000.0, note, velocity) if happens and velocity else None
    )


def _bounces(strokes: list[_Stroke], rough: Rough, chance: np.random.Generator) -> list[_Stroke]:
    """The second hits, where the pad is not struck again before."""
    found = []
    again_s: dict[int, float] = {}
    for stroke in reversed(strokes):
        if stroke.voice in rough.bounces:
            second = _echo(stroke, stroke.note, rough.bounces[stroke.voice], chance=chance)
            if second and second.time_s < again_s.get(stroke.note, np.inf):
                found.append(second)
        again_s[stroke.note] = stroke.time_s
    return found[::-1]


def _knocks(strokes: list[_Stroke], rough: Rough, chance: np.random.Generator) -> list[_Stroke]:
    """What pads hear of strokes on others, unless they are struck themselves."""
    found = []
    struck_s = {
        voice: np.array([s.time_s for s in strokes if s.voice == voice])
        for _, voice in rough.crosstalk
    }
    for stroke in strokes:
        for (source, voice), echo in rough.crosstalk.items():
            if source != stroke.voice:
                continue
            heard = _echo(stroke, BY_NAME[voice].notes[0], echo, chance=chance)
            if heard is None:
                continue
            first, last = np.searchsorted(
                struck_s[voice], (heard.time_s - _BUSY_S, heard.time_s + _BUSY_S)
            )
            if first == last:
                found.append(heard)
    return found


def _spoken(note: bytes, rough: Rough) -> bytes:
    """A note's start or end as this kit says it."""
    channel, number, velocity = rough.channel, note[1], note[2]
    if not is_stroke(note):
        ends_with_on = rough.ends_with_velocity_0
        return note_on(channel, number, 0) if ends_with_on else note_off(channel, number)
    bent = rough.softest + (rough.loudest - rough.softest) * (velocity / HIGHEST) ** rough.curve
    return note_on(channel, number, min(HIGHEST, max(1, round(bent))))


def _pedal(
    strokes: list[_Stroke],
    first_s: float,
    last_s: float,
    *,
    rough: Rough,
    chance: np.random.Generator,
) -> _Messages:
    """The foot holds where the last stroke on the hi-hat needs it, and is there in good time."""
    if not rough.pedal_hz:
        return []
    moves = [(s.time_s - _FOOT_S, _FOOT[s.voice]) for s in strokes if s.voice in _FOOT]
    moves_s = np.array([at_s for at_s, _ in moves])
    ticks_s = np.arange(first_s - 2.0 * _FOOT_S, last_s, 1.0 / rough.pedal_hz)
    # A position is told when it changes, and besides at every tick.
    sent_s = np.sort(np.concatenate([ticks_s, moves_s]))
    messages = []
    for at_s, count in zip(
        sent_s.tolist(), np.searchsorted(moves_s, sent_s, side="right").tolist(), strict=True
    ):
        low, high = moves[count - 1][1] if count else _CLOSED
        value = int(chance.integers(low, high + 1))
        messages.append((at_s, control_change(rough.channel, FOOT_CONTROLLER, value)))
    return messages


def _signs_of_life(first_s: float, last_s: float, rough: Rough) -> _Messages:
    if not rough.sensing:
        return []
    return [(at_s, SENSING) for at_s in np.arange(first_s, last_s, SENSING_S).tolist()]


def _sent(messages: _Messages, rough: Rough, chance: np.random.Generator) -> _Messages:
    """When each message arrives: one after the other, none overtaking another."""
    arrived = []
    free_s = last_s = -np.inf
    for at_s, data in sorted(messages, key=lambda message: message[0]):
        if rough.serial:
            at_s = free_s = max(at_s, free_s) + len(data) * BYTE_S
        delay_ms = rough.latency_ms + rough.jitter_ms * chance.random()
        last_s = max(last_s, at_s + delay_ms / 1000.0)
        arrived.append((last_s, data))
    return arrived
