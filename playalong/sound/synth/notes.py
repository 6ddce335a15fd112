"""Notes: what a pattern sounds like on the drum kit, ready for the timeline.

What rings can be ended: the hi-hat ends itself whenever its two cymbals meet again, and any cymbal
may be choked by hand.
"""

from bisect import bisect_right
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from playalong.pattern.model import Dynamic
from playalong.pattern.targets import DYNAMICS, GRACE_S, Targets
from playalong.sound.synth.drums import stroke
from playalong.sound.timeline import Frames

#: The velocity at which each dynamic is played.
VELOCITIES: Mapping[Dynamic, float] = MappingProxyType(
    {Dynamic.GHOST: 32.0, Dynamic.NORMAL: 84.0, Dynamic.ACCENT: 112.0}
)

#: The velocity of a grace stroke, as a share of its main stroke's.
GRACE_SHARE = 0.5

#: The velocity of what follows in a roll, as a share of its first stroke's: counted, and in a buzz.
BOUNCE_SHARE, BUZZ_SHARE = 0.9, 0.55

#: How long a cymbal that is closed takes to fall silent.
FADE_S = 0.010

_OPEN = "hi-hat-open"

#: The voices of the hi-hat's one pair of cymbals: each ends what was left ringing of it.
HATS = frozenset({"hi-hat", "hi-hat-half", _OPEN, "hi-hat-pedal", "foot-splash"})

#: Those that are left ringing.
RINGING_HATS = frozenset({"hi-hat-half", _OPEN, "foot-splash"})

#: The voices of each cymbal that has more than one: a hand that chokes it ends them all.
_ONE_CYMBAL = (HATS, frozenset({"ride", "ride-bell"}))


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A stroke on the drum kit at a time: seconds, 0 being the start of bar 1.

    ``velocity`` 1 to 127; from ``until_s`` on it fades within ``FADE_S``, None to let it ring.
    ``variant`` tells it from others of the same voice and velocity, see ``drums.stroke``.
    """

    time_s: float
    voice: str
    velocity: float
    until_s: float | None = None
    variant: int = 0

    def frames(self, rate: int) -> Frames:
        """What is heard, mono (n,) at ``rate`` frames a second."""
        sound = stroke(self.voice, self.velocity, rate, variant=self.variant)
        if self.until_s is None:
            return sound
        held, fade = round((self.until_s - self.time_s) * rate), round(FADE_S * rate)
        gain = np.clip((held + fade - np.arange(len(sound))) / fade, 0.0, 1.0)
        return (sound * gain.astype(np.float32))[: held + fade]


def notes(
    targets: Targets,
    velocities: Mapping[Dynamic, float] = VELOCITIES,
    voices: Collection[str] | None = None,
) -> list[Note]:
    """The notes of ``targets``, in order of time, with their grace strokes.

    ``voices``: those of the pattern's voices that are to be heard, None for all. What rings of
    the hi-hat ends as ``damped`` says, even at a stroke that itself is not to be heard.
    """
    played = [
        (voice, note)
        for number, voice in enumerate(targets.names)
        for note in _strokes(targets, number, velocities)
    ]
    played.sort(key=lambda pair: pair[1].time_s)
    heard = damped([note for _, note in played])
    return [
        note
        for (voice, _), note in zip(played, heard, strict=True)
        if voices is None or voice in voices
    ]


def damped(played: Sequence[Note], chokes: Iterable[tuple[float, str]] = ()) -> list[Note]:
    """``played``, each in its place, no two alike, with an end where something ends it.

    What rings of the hi-hat ends where the hi-hat is next struck or trodden. ``chokes`` are times
    in seconds with the voice that a hand took hold of: every sound of that cymbal ends there.
    """
    played = [replace(note, variant=number) for number, note in enumerate(played, 1)]
    hats_s = sorted({note.time_s for note in played if note.voice in HATS})
    held: dict[str, list[float]] = {}
    for time_s, voice in sorted(chokes):
        for name in one_cymbal(voice):
            held.setdefault(name, []).append(time_s)
    return [_ended(note, hats_s, held.get(note.voice, ())) for note in played]


def one_cymbal(voice: str) -> frozenset[str]:
    """The voices that sound on the same cymbal as ``voice``, which is one of them."""
    return next((voices for voices in _ONE_CYMBAL if voice in voices), frozenset({voice}))


def _ended(note: Note, hats_s: Sequence[float], held_s: Sequence[float]) -> Note:
    rings = note.voice in RINGING_HATS
    ends = [_next(hats_s, note.time_s) if rings else None, _next(held_s, note.time_s)]
    found = [end_s for end_s in ends if end_s is not None]
    return replace(note, until_s=min(found)) if found else note


def _strokes(targets: Targets, number: int, velocities: Mapping[Dynamic, float]) -> Iterator[Note]:
    """A target's grace strokes, its main stroke, and the bounces of the roll that it begins."""
    at_s = float(targets.time_s[number])
    is_open = targets.places[targets.place[number]].stroke.is_open
    voice = _OPEN if is_open else targets.names[number]
    velocity = velocities[DYNAMICS[targets.dynamic[number]]]
    for grace in range(int(targets.graces[number]), 0, -1):
        yield Note(time_s=at_s - grace * GRACE_S, voice=voice, velocity=GRACE_SHARE * velocity)
    yield Note(time_s=at_s, voice=voice, velocity=velocity)
    share = BOUNCE_SHARE if targets.rolls[number] > 0 else BUZZ_SHARE
    for after_s in targets.bounces_s(number).tolist():
        yield Note(time_s=at_s + after_s, voice=voice, velocity=share * velocity)


def _next(times_s: Sequence[float], after_s: float) -> float | None:
    """The first of the sorted ``times_s`` that is later than ``after_s``, if there is one."""
    place = bisect_right(times_s, after_s)
    return times_s[place] if place < len(times_s) else None
