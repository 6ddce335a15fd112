"""What the messages of a kit mean: which note is which voice, where the hi-hat pedal stands, and
what its pads send that nobody played.

A kit that nobody has taught keeps the table of ``pattern.kit``. What is learned of it stands here,
and only where it differs: a pad's edge or rim may be a voice of its own, or be mapped straight to
its drum.

A *guard* keeps a pad's double triggers and crosstalk from being taken for hits. It is never closer
than the pattern allows (``Pads.for_targets``): nothing that a pattern asks for is swallowed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from playalong.midi.messages import HIGHEST
from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, GRACE_S, Targets
from playalong.pattern.voices import BY_NAME, BY_NOTE, folded

#: No mask is longer: a second stroke so long after the first is nobody's double trigger.
LONGEST_MASK_MS = 200.0

#: The hi-hat is closed from this share of the pedal's way on, and open under that one.
CLOSED_FROM, OPEN_UNDER = 0.65, 0.25

#: The share of the time between two written strokes that a mask may take: what is left of it when
#: a player is two fifths of it late with the first and two fifths early with the second.
_SHARE = 0.2
#: The same of the time between a grace stroke and the next: they are thrown together, so that only
#: the distance itself strays.
_GRACE_SHARE = 0.5
#: No threshold is above these velocities where a pattern asks for a stroke so soft (our own
#: choice: far under what is called soft in the default bands).
_THRESHOLD_AT_MOST = {Dynamic.GHOST: 10.0, Dynamic.NORMAL: 24.0, Dynamic.ACCENT: 24.0}

#: Cymbals that count as another where a pattern has no line for them, but hang on their own stand.
_STAND_ALONE = ("china", "splash")


def pad_of(voice: str) -> str:
    """The voice by which the pad of ``voice`` is known: a rim is on its drum's pad."""
    own = BY_NAME[voice]
    while own.folds_into is not None and own.name not in _STAND_ALONE:
        own = BY_NAME[own.folds_into]
    return own.name


@dataclass(frozen=True, slots=True)
class Pedal:
    """The hi-hat pedal: controller 4 (MIDI 1.0, foot controller) when let go and when pressed.

    Some kits count the other way round: ``open`` is then above ``closed``. ValueError where the
    two do not differ, or are no controller values.
    """

    open: int = 0
    closed: int = HIGHEST

    def __post_init__(self) -> None:
        if not (0 <= self.open <= HIGHEST and 0 <= self.closed <= HIGHEST):
            raise ValueError("the pedal's ends must be whole numbers from 0 to 127")
        if self.open == self.closed:
            raise ValueError("the pedal's two ends must differ")

    def voice(self, value: int) -> str:
        """The voice of a stroke on the hi-hat while the pedal stands at ``value``."""
        pressed = (value - self.open) / (self.closed - self.open)
        if pressed >= CLOSED_FROM:
            return "hi-hat"
        return "hi-hat-open" if pressed < OPEN_UNDER else "hi-hat-half"


@dataclass(frozen=True, slots=True)
class Guard:
    """What keeps one pad's false messages out.

    A hit within ``mask_ms`` after the last one of the same pad, and not louder, is a double
    trigger; a hit softer than velocity ``threshold`` is not one at all. ValueError beyond bounds.
    """

    mask_ms: float = 0.0
    threshold: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.mask_ms <= LONGEST_MASK_MS:
            raise ValueError(f"a mask time must lie from 0 to {LONGEST_MASK_MS:g} ms")
        if not 0.0 <= self.threshold <= HIGHEST:
            raise ValueError(f"a threshold must lie from 0 to {HIGHEST}")


@dataclass(frozen=True)
class Pads:
    """What a kit's messages mean.

    ``notes``: note number to voice, only where it differs from the default table; ``guards``:
    voice to the guard of its pad, for a zone without one that of its drum. ValueError for a note
    or voice that there is not.
    """

    notes: Mapping[int, str] = field(default_factory=dict)
    pedal: Pedal = Pedal()
    guards: Mapping[str, Guard] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for note in self.notes:
            if not 0 <= note <= HIGHEST:
                raise ValueError(f"a note must lie from 0 to {HIGHEST}, not {note}")
        for voice in (*self.notes.values(), *self.guards):
            if voice not in BY_NAME:
                raise ValueError(f"there is no voice {voice!r}")

    def voice(self, note: int) -> str | None:
        """The voice that ``note`` means, None where it means none."""
        own = self.notes.get(note)
        if own is None and note in BY_NOTE:
            return BY_NOTE[note].name
        return own

    def guard(self, voice: str) -> Guard:
        """The guard of the pad on which ``voice`` is played."""
        return self.guards.get(voice) or self.guards.get(pad_of(voice)) or Guard()

    def for_targets(self, targets: Targets) -> "Pads":
        """These pads with every guard lowered to what ``targets`` leave room for.

        A mask is at most a fifth of the shortest time between strokes that its pad may have to
        answer, and half of ``GRACE_S`` where flams or drags are asked of it; a threshold stays
        under the softest dynamic asked. What the pattern asks of no pad is left as it is.
        """
        limits = {voice: _limit(voice, targets) for voice in self.guards}
        return replace(
            self,
            guards={
                voice: Guard(
                    min(guard.mask_ms, limits[voice].mask_ms),
                    min(guard.threshold, limits[voice].threshold),
                )
                for voice, guard in self.guards.items()
            },
        )

    def as_plain(self) -> dict[str, Any]:
        """As plain objects for a file: JSON or TOML."""
        return {
            "notes": {str(note): voice for note, voice in self.notes.items()},
            "pedal": {"open": self.pedal.open, "closed": self.pedal.closed},
            "guards": {
                voice: {"mask_ms": guard.mask_ms, "threshold": guard.threshold}
                for voice, guard in self.guards.items()
            },
        }

    @classmethod
    def from_plain(cls, plain: Any) -> "Pads":
        """What ``as_plain`` gave; the default pads where it makes no sense."""
        try:
            return cls(
                {int(note): str(voice) for note, voice in plain["notes"].items()},
                Pedal(int(plain["pedal"]["open"]), int(plain["pedal"]["closed"])),
                {
                    str(voice): Guard(float(guard["mask_ms"]), float(guard["threshold"]))
                    for voice, guard in plain["guards"].items()
                },
            )
        except (AttributeError, KeyError, OverflowError, TypeError, ValueError):
            return cls()


def _limit(voice: str, targets: Targets) -> Guard:
    """The closest guard of the pad of ``voice`` that swallows nothing of ``targets``."""
    family = folded(voice, ())
    same_pad = [pad_of(name) == pad_of(voice) for name in targets.names]
    # A china may answer what is written for a crash: what folds together is asked of either pad.
    kin = np.array([folded(name, ()) == family for name in targets.names], np.bool_)
    rooms_s = [*_between(targets, np.array(same_pad, np.bool_)), *_between(targets, kin, True)]
    graces = targets.graces[kin] > 0
    mask_ms = 1000.0 * _SHARE * min(rooms_s, default=np.inf)
    dynamics = {DYNAMICS[code] for code in targets.dynamic[kin].tolist()}
    if graces.any():
        mask_ms = min(mask_ms, 1000.0 * _GRACE_SHARE * GRACE_S)
        dynamics.add(Dynamic.GHOST)
    rolling = np.flatnonzero(kin & (targets.rolls >= 0)).tolist()
    if rolling:
        bounces_s = [float(targets.bounces_s(number)[:1].min(initial=np.inf)) for number in rolling]
        mask_ms = min(mask_ms, 1000.0 * _GRACE_SHARE * min(bounces_s))
        dynamics.add(Dynamic.GHOST)
    threshold = min((_THRESHOLD_AT_MOST[one] for one in dynamics), default=float(HIGHEST))
    return Guard(min(mask_ms, LONGEST_MASK_MS), threshold)


def _between(targets: Targets, rows: NDArray[np.bool_], apart: bool = False) -> list[float]:
    """The seconds from each stroke in ``rows`` to the next, or to the first grace stroke before
    it; without those at the same moment if they are on pads ``apart``."""
    time_s = targets.time_s[rows]
    first_s = time_s - targets.graces[rows] * GRACE_S
    gaps = np.diff(time_s)
    rooms = np.maximum(first_s[1:] - time_s[:-1], 0.0)
    return list(rooms[gaps > 0.0] if apart else rooms)
