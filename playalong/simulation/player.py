"""The simulated player: plays targets as a person of a given skill would, the same for a seed.

The errors of the default skill are the published ones of professional drummers with a metronome:
the hi-hat hand about 2 ms, the snare hand and the kick foot about 10 ms ahead (Fujii et al.,
Synchronization error of drum kit playing with a metronome at different tempi by professional
drummers, Music Perception 28(5), 2011). Spreads and velocities are our own choice.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from playalong.midi.messages import (
    FOOT_CONTROLLER,
    PERCUSSION_CHANNEL,
    control_change,
    note_off,
    note_on,
)
from playalong.midi.port import Arrival
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, GRACE_S, Targets
from playalong.pattern.voices import VOICES, Limb, folded, note_of

#: Where the foot controller stands: at 127 the hi-hat is closed.
_PRESSED = {"hi-hat": 127, "hi-hat-half": 60, "hi-hat-open": 0}
_HELD_S = 0.03
#: How far an extra hit keeps from every target of its voice: beyond any capture window.
_FAR_S = 0.25
#: How far a stroke strays at most: within the capture window that is used unless another is asked.
_STRAY_S = 0.09

_DRUMS = ("floor-tom", "high-tom", "mid-tom", "crash", "snare", "kick")


@dataclass(frozen=True, slots=True)
class Skill:
    """How somebody plays.

    ``error_ms`` maps a limb to (mean, standard deviation); ``drift_percent`` is how much faster
    than written the tempo is; ``velocity`` maps a dynamic to (mean, standard deviation);
    ``miss``, ``extra`` and ``wrong_drum`` are chances for each target.
    """

    error_ms: Mapping[Limb, tuple[float, float]]
    velocity: Mapping[Dynamic, tuple[float, float]]
    drift_percent: float = 0.0
    miss: float = 0.0
    extra: float = 0.0
    wrong_drum: float = 0.0


_TOUCH = {Dynamic.GHOST: (32.0, 5.0), Dynamic.NORMAL: (84.0, 7.0), Dynamic.ACCENT: (114.0, 5.0)}

#: The skills that can be asked for by name.
SKILLS: dict[str, Skill] = {
    "steady": Skill(
        {
            Limb.HAT_HAND: (-2.0, 7.0),
            Limb.SNARE_HAND: (-10.0, 8.0),
            Limb.KICK_FOOT: (-10.0, 9.0),
            Limb.HAT_FOOT: (-6.0, 9.0),
        },
        _TOUCH,
    ),
    "learning": Skill(
        {
            Limb.HAT_HAND: (-4.0, 16.0),
            Limb.SNARE_HAND: (-14.0, 18.0),
            Limb.KICK_FOOT: (12.0, 22.0),
            Limb.HAT_FOOT: (8.0, 24.0),
        },
        {Dynamic.GHOST: (44.0, 14.0), Dynamic.NORMAL: (82.0, 13.0), Dynamic.ACCENT: (106.0, 11.0)},
        miss=0.04,
        extra=0.02,
        wrong_drum=0.02,
    ),
}


@dataclass(frozen=True)
class Truth:
    """What the player really did; the targets by number.

    ``error_ms`` (n,) of each target, nan where it was not played as written; ``missed`` and
    ``wrong_drum`` the numbers of targets; ``extra`` how many hits answer nothing.
    """

    error_ms: NDArray[np.float64]
    missed: tuple[int, ...]
    wrong_drum: tuple[int, ...]
    extra: int


@dataclass(frozen=True)
class Performance:
    """What the player sends: (seconds on the targets' time line, message), in order of time."""

    messages: tuple[tuple[float, bytes], ...]
    truth: Truth = field(repr=False)


def perform(targets: Targets, skill: Skill, seed: int) -> Performance:
    """``targets`` as played with ``skill``; the same for the same ``seed``."""
    chance = np.random.default_rng(seed)
    count = len(targets)
    limbs = [VOICES[code].limb for code in targets.voice.tolist()]
    mean, sd = np.array([skill.error_ms[limb] for limb in limbs]).reshape(count, 2).T
    error_ms = _in_order(targets, mean + sd * chance.standard_normal(count))
    level, width = np.array([skill.velocity[d] for d in DYNAMICS])[targets.dynamic].T
    velocity = np.clip(np.rint(level + width * chance.standard_normal(count)), 1, 127).astype(int)
    written_s = targets.time_s - targets.start_s
    played_s = targets.start_s + written_s / (1.0 + skill.drift_percent / 100.0) + error_ms / 1000.0

    fate = chance.random(count)
    missed = (fate < skill.miss) & ~targets.optional
    wrong = (fate < skill.miss + skill.wrong_drum) & ~targets.optional & ~missed
    hits: list[tuple[float, str, int]] = []
    for number in range(count):
        if missed[number]:
            continue
        voice, at_s, speed = targets.names[number], float(played_s[number]), int(velocity[number])
        other = _elsewhere(targets, at_s, chance) if wrong[number] else None
        wrong[number] = other is not None
        if other is not None:
            hits.append((at_s, other, speed))
            continue
        hits.extend(
            (at_s - grace * GRACE_S, voice, max(1, speed // 2))
            for grace in range(int(targets.graces[number]), 0, -1)
        )
        open_hat = targets.places[targets.place[number]].stroke.is_open and voice == "hi-hat"
        hits.append((at_s, "hi-hat-open" if open_hat else voice, speed))
    extras = _extras(targets, skill, targets.time_s[missed | wrong], chance)
    hits += extras
    error_ms[missed | wrong] = np.nan
    truth = Truth(
        error_ms,
        tuple(np.flatnonzero(missed).tolist()),
        tuple(np.flatnonzero(wrong).tolist()),
        len(extras),
    )
    return Performance(_messages(hits, "hi-hat-half" in targets.voices), truth)


def _in_order(targets: Targets, error_ms: NDArray[np.float64]) -> NDArray[np.float64]:
    """Errors kept within ``_STRAY_S``, and two fifths of the way to the neighbouring strokes of
    the same voice; grace strokes need their share of the way before."""
    kept = error_ms.copy()
    for voice in np.unique(targets.voice):
        rows = np.flatnonzero(targets.voice == voice)
        way_s = np.minimum(np.diff(targets.time_s[rows]) * 0.4, _STRAY_S)
        after_s = np.append(way_s, _STRAY_S)
        before_s = np.maximum(np.insert(way_s, 0, _STRAY_S) - targets.graces[rows] * GRACE_S, 0.0)
        kept[rows] = np.clip(kept[rows], -before_s * 1000.0, after_s * 1000.0)
    return kept


def _elsewhere(targets: Targets, at_s: float, chance: np.random.Generator) -> str | None:
    """A drum that has nothing to play near ``at_s``, None where every drum has."""
    near = slice(*np.searchsorted(targets.time_s, (at_s - _FAR_S, at_s + _FAR_S)))
    busy = {VOICES[code].name for code in targets.voice[near].tolist()}
    idle = [name for name in _DRUMS if folded(name, targets.voices) not in busy]
    return idle[int(chance.integers(len(idle)))] if idle else None


def _extras(
    targets: Targets, skill: Skill, missed: NDArray[np.float64], chance: np.random.Generator
) -> list[tuple[float, str, int]]:
    """Hits that answer nothing: of a drum with nothing to play, and not near a missed target,
    for which they could be meant (``missed`` holds the times of those)."""
    found = []
    for _ in range(int(chance.binomial(len(targets), skill.extra))):
        at_s = float(chance.uniform(targets.start_s, targets.end_s - _FAR_S))
        velocity = int(chance.integers(40, 100))
        voice = _elsewhere(targets, at_s, chance)
        if voice and not (np.abs(missed - at_s) < _FAR_S).any():
            found.append((at_s, voice, velocity))
    return found


def _messages(
    hits: list[tuple[float, str, int]], with_pedal: bool
) -> tuple[tuple[float, bytes], ...]:
    """The messages of a kit without a profile; the pedal is told where only it tells a voice."""
    messages = []
    for at_s, voice, velocity in hits:
        if with_pedal and voice in _PRESSED:
            pressed = control_change(PERCUSSION_CHANNEL, FOOT_CONTROLLER, _PRESSED[voice])
            messages.append((at_s, pressed))
        note = note_of(voice)
        messages.append((at_s, note_on(PERCUSSION_CHANNEL, note, velocity)))
        messages.append((at_s + _HELD_S, note_off(PERCUSSION_CHANNEL, note)))
    return tuple(sorted(messages, key=lambda message: message[0]))


class SimulatedPort:
    """A port on which a performance arrives as its times come; see ``ports.Port``."""

    def __init__(self, performance: Performance, start_s: float, now: Callable[[], float]) -> None:
        self.name = "simulated player"
        self._messages = performance.messages
        self._start_s, self._now, self._next = start_s, now, 0

    def poll(self) -> list[Arrival]:
        """The messages whose time has come; the stamp of each is its exact time."""
        found = []
        now_s = self._now()
        while self._next < len(self._messages):
            at_s = self._start_s + self._messages[self._next][0]
            if at_s > now_s:
                break
            found.append(Arrival(at_s, at_s, self._messages[self._next][1]))
            self._next += 1
        return found

    def is_there(self) -> bool:
        """It never leaves."""
        return True

    def reopen(self) -> bool:
        """It never leaves."""
        return True

    def close(self) -> None:
        """There is nothing to let go of."""


class Output(Protocol):
    """A MIDI output."""

    def send(self, data: bytes) -> None:
        """Send one message at once."""
        ...


def send(
    performance: Performance,
    output: Output,
    start_s: float,
    now: Callable[[], float],
    wait: Callable[[float], None],
) -> None:
    """Play out of a real port, in real time; second 0 of the targets is ``start_s``."""
    for at_s, data in performance.messages:
        wait(max(0.0, start_s + at_s - now()))
        output.send(data)
