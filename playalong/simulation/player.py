"""The simulated player: plays targets as a person of a given skill would, the same for a seed.

Who can be asked for by name stands in ``skills``, when and how loud people play in
``human_timing`` and ``human_touch``.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from math import exp
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
from playalong.pattern.targets import Targets
from playalong.pattern.voices import VOICES, folded, note_of
from playalong.simulation.human_timing import shared, tempo_factor
from playalong.simulation.human_touch import levels_db, velocities
from playalong.simulation.skills import Skill

#: Where the foot controller stands: at 127 the hi-hat is closed.
_PRESSED = {"hi-hat": 127, "hi-hat-half": 60, "hi-hat-open": 0}
_HELD_S = 0.03
#: How far an extra hit keeps from every target of its voice: beyond any capture window.
_FAR_S = 0.25
#: How far a stroke strays at most: within the capture window that is used unless another is asked.
_STRAY_S = 0.09
#: How near a grace stroke comes to the next stroke, and the share of the way that all take.
_CLOSEST_GRACE_S, _GRACES_SHARE = 0.012, 0.8

_DRUMS = ("floor-tom", "high-tom", "mid-tom", "crash", "snare", "kick")


@dataclass(frozen=True, kw_only=True)
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
    way_s = _way_s(targets)
    grace_s = _grace_gaps(targets, skill, chance, before_s=way_s[0])
    error_ms = _in_order(way_s, _errors_ms(targets, skill, chance), grace_s.sum(axis=1))
    level_db = levels_db(targets, skill.touch_of, chance)
    written_s = targets.time_s - targets.start_s
    played_s = targets.start_s + written_s / (1.0 + skill.drift_percent / 100.0) + error_ms / 1000.0

    fate = chance.random(count)
    missed = (fate < skill.miss) & ~targets.optional
    for habit in skill.habits:
        there = habit.at(targets)
        level_db[there] += habit.louder_db
        if habit.leaves_out:
            missed |= there & ~targets.optional
    wrong = (fate < skill.miss + skill.wrong_drum) & ~targets.optional & ~missed
    velocity = velocities(level_db).astype(int)
    bounced = _bounces(targets, skill, error_ms, chance=chance)
    next_of = _next_of_voice(targets)
    softer_db = np.maximum(
        skill.grace_db[0] + skill.grace_db[1] * chance.standard_normal(count), 0.0
    )
    grace_velocity = velocities(level_db - softer_db).astype(int)
    is_open = [place.stroke.is_open for place in targets.places]
    hits: list[tuple[float, str, int]] = []
    for number, (voice, place, at_s, speed) in enumerate(
        zip(
            targets.names,
            targets.place.tolist(),
            played_s.tolist(),
            velocity.tolist(),
            strict=True,
        )
    ):
        if missed[number]:
            continue
        other = _elsewhere(targets, at_s, chance) if wrong[number] else None
        wrong[number] = other is not None
        if other is not None:
            hits.append((at_s, other, speed))
            continue
        if targets.graces[number]:
            before_s = np.cumsum(grace_s[number, : targets.graces[number]])
            hits.extend((at_s - gap_s, voice, int(grace_velocity[number])) for gap_s in before_s)
        open_hat = voice == "hi-hat" and is_open[place]
        hits.append((at_s, "hi-hat-open" if open_hat else voice, speed))
        if number not in bounced:
            continue
        until_s = played_s[next_of[number]] - _CLOSEST_GRACE_S if next_of[number] >= 0 else np.inf
        for later_s, share in bounced[number]:
            if at_s + later_s < until_s:
                hits.append((at_s + later_s, voice, max(1, round(share * speed))))
    extras = _extras(targets, skill, targets.time_s[missed | wrong], chance=chance)
    hits += extras
    error_ms[missed | wrong] = np.nan
    truth = Truth(
        error_ms=error_ms,
        missed=tuple(np.flatnonzero(missed).tolist()),
        wrong_drum=tuple(np.flatnonzero(wrong).tolist()),
        extra=len(extras),
    )
    return Performance(_messages(hits, "hi-hat-half" in targets.voices), truth)


def _errors_ms(targets: Targets, skill: Skill, chance: np.random.Generator) -> NDArray[np.float64]:
    """When each stroke is played, against the click; see ``human_timing``."""
    middle, own = np.array([skill.error_ms[voice.limb] for voice in VOICES])[targets.voice].T
    wider = exp(skill.varies * float(chance.standard_normal()))
    beats = targets.written * 4.0
    if skill.by_tempo:
        wider *= tempo_factor(targets.seconds_per_whole / 4.0)
    together = skill.shared_ms * shared(beats, chance)
    error_ms: NDArray[np.float64] = middle + wider * (
        together + own * chance.standard_normal(len(targets))
    )
    for habit in skill.habits:
        error_ms[habit.at(targets)] += habit.late_ms
    return error_ms


def _way_s(targets: Targets) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(n,) how far before and after its time each stroke may lie, in seconds: ``_STRAY_S``, and
    two fifths of the way to the neighbouring strokes of the same voice."""
    before_s, after_s = np.full(len(targets), _STRAY_S), np.full(len(targets), _STRAY_S)
    for voice in np.unique(targets.voice):
        rows = np.flatnonzero(targets.voice == voice)
        way_s = np.minimum(np.diff(targets.time_s[rows]) * 0.4, _STRAY_S)
        after_s[rows[:-1]], before_s[rows[1:]] = way_s, way_s
    return before_s, after_s


def _grace_gaps(
    targets: Targets, skill: Skill, chance: np.random.Generator, *, before_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(n, most graces) seconds from each grace stroke to the next stroke, 0 where there is none.

    The nearest to the main stroke comes first. Where there is little room before, they lie closer.
    """
    most = int(targets.graces.max(initial=0))
    middle, width = skill.grace_ms
    gaps = (middle + width * chance.standard_normal((len(targets), most))) / 1000.0
    gaps = np.maximum(gaps, _CLOSEST_GRACE_S)
    gaps = np.where(np.arange(most) < targets.graces[:, None], gaps, 0.0)
    room_s = _GRACES_SHARE * before_s
    closer = np.minimum(1.0, room_s / np.maximum(gaps.sum(axis=1), 1e-9))
    together: NDArray[np.float64] = gaps * closer[:, None]
    return together


def _bounces(
    targets: Targets, skill: Skill, error_ms: NDArray[np.float64], *, chance: np.random.Generator
) -> dict[int, list[tuple[float, float]]]:
    """The bounces of each roll by the number of its target: seconds after its first stroke as it is
    played, and their velocity as a share of that one's.

    The roll ends where it is written; in between a bounce strays as the hand does, by a sixth of
    the way to the next at most. Of each pair of a counted roll the second is the softer, and so is
    all of a buzz (common practice).
    """
    found: dict[int, list[tuple[float, float]]] = {}
    for number in np.flatnonzero(targets.rolls >= 0).tolist():
        after_s, lasts_s = targets.bounces_s(number), float(targets.roll_s[number])
        if not len(after_s):
            continue
        way_s = float(after_s[0])
        own_s = skill.error_ms[VOICES[int(targets.voice[number])].limb][1] / 1000.0
        strays_s = min(own_s, way_s / 6.0) * chance.standard_normal(len(after_s))
        strays_s = np.clip(strays_s, -way_s / 3.0, way_s / 3.0)
        late_s = float(error_ms[number]) / 1000.0
        # What comes late is made up for on the way to the end.
        played_s = after_s * max(0.2, 1.0 - late_s / lasts_s) + strays_s
        counted = targets.rolls[number] > 0
        second = np.arange(1, len(after_s) + 1) % 2 == 1
        share = np.where(second, 0.85, 0.97) if counted else np.full(len(after_s), 0.6)
        found[number] = list(zip(played_s.tolist(), share.tolist(), strict=True))
    return found


def _next_of_voice(targets: Targets) -> list[int]:
    """The number of the next target of the same voice, of each; -1 after the last."""
    found = np.full(len(targets), -1, np.int64)
    for voice in np.unique(targets.voice):
        rows = np.flatnonzero(targets.voice == voice)
        found[rows[:-1]] = rows[1:]
    return list(found.tolist())


def _in_order(
    way_s: tuple[NDArray[np.float64], NDArray[np.float64]],
    error_ms: NDArray[np.float64],
    graces_s: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Errors kept within what ``_way_s`` leaves; grace strokes, which take ``graces_s`` (n,),
    need their share of the way."""
    before_s, after_s = way_s
    before_s = np.maximum(before_s - graces_s, 0.0)
    clipped: NDArray[np.float64] = np.clip(error_ms, -before_s * 1000.0, after_s * 1000.0)
    return clipped


def _elsewhere(targets: Targets, at_s: float, chance: np.random.Generator) -> str | None:
    """A drum that has nothing to play near ``at_s``, None where every drum has."""
    near = slice(*np.searchsorted(targets.time_s, (at_s - _FAR_S, at_s + _FAR_S)))
    busy = {VOICES[code].name for code in targets.voice[near].tolist()}
    idle = [name for name in _DRUMS if folded(name, targets.voices) not in busy]
    return idle[int(chance.integers(len(idle)))] if idle else None


def _extras(
    targets: Targets, skill: Skill, missed: NDArray[np.float64], *, chance: np.random.Generator
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
            found.append(Arrival(stamp_s=at_s, arrival_s=at_s, data=self._messages[self._next][1]))
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
    *,
    now: Callable[[], float],
    wait: Callable[[float], None],
) -> None:
    """Play out of a real port, in real time; second 0 of the targets is ``start_s``."""
    for at_s, data in performance.messages:
        wait(max(0.0, start_s + at_s - now()))
        output.send(data)
